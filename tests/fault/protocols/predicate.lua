-- Ends by a function of the script's own.
local level = require "level"

return protocol {
  title = "Predicate",
  params = { span = { unit = "s", default = "75 s", about = "the length of a usual step" } },
  results = { past = "" },
  run = function(cell, p)
    level(cell)
    local least = 0.1 * p.span / 3600
    local out = cell:charge {
      current = "0.1 It",
      stop = {
        time = 5 * p.span,
        when = function(reading) return reading.charge >= least end,
      },
    }
    record("past", out.charge >= least and 1 or 0)
    cell:discharge { current = "0.2 It", stop = { voltage = "1.18 V" } }
  end,
}
