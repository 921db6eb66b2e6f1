-- A year on the shelf: six cells of each model, charged and put away; three are opened after 42 days, the others
-- after a year. Each cell is opened once.
return study {
  title = "A year on the shelf",
  run = function(s)
    s:perform("break-in", s.cells)
    s:withdraw_failed(s:perform("resistance", s.cells))
    s:withdraw_failed(s:perform("capacity", s.cells, { again = 1 })) -- fresh, then charged again for the shelf
    s:store(s.cells, { temperature = "20 degC" })
    for _, age in ipairs { "P42D", "P1Y" } do
      s:wait(age, { late = "P2D" })
      s:perform("storage-check", s.cells:draw(3))
    end
  end,
}
