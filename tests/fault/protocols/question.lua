-- A person's answer decides how long a step lasts.
return protocol {
  title = "Question",
  params = { span = { unit = "s", default = "75 s", about = "the length of a usual step" } },
  results = { answer = "", by_time = "s" },
  run = function(cell, p)
    cell:rest { time = p.span / 5 }
    for _ = 1, 2 do
      local answer = ask { text = "How many tenths of a span?", least = 1, most = 20 }
      record("answer", answer)
      local out = cell:charge { current = "0.1 It", stop = { time = answer * p.span / 10 } }
      record("by_time", out.duration, "s")
    end
  end,
}
