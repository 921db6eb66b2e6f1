-- Storage check: what was left, then what it recovers to, and charged again for more storage.
--
-- Capacity retention and capacity recovery are named apart by the standards for small nickel cells: the
-- first is what comes out as found, the second what a full charge brings back.
return protocol {
  title = "Storage check",
  params = {
    rate = { unit = "A", default = "0.2 It", about = "discharge current" },
    stop = { unit = "V", default = "1.0 V", about = "end-of-discharge voltage" },
    charge = { unit = "A", default = "0.1 It", about = "charge current" },
    fill = { unit = "s", default = "16 h", about = "charge time" },
    rest = { unit = "s", default = "1 h", about = "rest after each charge and discharge" },
  },
  results = { open_voltage = "V", remaining = "Ah", recovered = "Ah" },
  run = function(cell, p)
    local found = cell:read {}
    record("open_voltage", found.voltage, "V", found.voltage_uncertainty)
    local left = cell:discharge { current = p.rate, stop = { voltage = p.stop } }
    record("remaining", left.charge, "Ah", left.charge_uncertainty)
    cell:rest { time = p.rest }
    cell:charge { current = p.charge, stop = { time = p.fill } }
    cell:rest { time = p.rest }
    local back = cell:discharge { current = p.rate, stop = { voltage = p.stop } }
    record("recovered", back.charge, "Ah", back.charge_uncertainty)
    cell:rest { time = p.rest }
    cell:charge { current = p.charge, stop = { time = p.fill } }
  end,
}
