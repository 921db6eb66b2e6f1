-- Break-in: standard cycles until the capacity settles, at most so many.
--
-- New and long-stored nickel cells need a few full cycles to come to their capacity; the standards
-- allow up to five. It has settled when a cycle gains less than `gain` over the one before.
return protocol {
  title = "Break-in",
  params = {
    charge = { unit = "A", default = "0.1 It", about = "charge current" },
    fill = { unit = "s", default = "16 h", about = "charge time" },
    rest = { unit = "s", default = "1 h", about = "rest after each charge and discharge" },
    rate = { unit = "A", default = "0.2 It", about = "discharge current" },
    stop = { unit = "V", default = "1.0 V", about = "end-of-discharge voltage" },
    gain = { unit = "%", default = "1 %", about = "settled when a cycle gains less than this" },
    most = { unit = "", default = 5, about = "cycles at most" },
  },
  results = { capacity = "Ah", cycles = "", charge_efficiency = "%" },
  run = function(cell, p)
    -- Of the charge put into a cell that had been emptied, the part that came out again. The errors of the
    -- two charges are taken as independent, which is cautious: on one channel they cancel in part.
    local function record_efficiency(filled, out)
      local part, u = 100 * out.charge / filled.charge, nil
      local u_out, u_in = out.charge_uncertainty, filled.charge_uncertainty
      if u_out and u_in then
        u = part * math.sqrt((u_out / out.charge) ^ 2 + (u_in / filled.charge) ^ 2)
      end
      record("charge_efficiency", part, "%", u)
    end

    local before
    for cycle = 1, p.most do
      local filled = cell:charge { current = p.charge, stop = { time = p.fill } }
      cell:rest { time = p.rest }
      local out = cell:discharge { current = p.rate, stop = { voltage = p.stop } }
      cell:rest { time = p.rest }
      local settled = before and out.charge - before < before * p.gain / 100
      if settled or cycle == p.most then
        record("capacity", out.charge, "Ah", out.charge_uncertainty)
        record("cycles", cycle, "")
        if before and filled.charge then -- a display worked by hand may not show what was put in
          record_efficiency(filled, out)
        end
        if not settled then
          note("the capacity had not settled after " .. cycle .. " cycles")
        end
        return
      end
      before = out.charge
    end
  end,
}
