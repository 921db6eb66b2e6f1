-- Drives other than a constant current, and a charge that ends by its taper at a ceiling.
local level = require "level"

return protocol {
  title = "Drives",
  params = { span = { unit = "s", default = "75 s", about = "the length of a usual step" } },
  results = { by_time = "s", by_energy = "Wh" },
  run = function(cell, p)
    level(cell)
    cell:charge { current = "0.1 It", voltage = "1.25 V", stop = { current = "0.01 It", time = 6 * p.span } }
    local power = cell:discharge { power = "0.4 W", stop = { energy = 0.3 * p.span / 3600 } }
    record("by_energy", power.energy, "Wh")
    local resistance = cell:discharge { resistance = "4 ohm", stop = { time = p.span } }
    record("by_time", resistance.duration, "s")
  end,
}
