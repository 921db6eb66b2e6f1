-- Scripts of Perdure: plain Lua 5.4 without the parts that a guest has no use for, and our words.
std = "lua54"
max_line_length = 120
read_globals = {
  "protocol", "study", "bench", "simulated", "channel", "by_hand", "instrument", "limits",
  "record", "note", "ask", "now", "wait", "wait_until", "random", "quantity", "restart_with",
  "mean", "total",
}
files["demo/evaluation*"] = {
  read_globals = {
    "evaluation", "say", "table_of", "write_csv", "values", "by", "mean", "spread", "interval", "summary", "quantile",
    "outlier", "t_test", "rank_test", "holm", "compare", "kruskal", "agreement", "rank", "fit", "fit_best", "retention",
    "loss_a_day", "wear", "paired", "days", "measure", "resistance_two_step", "resistance_from_pulse", "uncertainty",
    "resistance_parts", "efficiency", "anova", "welch_anova", "paired_rank_test", "repeats", "lasting", "log_rank",
    "against_standard",
  },
}
files["bindings/drivers"] = {
  read_globals = { "boolean", "driver", "fail", "fields", "fixed", "identity", "nr3", "number", "quote", "unquote" },
}
