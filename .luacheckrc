-- Scripts of Perdure: plain Lua 5.4 without the parts that a guest has no use for, and our words.
std = "lua54"
max_line_length = 120
read_globals = {
  "protocol", "study", "bench", "simulated", "channel", "by_hand", "instrument", "limits",
  "record", "note", "ask", "now", "wait", "wait_until", "random", "quantity", "restart_with",
  "mean", "total",
}
files["bindings/drivers"] = {
  read_globals = { "boolean", "driver", "fail", "fields", "fixed", "identity", "nr3", "number", "unquote" },
}
