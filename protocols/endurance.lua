-- Endurance: blocks of fifty cycles after the pattern of the standards for small nickel cells. Values from
-- memory: set them from your own copy of the standard. A block takes about 12.8 days, ten of them 128:
-- `perdure rehearse endurance` shows what it will cost before you start.
return protocol {
  title = "Endurance in blocks of fifty cycles",
  params = {
    blocks = { unit = "", default = 10, about = "blocks of fifty cycles, at most" },
    least = { unit = "%", default = "60 %", about = "stop when a fiftieth cycle gives less of the rating, twice" },
  },
  results = { capacity = "Ah", cycles = "" },
  run = function(cell, p)
    local function long_charge()
      cell:charge { current = "0.1 It", stop = { time = "16 h" } }
    end
    local function check()
      long_charge()
      cell:rest { time = "1 h" }
      return cell:discharge { current = "0.2 It", stop = { voltage = "1.0 V" } }
    end
    for block = 1, p.blocks do
      long_charge()
      cell:discharge { current = "0.25 It", stop = { time = "2 h 20 min", voltage = "1.0 V" } }
      for cycle = 2, 49 do
        cell:charge { current = "0.25 It", stop = { time = "3 h 10 min" } }
        local ends = { voltage = "1.0 V" }
        if cycle < 49 then
          ends.time = "2 h 20 min"
        end
        cell:discharge { current = "0.25 It", stop = ends }
      end
      local out = check()
      record("capacity", out.charge, "Ah", out.charge_uncertainty)
      record("cycles", 50 * block, "")
      local least = cell.rated * p.least / 100
      if out.charge < least and check().charge < least then
        note("below " .. p.least .. " % of the rating after " .. 50 * block .. " cycles, twice")
        return
      end
    end
  end,
}
