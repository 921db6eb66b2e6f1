-- So many cycles, full or shallow, as in service.
return protocol {
  title = "Cycles",
  params = {
    count = { unit = "", default = 50, about = "how many" },
    charge = { unit = "A", default = "0.5 It", about = "charge current" },
    rate = { unit = "A", default = "0.5 It", about = "discharge current" },
    depth = { unit = "%", default = "100 %", about = "how deep each discharge goes" },
    drop = { unit = "V", default = "5 mV", about = "end of charge: this far below the peak (nickel cells)" },
    stop = { unit = "V", default = "1.0 V", about = "end of discharge at the latest" },
    rest = { unit = "s", default = "30 min", about = "rest after each" },
  },
  results = { delivered = "Ah" },
  run = function(cell, p)
    local outs = {}
    for _ = 1, p.count do
      cell:charge { current = p.charge, stop = { drop = p.drop, blind = "10 min", temperature = "45 degC" } }
      cell:rest { time = p.rest }
      local out = cell:discharge { current = p.rate, stop = { voltage = p.stop, charge = cell.rated * p.depth / 100 } }
      outs[#outs + 1] = { charge = out.charge, charge_uncertainty = out.charge_uncertainty }
      cell:rest { time = p.rest }
    end
    local delivered, uncertainty = total(outs, "charge")
    record("delivered", delivered, "Ah", uncertainty)
  end,
}
