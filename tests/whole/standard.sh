#!/bin/sh
# The capacity procedure of IEC 61951-2 (NiMH, small cylindrical): charge at 0.1 It for 16 h, rest 1 h to 4 h,
# discharge at 0.2 It to 1.0 V; a cell that holds its rating lasts 5 h. IEC 61434: It [A] = rated capacity
# [Ah] / 1 h. Values as the project's fact sheet has them: the rates, times and 5 h confirmed by secondary
# texts, the rest from memory. Two-rest bench variant at 500 mA: common practice, no source.
. "$(dirname "$0")/../support/whole.sh"

# A cell that holds exactly what its rating says, stores all it is given until it is full, and falls off a
# cliff when it is empty.
cat >bench.lua <<'L'
return bench { title = "By the rating", channels = {
  S1 = simulated { capacity = "2 Ah", open_circuit = { { 0, "0.5 V" }, { 0.0001, "1.2 V" }, { 1, "1.4 V" } },
                   r0 = "1 mohm", knee = 0.999, soc_new = 0 },
} }
L
new_logbook standard
expect 0 'done' "$PERDURE" run capacity --cells T-01 --bench bench.lua
plan() {
    ask_logbook "SELECT json_extract(plan, '$.$2') FROM step WHERE run = $3 AND kind = '$1' ORDER BY id LIMIT 1"
}
[ "$(plan charge current 1)" = 0.2 ] || fail "0.1 It of 2 Ah is $(plan charge current 1) A"
[ "$(plan charge time 1)" = 57600 ] || fail "16 h are $(plan charge time 1) s"
rest=$(plan rest time 1)
echo "$rest" | awk '{ exit !($1 >= 3600 && $1 <= 14400) }' || fail "a rest of $rest s is not 1 h to 4 h"
[ "$(plan discharge current 1)" = -0.4 ] || fail "0.2 It of 2 Ah is $(plan discharge current 1) A"
[ "$(plan discharge voltage 1)" = 1 ] || fail "the end is at $(plan discharge voltage 1) V"
hours=$(ask_logbook "SELECT duration / 3600 FROM outcome JOIN step ON step.id = outcome.step WHERE kind = 'discharge'")
echo "$hours" | awk '{ exit !($1 > 4.975 && $1 < 5.025) }' || fail "a cell of its rating lasts $hours h, not 5"

# C and It are one.
expect 0 'done' "$PERDURE" run capacity --cells T-02 --bench bench.lua --set rate="0.2 C"
[ "$(plan discharge current 2)" = -0.4 ] || fail "0.2 C of 2 Ah is $(plan discharge current 2) A"

# The two-rest bench variant.
expect 0 'done' "$PERDURE" run capacity --cells T-03 --bench bench.lua --set charge="500 mA" --set fill="5 h" \
    --set rate="500 mA" --set again=1
[ "$(ask_logbook "SELECT group_concat(kind, ' ') FROM (SELECT kind FROM step WHERE run = 3 ORDER BY id)")" = "charge rest discharge rest charge" ] ||
    fail "the two-rest variant"
[ "$(plan discharge current 3)" = -0.5 ] || fail "500 mA"
sound
finish
