-- What a channel makes of a cell that is well known: filled by time, rested, emptied at a fixed current to
-- a fixed voltage. Performed with the same reference cells on every channel (study-channels), so that what
-- differs is the channels' doing: a current that reads 1 % high gives 1 % more capacity, a lead in the
-- voltage ends the discharge early and lowers the voltage under load.
--
-- The defaults suit small nickel cells (common practice, no source): 0.5 It by time with a drop of 5 mV as
-- a backstop. Choose reference cells that are broken in and not worn, keep them for this alone, and keep
-- room and rest the same each time: a cell that is 5 K warmer differs by more than two good channels.
return protocol {
  title = "Channel check",
  params = {
    charge = { unit = "A", default = "0.5 It", about = "charge current" },
    fill = { unit = "s", default = "2.4 h", about = "charge time" },
    drop = { unit = "V", default = "5 mV", about = "ends the charge earlier at this drop (0: by time only)" },
    ceiling = { unit = "V", default = "0 V", about = "constant-voltage ceiling (0: that of the chemistry)" },
    rest = { unit = "s", default = "1 h", about = "rest after the charge and after the discharge" },
    rate = { unit = "A", default = "0.5 It", about = "discharge current" },
    stop = { unit = "V", default = "1.0 V", about = "end-of-discharge voltage" },
  },
  results = { reference_capacity = "Ah", reference_voltage = "V", reference_rest_voltage = "V" },
  run = function(cell, p)
    cell:charge {
      current = p.charge,
      voltage = p.ceiling > 0 and p.ceiling or nil,
      stop = { time = p.fill, drop = p.drop > 0 and p.drop or nil },
    }
    local rested = cell:rest { time = p.rest }
    local out = cell:discharge { current = p.rate, stop = { voltage = p.stop } }
    record("reference_capacity", out.charge, "Ah")
    local under_load = out.mid_voltage or out.mean_voltage -- a display worked by hand may show neither
    if under_load then
      record("reference_voltage", under_load, "V")
    end
    if rested.last_voltage then
      record("reference_rest_voltage", rested.last_voltage, "V")
    end
    cell:rest { time = p.rest }
  end,
}
