#!/bin/sh
# Bad input to studies: each a clear error, or a question asked again; nothing is lost, and what is wrong in
# one study is no other's trouble.
. "$(dirname "$0")/../support/whole.sh"

cat >bench.lua <<'L'
return bench { title = "Two", channels = { S1 = simulated {}, S2 = simulated {} } }
L
# study NAME BODY: line 4 is the body's first.
study() {
    printf 'return study {\n  title = "%s",\n  run = function(s)\n%s\n  end,\n}\n' "$1" "$2" >"$1.lua"
}
engine() {
    "$PERDURE" engine --bench bench.lua --until-idle 2>err.txt || fail "the engine ended: $(cat err.txt)"
}
new_logbook study

# 1. The same label twice, or one that does not exist: nothing is queued, nothing enrolled.
expect 2 'T-01: this label is named twice' "$PERDURE" start study-drawer --cells T-01,T-02,T-01
expect 2 't-01: this label is named twice' "$PERDURE" start study-drawer --cells T-01,t-01
expect 2 'T-01: this label is named twice' "$PERDURE" start drain --cells T-01,T-01
expect 1 'T-07: no cell of this label is on record; did you mean T-0' "$PERDURE" start study-drawer --cells T-01,T-07
expect 2 'Q-1: this label is named twice' "$PERDURE" enrol --model Q --chemistry NiMH --rated "1 Ah" --labels Q-1,Q-2,Q-1
printf 'label,model,chemistry,rated\nR-1,R,NiMH,1 Ah\nR-2,R,NiMH,1 Ah\nr-1,R,NiMH,1 Ah\n' >cells.csv
expect 2 'r-1: this label is named twice' "$PERDURE" enrol cells.csv
[ "$(ask_logbook "SELECT (SELECT count(*) FROM run) || ' ' || (SELECT count(*) FROM cell)")" = "0 4" ] ||
    fail "something was queued or enrolled"

# 2. Windows that are upside down, and other ages that are none: found by check, at their line.
window() {
    study window "    s:perform('drain', s.cells)
    s:wait($1)"
    expect 1 "window.lua:5: $2" "$PERDURE" check window.lua --count 1
}
window "'P2D', { late = '-P1D' }" '"-P1D": a duration cannot be negative'
window "'P2D', { early = '-P1D' }" '"-P1D": a duration cannot be negative'
window "'P2D', { early = 'P3D' }" 'wait: the window opens 3 d before an age of only 2 d'
window "'P2D', { late = 'P2' }" '"P2": a number has none of the letters'
window "'P2D', { late = 3 }" 'wait: the late side of the window is no text'
window "'P2D', { latte = 'P1D' }" "wait has no 'latte'"
window "'P2D', { missed = 'cry' }" "wait: missed = 'cry' is not known"
window "'P2D', 'P1D'" 'wait: the window is a string and no table'
window "'P2W3'" '"P2W3": a number has none of the letters'
window "-3" 'wait: the age is no text'
study window "    s:perform('drain', s.cells)
    s:wait('P2D', { early = 'P2D', late = 'P0D' })"
expect 0 'nothing wrong' "$PERDURE" check window.lua --count 1

# 3. What is wrong far ahead is told when the study is started, and by the agenda, beside what is right.
study draws '    s:perform("drain", s.cells:draw(1))
    s:wait("P30D")
    s:perform("drain", s.cells:draw(3))'
study nosuch '    s:perform("drain", s.cells)
    s:perform("nosuch", s.cells)'
study upside '    s:perform("drain", s.cells)
    s:wait("P2D", { early = "P3D" })'
study fine '    s:wait("P10D")
    s:perform("drain", s.cells)'
expect 0 'warning: study 1 is going to fail: draws.lua:6: draw: no cells are left' \
    "$PERDURE" start draws.lua --cells T-01
expect 0 'warning: study 2 is going to fail: nosuch.lua:5: nosuch: no protocol of this name' \
    "$PERDURE" start nosuch.lua --cells T-02
expect 0 'warning: study 3 is going to fail: upside.lua:5: wait: the window opens 3 d before' \
    "$PERDURE" start upside.lua --cells T-03
