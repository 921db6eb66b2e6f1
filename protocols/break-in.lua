-- Break-in: standard cycles until the capacity settles, at most so many.
--
-- New and long-stored nickel cells need a few full cycles to come to their capacity; the standards
-- allow up to five. It has settled when a cycle gains less than `gain` over the one before.
return protocol {
  title = "Break-in",
  params = {
    charge = { unit = "A", default = "0.1 It", about = "charge current" },
    fill = { unit = "s", default = "16 h", about = "charge time" },
    rest = { unit = "s", default = "1 h", about = "rest after each charge and discharge" },
    rate = { unit = "A", default = "0.2 It", about = "discharge current" },
    stop = { unit = "V", default = "1.0 V", about = "end-of-discharge voltage" },
    gain = { unit = "%", default = "1 %", about = "settled when a cycle gains less than this" },
    most = { unit = "", default = 5, about = "cycles at most" },
  },
  results = { capacity = "Ah", cycles = "" },
  run = function(cell, p)
    local before
    for cycle = 1, p.most do
      cell:charge { current = p.charge, stop = { time = p.fill } }
      cell:rest { time = p.rest }
      local out = cell:discharge { current = p.rate, stop = { voltage = p.stop } }
      cell:rest { time = p.rest }
      local settled = before and out.charge - before < before * p.gain / 100
      if settled or cycle == p.most then
        record("capacity", out.charge, "Ah", out.charge_uncertainty)
        record("cycles", cycle, "")
        if not settled then
          note("the capacity had not settled after " .. cycle .. " cycles")
        end
        return
      end
      before = out.charge
    end
  end,
}
