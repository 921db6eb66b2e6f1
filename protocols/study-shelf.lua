-- Shelf retention: sets of each model are charged, stored, and opened at set ages. Each cell is opened once.
--
-- Start it with the cells of all models, so many of each as there are ages, times `each`.
return study {
  title = "Shelf retention",
  params = {
    each = { unit = "", default = 2, about = "cells of each model opened at each age" },
  },
  run = function(s, p)
    s:withdraw_failed(s:perform("break-in", s.cells))
    s:withdraw_failed(s:perform("capacity", s.cells, { again = 1 })) -- fresh, and charged again for the shelf
    s:store(s.cells, { temperature = "20 degC" })
    for _, age in ipairs { "P28D", "P42D", "P6M", "P1Y", "P2Y" } do
      s:wait(age, { late = "P3D" })
      s:perform("drain", s.cells:draw(p.each))
    end
  end,
}
