-- A year in the lamps: a full cycle a day, with capacity and resistance looked at every fifty.
return study {
  title = "A year in the lamps",
  run = function(s)
    local function look()
      s:withdraw_failed(s:perform("resistance", s.cells))
      s:withdraw_failed(s:perform("capacity", s.cells, { again = 1 }))
    end
    s:perform("break-in", s.cells)
    look()
    for _ = 1, 6 do
      s:perform("cycles", s.cells, { count = 50, rest = "9 h" }) -- with its rests about a day
      look()
    end
  end,
}
