-- Does each model deliver what is printed on it, and do the models differ? A small verdict of one's own:
--
--   perdure evaluate demo/evaluation-rating.lua --set part=95
--
-- A model "delivers" when all of the 95 % interval of its mean lies at or above the part of its rating asked for,
-- "falls short" when all of it lies below, and otherwise nobody can say from so many cells.
return evaluation {
  title = "What is printed on it",
  run = function(logbook, p)
    local part = tonumber(p.part or 100)
    local last = {} -- of each cell, by when it was measured: an imported curve may be older than its run's number
    for _, row in ipairs(logbook:results { name = "capacity" }) do
      local before = last[row.cell]
      local sound = row.flags == "" or row.flags == "corrected" -- typed anew: as good as any
      if sound and (not before or row.at >= before.at) then last[row.cell] = row end
    end
    local rows = {}
    for _, row in pairs(last) do rows[#rows + 1] = row end
    if #rows == 0 then
      say("no capacity without a gap is on record: run the protocol capacity first")
      return
    end

    local verdicts, groups, delivered = {}, {}, 0
    for model, of_model in pairs(by(rows, "model")) do
      local percent = values(of_model, "percent_of_rating")
      groups[model] = percent
      local low, high = interval(percent) -- of one cell: nil, and why
      local verdict = "cannot be told: " .. (low and "the interval holds " .. part .. " %" or high)
      if low and low >= part then
        verdict, delivered = "delivers", delivered + 1
      elseif low and high < part then
        verdict = "falls short"
      end
      verdicts[#verdicts + 1] = {
        model = model, cells = #percent, ["mean %"] = mean(percent), ["from %"] = low, ["to %"] = low and high,
        verdict = verdict,
      }
    end
    table.sort(verdicts, function(a, b) return a["mean %"] > b["mean %"] end)
    local columns = { "model", "cells", "mean %", "from %", "to %", "verdict" }
    table_of { title = "Capacity in percent of the rating, last of each cell", columns = columns, rows = verdicts }
    if p.csv then write_csv(p.csv, { columns = columns, rows = verdicts }) end

    for _, pair in ipairs(compare(groups) or {}) do
      if pair.differ then
        say(string.format("%s and %s differ by %.1f %% (p %.2g, all pairs counted)", pair.a, pair.b,
          math.abs(pair.mean), pair.p_adjusted))
      else
        say(pair.a .. " and " .. pair.b .. " cannot be told apart" .. (pair.why and ": " .. pair.why or ""))
      end
    end
    say(delivered, "of", #verdicts, "models deliver", part, "% of their rating")
  end,
}
