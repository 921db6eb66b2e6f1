-- A run that starts a fresh segment of its journal again and again, with plain state.
return protocol {
  title = "Segments",
  params = {
    span = { unit = "s", default = "75 s", about = "the length of a usual step" },
    segments = { unit = "", default = 4, about = "how many" },
  },
  results = { by_charge = "Ah", count = "", draw = "" },
  run = function(cell, p, state)
    local count = state and state.count or 1
    record("draw", random())
    local step = { current = "0.2 It", stop = { charge = 0.1 * p.span / 3600 }, every = p.span / 40 }
    local out = count % 2 == 1 and cell:charge(step) or cell:discharge(step)
    record("by_charge", out.charge, "Ah")
    record("count", count)
    wait(p.span / 10)
    if count < p.segments then
      restart_with { count = count + 1 }
    end
  end,
}
