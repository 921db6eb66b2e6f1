-- A drawer of cells, looked at every so often over a year: what was left, what it recovers to.
return study {
  title = "A drawer of cells",
  params = {
    checks = { unit = "", default = 4, about = "checks over the year" },
  },
  run = function(s, p)
    s:withdraw_failed(s:perform("capacity", s.cells, { again = 1 }))
    for check = 1, p.checks do
      s:store(s.cells)
      s:wait("P" .. 365 // p.checks .. "D", { late = "P7D", missed = "measure" })
      s:withdraw_failed(s:perform("storage-check", s.cells))
      note("check " .. check .. " of " .. p.checks .. " is done")
    end
  end,
}
