-- Internal resistance of a charged cell by the two-step direct-current method of IEC 61951-2: a small
-- current, then a large one, and the voltages at the end of each. Values from memory: set them from your
-- own copy of the standard.
--
-- Measure all cells full, at one temperature, with four wires: contacts and springs add tens of milliohms.
-- The figure is not that of the 1 kHz method (resistance-ac), nor of other timings: compare like with like.
return protocol {
  title = "Resistance, two-step direct current",
  params = {
    fill = { unit = "s", default = "16 h", about = "charge time at 0.1 It before it (0: as found)" },
    rest = { unit = "s", default = "1 h", about = "rest before it" },
    low = { unit = "A", default = "0.2 It", about = "first current" },
    high = { unit = "A", default = "2 It", about = "second current" },
    low_time = { unit = "s", default = "10 s", about = "time at the first current" },
    high_time = { unit = "s", default = "3 s", about = "time at the second current" },
    times = { unit = "", default = 3, about = "how often, a minute apart" },
  },
  results = { resistance = "ohm", resistance_spread = "ohm" },
  run = function(cell, p)
    if p.fill > 0 then
      cell:charge { current = "0.1 It", stop = { time = p.fill } }
    end
    cell:rest { time = p.rest }
    local pulses, least, most = {}, math.huge, 0
    for i = 1, p.times do
      pulses[i] = cell:pulse { current = { p.low, p.high }, time = { p.low_time, p.high_time } }
      least, most = math.min(least, pulses[i].resistance), math.max(most, pulses[i].resistance)
      if i < p.times then
        cell:rest { time = "1 min" }
      end
    end
    local resistance, uncertainty = mean(pulses, "resistance")
    record("resistance", resistance, "ohm", uncertainty)
    record("resistance_spread", most - least, "ohm")
  end,
}
