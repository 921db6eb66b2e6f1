-- Rated capacity: fill, rest, empty at a fixed rate.
--
-- The defaults are the usual ones of the standards for small nickel cells: 0.1 It for 16 h, a rest of
-- 1 h to 4 h, 0.2 It to 1.0 V, all at (20 +/- 5) degC. Set them from your own copy of the standard.
-- Two rests at 500 mA are common at the bench (common practice, no source):
--     --set charge="500 mA" --set fill="5 h" --set drop="5 mV" --set rate="500 mA" --set again=1
return protocol {
  title = "Capacity",
  params = {
    charge = { unit = "A", default = "0.1 It", about = "charge current" },
    fill = { unit = "s", default = "16 h", about = "charge time, at most" },
    drop = { unit = "V", default = "0 V", about = "end the charge at this drop from the peak (0: by time only)" },
    ceiling = { unit = "V", default = "0 V", about = "constant-voltage ceiling (0: that of the chemistry)" },
    rest = { unit = "s", default = "1 h", about = "rest after each charge and discharge" },
    rate = { unit = "A", default = "0.2 It", about = "discharge current" },
    stop = { unit = "V", default = "1.0 V", about = "end-of-discharge voltage" },
    again = { unit = "", default = 0, about = "1: rest and charge again at the end, ready for use" },
  },
  results = { capacity = "Ah", energy = "Wh", mean_voltage = "V", mid_voltage = "V" },
  run = function(cell, p)
    local function fill()
      local ends = { time = p.fill }
      if p.drop > 0 then
        ends.drop = p.drop
      end
      cell:charge { current = p.charge, voltage = p.ceiling > 0 and p.ceiling or nil, stop = ends }
    end

    fill()
    cell:rest { time = p.rest }
    local out = cell:discharge { current = p.rate, stop = { voltage = p.stop } }
    record("capacity", out.charge, "Ah", out.charge_uncertainty)
    if out.energy then -- a display worked by hand may not show it
      record("energy", out.energy, "Wh", out.energy_uncertainty)
      record("mean_voltage", out.mean_voltage, "V", out.mean_voltage_uncertainty)
    end
    if out.mid_voltage then -- at half of the charge: the mid-point voltage of data sheets
      record("mid_voltage", out.mid_voltage, "V")
    end
    if p.again > 0 then
      cell:rest { time = p.rest }
      fill()
    end
  end,
}
