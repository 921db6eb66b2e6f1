-- Resistance over the state of charge: from full to empty in steps, at two currents each.
return protocol {
  title = "Resistance sweep",
  params = {
    steps = { unit = "", default = 10, about = "steps from full to empty" },
    rate = { unit = "A", default = "0.2 It", about = "discharge current between the points" },
    rest = { unit = "s", default = "10 min", about = "rest before each point" },
  },
  results = { charge_out = "Ah", resistance_1It = "ohm", resistance_2It = "ohm" },
  run = function(cell, p)
    cell:charge { current = "0.1 It", stop = { time = "16 h" } }
    local parts, out, uncertainty = {}, 0, nil
    for _ = 1, p.steps do
      cell:rest { time = p.rest }
      record("charge_out", out, "Ah", uncertainty)
      for it = 1, 2 do
        local r = cell:pulse { current = { "0.2 It", it .. " It" }, time = { "10 s", "3 s" } }
        record("resistance_" .. it .. "It", r.resistance, "ohm", r.resistance_uncertainty)
      end
      local step = cell:discharge { current = p.rate, stop = { charge = cell.rated / p.steps, voltage = "1.0 V" } }
      parts[#parts + 1] = step
      out, uncertainty = total(parts, "charge")
      if step.ended_by == "voltage" then
        return
      end
    end
  end,
}
