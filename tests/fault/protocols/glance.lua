-- Looks at a cell, no more.
return protocol {
  title = "Glance",
  params = { span = { unit = "s", default = "75 s", about = "the length of a usual step" } },
  run = function(cell) cell:read {} end,
}
