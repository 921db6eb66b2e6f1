-- Service wear: cycles day after day, with a capacity and a resistance check every fifty.
return study {
  title = "Service wear",
  params = {
    checks = { unit = "", default = 6, about = "checks, each after fifty cycles" },
    charge = { unit = "text", default = "0.5 It", about = "charge current" },
    rate = { unit = "text", default = "0.5 It", about = "discharge current" },
    depth = { unit = "%", default = "100 %", about = "how deep each discharge goes" },
  },
  run = function(s, p)
    local function check()
      s:withdraw_failed(s:perform("capacity", s.cells, { again = 1 }))
      s:withdraw_failed(s:perform("resistance", s.cells, { fill = 0 }))
    end
    check()
    for _ = 1, p.checks do
      s:withdraw_failed(s:perform("cycles", s.cells, { count = 50, charge = p.charge, rate = p.rate, depth = p.depth }))
      check()
    end
  end,
}
