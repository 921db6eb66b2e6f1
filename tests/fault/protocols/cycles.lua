-- A loop of full cycles between two voltages, as a service test has.
local level = require "level"

return protocol {
  title = "Cycles",
  params = {
    span = { unit = "s", default = "75 s", about = "the length of a usual step" },
    cycles = { unit = "", default = 3, about = "how many" },
  },
  results = { moved = "Ah", cycle = "" },
  run = function(cell, p)
    level(cell)
    for cycle = 1, p.cycles do
      cell:charge { current = "0.2 It", stop = { voltage = "1.27 V" }, every = p.span / 30 }
      cell:rest { time = p.span / 5 }
      local out = cell:discharge { current = "0.2 It", stop = { voltage = "1.20 V" } }
      record("moved", out.charge, "Ah")
      record("cycle", cycle)
      cell:rest { time = 0 }
    end
  end,
}
