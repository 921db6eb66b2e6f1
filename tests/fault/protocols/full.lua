-- A nickel cell charged until its voltage falls from its peak; a longer rest and a discharge between.
return protocol {
  title = "Full",
  params = { span = { unit = "s", default = "75 s", about = "the length of a usual step" } },
  results = { by_charge = "Ah", count = "" },
  run = function(cell, p)
    for i = 1, 2 do
      cell:charge { current = "0.5 It", stop = { drop = "2 mV", time = "1 h", blind = "60 s" } }
      cell:rest { time = p.span }
      local out = cell:discharge { current = "1 It", stop = { charge = "30 mAh" } }
      record("by_charge", out.charge, "Ah")
      record("count", i)
    end
  end,
}
