-- Waiting by a length of time and by a date; now() is the time on record.
return protocol {
  title = "Calendar",
  params = { span = { unit = "s", default = "75 s", about = "the length of a usual step" } },
  results = { clock = "s", waited = "" },
  run = function(cell, p)
    cell:read {}
    for _ = 1, 3 do
      local before = now()
      record("clock", before, "s")
      wait(p.span / 3)
      wait_until(before + p.span / 2)
      wait_until(before - 1)
      record("waited", now() >= before + p.span / 2 - 0.001 and 1 or 0)
      cell:rest { time = p.span / 4 }
    end
  end,
}
