-- Do the channels agree? The same reference cells through all of them, so that a channel that reads high or
-- low shows, apart from what differs between cells.
--
-- In each round every cell is on another channel; after as many rounds as there are channels every cell has
-- been on every channel once (more cells than channels go one group after another). Each second pass goes the
-- same way backwards: a cell that gives a little less from round to round then does so on all channels alike.
-- Which channel comes first is drawn at random.
--
--     perdure enrol --model "Heron 2000" ... --labels REF-01,REF-02 --reference
--     perdure start study-channels --cells REF-01,REF-02 --set channels="A1 A2 A3"
return study {
  title = "Do the channels agree",
  params = {
    channels = { unit = "text", default = "S1 S2", about = "names of the channels, such as \"A1 A2 A3\"" },
    passes = { unit = "", default = 2, about = "times that every cell is on every channel; even: drift cancels" },
    charge = { unit = "text", default = "0.5 It", about = "charge current" },
    fill = { unit = "text", default = "2.4 h", about = "charge time" },
    drop = { unit = "text", default = "5 mV", about = "ends the charge earlier at this drop (\"0 V\": by time only)" },
    rate = { unit = "text", default = "0.5 It", about = "discharge current" },
    stop = { unit = "text", default = "1.0 V", about = "end-of-discharge voltage" },
  },
  run = function(s, p)
    local channels, named = {}, {}
    for name in p.channels:gmatch("[^%s,]+") do
      if named[name] then
        error("channel " .. name .. " is named twice: name each once")
      end
      named[name] = true
      channels[#channels + 1] = name
    end
    for i = #channels, 2, -1 do
      local j = random(i)
      channels[i], channels[j] = channels[j], channels[i]
    end

    local how = { charge = p.charge, fill = p.fill, drop = p.drop, rate = p.rate, stop = p.stop }
    local function visit(cells) -- no more of them than channels
      for pass = 1, p.passes do
        for turn = 1, #channels do
          local round = pass % 2 == 1 and turn or #channels + 1 - turn
          local where = {}
          for i, label in ipairs(cells) do
            where[label] = channels[(i + round - 2) % #channels + 1]
          end
          s:perform("channel-check", cells, how, { channel = where })
        end
      end
    end

    for first = 1, #s.cells, #channels do
      local cells = {}
      for i = first, math.min(first + #channels - 1, #s.cells) do
        cells[#cells + 1] = s.cells[i]
      end
      visit(cells)
    end
  end,
}
