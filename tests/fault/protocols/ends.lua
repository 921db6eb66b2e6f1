-- One step of each end that must be met exactly, however often it is interrupted.
local level = require "level"

return protocol {
  title = "Ends",
  params = { span = { unit = "s", default = "75 s", about = "the length of a usual step" } },
  results = { moved = "Ah", by_time = "s", by_charge = "Ah", by_energy = "Wh", at_rest = "" },
  run = function(cell, p)
    level(cell)
    local up = cell:charge { current = "0.1 It", stop = { time = p.span }, every = p.span / 20 }
    record("by_time", up.duration, "s")
    local rest = cell:rest { time = p.span / 2 }
    record("at_rest", rest.duration >= p.span / 2 and 1 or 0)
    local moved = cell:discharge { current = "0.2 It", stop = { voltage = "1.19 V" } }
    record("moved", moved.charge, "Ah")
    local fill = cell:charge { current = "0.1 It", stop = { charge = 0.1 * p.span / 3600 } }
    record("by_charge", fill.charge, "Ah")
    local out = cell:discharge { current = "0.15 It", stop = { energy = 0.2 * p.span / 3600 } }
    record("by_energy", out.energy, "Wh")
  end,
}
