-- Draws decide what is done: after a restart the same must come out.
return protocol {
  title = "Drawn",
  params = { span = { unit = "s", default = "75 s", about = "the length of a usual step" } },
  results = { draw = "", by_time = "s" },
  run = function(cell, p)
    for _ = 1, random(2, 5) do
      local share = 0.2 + random()
      record("draw", share)
      if random(2) == 1 then
        local out = cell:charge { current = "0.1 It", stop = { time = share * p.span } }
        record("by_time", out.duration, "s")
      else
        local out = cell:discharge { current = "0.1 It", stop = { time = share * p.span } }
        record("by_time", out.duration, "s")
        note("out for ", share, " of a span")
      end
    end
    record("draw", random())
  end,
}
