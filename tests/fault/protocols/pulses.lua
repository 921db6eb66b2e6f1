-- Two-step pulses: one that is interrupted is void and says no resistance.
local level = require "level"

return protocol {
  title = "Pulses",
  params = { span = { unit = "s", default = "75 s", about = "the length of a usual step" } },
  results = { pulse = "" },
  run = function(cell, p)
    level(cell)
    for i = 1, 4 do
      cell:rest { time = p.span / 5 }
      cell:pulse { current = { "0.1 It", "0.5 It" }, time = { p.span / 4, p.span / 8 } }
      record("pulse", i)
      cell:read {}
    end
  end,
}
