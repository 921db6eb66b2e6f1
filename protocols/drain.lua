-- Drain: discharge as found. What was left after storage, before anything is put in.
--
-- Opening a cell ends its storage: charge it again (capacity.lua) to see what it recovers.
return protocol {
  title = "Drain as found",
  params = {
    rate = { unit = "A", default = "0.2 It", about = "discharge current" },
    stop = { unit = "V", default = "1.0 V", about = "end-of-discharge voltage" },
  },
  results = { open_voltage = "V", remaining = "Ah", remaining_energy = "Wh" },
  run = function(cell, p)
    local found = cell:read {}
    record("open_voltage", found.voltage, "V", found.voltage_uncertainty)
    local out = cell:discharge { current = p.rate, stop = { voltage = p.stop } }
    record("remaining", out.charge, "Ah", out.charge_uncertainty)
    if out.energy then -- a display worked by hand may not show it
      record("remaining_energy", out.energy, "Wh", out.energy_uncertainty)
    end
  end,
}
