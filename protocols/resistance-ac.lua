-- Internal resistance of a charged cell by alternating current, about 1 kHz through four wires: the method
-- by alternating current of IEC 61951-2, R = Ua / Ia, and that of every milliohm meter. Values from memory:
-- set them from your own copy of the standard.
--
-- It is the ohmic part alone: always less than the figure of the two-step direct-current method, and never
-- compared with it. Measure all cells full, at one temperature, in one holder: two wires to each pole, for
-- contacts and springs add tens of milliohms. Healthy AA NiMH cells have some tens of milliohms (common
-- practice, no source). A channel needs an ohmmeter; by hand, a display that shows it.
return protocol {
  title = "Resistance, alternating current (1 kHz)",
  params = {
    fill = { unit = "s", default = "16 h", about = "charge time at 0.1 It before it (0: as found)" },
    rest = { unit = "s", default = "1 h", about = "rest before it" },
    times = { unit = "", default = 3, about = "how many readings" },
    apart = { unit = "s", default = "10 s", about = "rest between two readings" },
  },
  results = { resistance_ac = "ohm", resistance_ac_spread = "ohm" },
  run = function(cell, p)
    if p.fill > 0 then
      cell:charge { current = "0.1 It", stop = { time = p.fill } }
    end
    cell:rest { time = p.rest }
    local readings, least, most = {}, math.huge, 0
    for i = 1, p.times do
      readings[i] = cell:read { resistance = true }
      least, most = math.min(least, readings[i].resistance_ac), math.max(most, readings[i].resistance_ac)
      if i < p.times then
        cell:rest { time = p.apart }
      end
    end
    local resistance, uncertainty = mean(readings, "resistance_ac")
    record("resistance_ac", resistance, "ohm", uncertainty)
    record("resistance_ac_spread", most - least, "ohm")
  end,
}