expect 0 '' "$PERDURE" start fine.lua --cells T-04
[ ! -s err.txt ] || fail "warned of a study that is fine: $(cat err.txt)"
expect 0 'fine.lua' "$PERDURE" agenda
[ "$(grep -c '^warning: study [123] is going to fail' err.txt)" = 3 ] || fail "the agenda warns: $(cat err.txt)"
[ "$(grep -cE 'draws|nosuch|upside|fine' out.txt)" = 4 ] || fail "what comes before is shown: $(cat out.txt)"

# 4. They fail when they come to it, each alone; what was measured stays, and their cells are free.
engine
[ "$(ask_logbook "SELECT state FROM run WHERE kind = 'study' ORDER BY id" | paste -sd' ')" = "failed failed failed done" ] ||
    fail "states: $(ask_logbook "SELECT id, state, why FROM run")"
[ "$(ask_logbook "SELECT count(DISTINCT cell) FROM result WHERE name = 'remaining'")" = 4 ] || fail "results are lost"
[ "$(ask_logbook "SELECT count(*) FROM run WHERE state NOT IN ('done', 'failed')")" = 0 ] || fail "something hangs"
expect 0 'T-01' "$PERDURE" start drain --cells T-01,T-02,T-03,T-04

# 5. A study that names a cell twice to one protocol fails at that line; the engine and the others go on.
study twice '    s:perform("drain", { "T-01", "T-02", "T-01" })'
expect 1 'twice.lua:4: T-01: the cell stands there twice' "$PERDURE" check twice.lua --cells T-01,T-02
engine
expect 0 '' "$PERDURE" start twice.lua --cells T-01,T-02
expect 0 '' "$PERDURE" start fine.lua --cells T-03
engine
[ "$(ask_logbook "SELECT state FROM run WHERE script_name = 'twice.lua'")" = failed ] || fail "twice: $("$PERDURE" runs)"
[ "$(ask_logbook "SELECT count(*) FROM run WHERE script_name = 'fine.lua' AND state = 'done'")" = 2 ] || fail "the other: $("$PERDURE" runs)"
[ "$(ask_logbook "SELECT count(*) FROM run WHERE parent = (SELECT id FROM run WHERE script_name = 'twice.lua')")" = 0 ] ||
    fail "some of its runs were queued"

# 6. An answer out of range is refused, the question stays; a right one counts. At the prompt it is asked again.
study asks '    local leaked = s:ask { text = "How many leaked?", least = 0, most = 2 }
    note("leaked " .. leaked)
    note(s:ask { text = "Go on?", choices = { "yes", "no" } })'
expect 0 '' "$PERDURE" start asks.lua --cells T-01,T-02
engine
question=$(ask_logbook "SELECT max(id) FROM question")
expect 1 'it is out of range; type a number, 0 or more, 2 or less' "$PERDURE" answer "$question" 3
expect 1 'it is out of range' "$PERDURE" answer "$question" -- -1
expect 1 'type a number, 0 or more, 2 or less' "$PERDURE" answer "$question" T-77
expect 1 'no such question' "$PERDURE" answer 999 1
[ "$(ask_logbook "SELECT count(*) FROM answer")" = 0 ] || fail "a refused answer is on record"
# Typed at a terminal: out of range; a label that has no question; right.
{ printf '3\nT-01\n2\n'; sleep 1; } | timeout 120 script -qec "'$PERDURE' attend" /dev/null >prompt.txt || fail "at the prompt"
[ "$(grep -c 'How many leaked' prompt.txt)" = 3 ] || fail "asked again after each refusal: $(cat prompt.txt)"
grep -q 'out of range' prompt.txt || fail "why it was refused: $(cat prompt.txt)"
grep -q 'on record' prompt.txt || fail "taken: $(cat prompt.txt)"
[ "$(ask_logbook "SELECT group_concat(answer) FROM answer")" = 2.0 ] || fail "$(ask_logbook "SELECT * FROM answer")"
engine
question=$(ask_logbook "SELECT max(id) FROM question")
expect 1 'none of the choices; type one of yes, no' "$PERDURE" answer "$question" perhaps
expect 0 '' "$PERDURE" answer "$question" YES
engine
[ "$(ask_logbook "SELECT text FROM event WHERE level = 'note' ORDER BY id" | paste -sd' ')" = "leaked 2.0 yes" ] ||
    fail "notes: $(ask_logbook "SELECT text FROM event WHERE level = 'note'")"
sound
expect 0 '0 findings' "$PERDURE" audit
finish
