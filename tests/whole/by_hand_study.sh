#!/bin/sh
# A study over two slots worked by hand, answered by a script: as answers one by one, as lines such as a
# scanner types them, with wrong labels, units and values on the way, a correction, and the engine killed
# again and again. Beside it the same study on simulated channels: the same draws and the same checks.
. "$(dirname "$0")/../support/whole.sh"
. "$top/tests/support/engine.sh"

cp "$top/protocols/capacity.lua" "$top/protocols/drain.lua" .
cat >six-weeks.lua <<'L'
return study {
  title = "Six weeks on the shelf",
  run = function(s)
    local arms = s:split { shelf = 2 }
    s:perform("capacity", s.cells, { again = 1 })
    s:store(arms.shelf, { temperature = "20 degC" })
    s:wait("P42D", { late = "P2D" })
    s:perform("drain", arms.shelf)
  end,
}
L
echo 'return bench { title = "A charger", channels = {
  H1 = by_hand { title = "slot 1 of the charger" }, H2 = by_hand { title = "slot 2 of the charger" } } }' >hands.lua
echo 'return bench { title = "Two", channels = { H1 = simulated {}, H2 = simulated {} } }' >simulated.lua
make() {
    PERDURE_LOGBOOK=$work/$1.perdure
    export PERDURE_LOGBOOK
    "$PERDURE" new --clock virtual --from 2026-03-02 --seed 7 >/dev/null
    "$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --labels T-01,T-02,T-03 >/dev/null
    "$PERDURE" start six-weeks.lua --cells T-01,T-02,T-03 >/dev/null
}

# A rehearsal on the slots asks nobody.
make simulated
expect 0 'drain ' "$PERDURE" rehearse six-weeks.lua --bench hands.lua
"$PERDURE" engine --bench simulated.lua --until-idle >simulated.txt 2>&1 || fail "$(cat simulated.txt)"
make hands

# open_now: "ID|CELL|TEXT" of each open question, in order.
open_now() {
    ask_logbook "SELECT question, (SELECT label FROM run JOIN cell ON cell.id = cell WHERE run.id = q.run), text
        FROM questions AS q WHERE answer IS NULL ORDER BY question"
}
# until_open WORDS: waits for an open question with these words; says its id.
until_open() {
    for _ in $(seq 1200); do
        open_now | grep -F -- "$1" | head -1 | cut -d'|' -f1 >found.txt
        [ -s found.txt ] && break
        sleep 0.05
    done
    [ -s found.txt ] || fail "never asked: $1 ($(open_now))" >&2
    cat found.txt
}
# reply WORDS ANSWER [STATUS WORDS]
reply() {
    expect "${3:-0}" "${4:-answered}" "$PERDURE" answer "$(until_open "$1")" "$2" --who Ada
}

# The first two cells that are asked for, one for each slot; the third waits for a slot.
begin_engine hands.lua
first=$(until_open 'into slot 1' >/dev/null; open_now | grep 'into slot 1' | cut -d'|' -f2)
second=$(until_open 'into slot 2' >/dev/null; open_now | grep 'into slot 2' | cut -d'|' -f2)
third=$(printf 'T-01\nT-02\nT-03\n' | grep -v -e "$first" -e "$second")
[ "$(open_now | wc -l)" = 2 ] || fail "two slots, and asked for: $(open_now)"
reply "Put $first" "$second" 1 "$second was given, and $first belongs in H1; $second belongs in H2"
kill_engine
begin_engine hands.lua
reply "Put $first" "$first"
reply "Put $second" "$first" 1 "$first is in H1 already"
reply "Put $second" yes

# Wrong units and values are refused, and the question stays.
reply "$first in slot 1 of the charger: charge" "2 km" 1 'such as'
reply "$first in slot 1 of the charger: charge" "3200 mah" 1 'did you mean "mAh"?'
reply "$first in slot 1 of the charger: charge" "3200 mAh, 16:02" 1 'a time is typed with its units, such as 4 h 2 min'
reply "$first in slot 1 of the charger: charge" "1.4 V" 1 'the charge is missing'
reply "$first in slot 1 of the charger: charge" "9000 mAh" 1 'not plausible'
reply "$first in slot 1 of the charger: charge" "3200 mAh, 16 h"
kill_engine
before=$(open_now)
begin_engine hands.lua
[ "$(open_now)" = "$before" ] || fail "after a kill other questions are open: $before / $(open_now)"

# No engine at work: answers go on record all the same, and a correction before it is taken up holds.
reply "$second in slot 2 of the charger: charge" "3200 mAh"
reply "$first in slot 1 of the charger: discharge" "1.5 V, 1912 mAh, 2350 mWh"
id=$(until_open "$second in slot 2 of the charger: discharge")
kill_engine
expect 0 'answered' "$PERDURE" answer "$id" "1943 mAh" --who Ada
expect 0 '"correction": true' "$PERDURE" --json answer "$id" "1934 mAh" --who Berta
begin_engine hands.lua

# Ready for the shelf; then the third cell takes the slot that is free first, by a scanner's lines. Each line
# answers the question that is shown; a label picks its cell, but where a label is asked it is the answer.
until_open "$first in slot 1 of the charger: charge" >/dev/null
until_open "$second in slot 2 of the charger: charge" >/dev/null
# However long a line is, it is one answer.
printf '%01500d\nq\n' 0 | "$PERDURE" attend --lines --who Cleo >lines.txt
[ "$(grep -c 'the answer "0.*": ' lines.txt)" = 1 ] || fail "a long line is not one answer: $(cat lines.txt)"
printf '%s\r\n3200 mAh, 16 h\n%s\n3201 mAh\nq\n' "$second" "$first" |
    "$PERDURE" attend --lines --who Cleo >lines.txt || fail "attend: $(cat lines.txt)"
[ "$(grep -c 'on record' lines.txt)" = 2 ] || fail "two lines were answers: $(cat lines.txt)"
until_open "Put $third" >/dev/null
printf '%s\r\n%s\r\n' "$first" "$third" | "$PERDURE" attend --lines --who Cleo >lines.txt
grep -q "$first was given, and $third belongs in H" lines.txt || fail "no word of the wrong label: $(cat lines.txt)"
[ "$(grep -c 'on record' lines.txt)" = 1 ] || fail "the right label is an answer: $(cat lines.txt)"
reply "$third in slot" "3200 mAh"
kill_engine
begin_engine hands.lua
reply "$third in slot" "1.9 Ah"
reply "$third in slot" "3200 mAh"

# Six weeks later, at once on this clock: the shelf's cells, put in again although two stood there last.
until_open 'Put ' >/dev/null
for cell in $(ask_logbook "SELECT cell.label FROM placement JOIN cell ON cell.id = cell WHERE kind = 'shelf' ORDER BY cell.label"); do
    reply "Put $cell" "$cell"
    reply "$cell in slot" "3.7 V" 1 'not plausible'
    reply "$cell in slot" "1.31 V"
    kill_engine
    begin_engine hands.lua
    reply "$cell in slot" "1500 mAh, 1.0 V"
done
eventually on_record done "SELECT state FROM run WHERE id = 1" || true
kill_engine
[ -z "$(open_now)" ] || fail "still open: $(open_now)"
[ "$(ask_logbook "SELECT count(*) FROM run WHERE state <> 'done'")" = 0 ] || fail "$(ask_logbook "SELECT * FROM runs")"

# As typed, by hand, by whom.
capacity_run=$(ask_logbook "SELECT run FROM results WHERE cell = '$first' AND name = 'capacity'")
expect 0 '1.912 Ah' "$PERDURE" runs "$capacity_run"
grep -q '1.5 V, 1.912 Ah, 2.35 Wh  *[A-Z]' out.txt || grep -q '1.912 Ah, 2.35 Wh, 1.5 V  *[A-Z]' out.txt ||
    fail "what was typed is not shown: $(cat out.txt)"
expect 0 'nothing is asked' "$PERDURE" attend
result() {
    ask_logbook "SELECT printf('%.4g', value) FROM results WHERE cell = '$1' AND name = '$2'"
}
[ "$(result "$first" capacity)" = 1.912 ] || fail "capacity of $first: $(result "$first" capacity)"
[ "$(result "$first" energy)" = 2.35 ] || fail "energy of $first: $(result "$first" energy)"
[ "$(result "$second" capacity)" = 1.934 ] || fail "the correction does not hold: $(result "$second" capacity)"
[ "$(result "$third" capacity)" = 1.9 ] || fail "capacity of $third: $(result "$third" capacity)"
[ "$(ask_logbook "SELECT group_concat(DISTINCT how) FROM result")" = 'by hand' ] || fail "how: $(ask_logbook "SELECT DISTINCT how FROM result")"
[ "$(ask_logbook "SELECT group_concat(DISTINCT printf('%.4g', value)) FROM result WHERE name = 'remaining'")" = 1.5 ] || fail "remaining"
[ "$(ask_logbook "SELECT group_concat(who, ' ') FROM answer WHERE question = $id ORDER BY id")" = 'Ada Berta' ] || fail "who corrected"
[ "$(ask_logbook "SELECT count(*) FROM answer WHERE who = '' OR at < 1772409600000000")" = 0 ] || fail "an answer without who or when"
[ "$(ask_logbook "SELECT count(*) FROM answer WHERE who = 'Cleo'")" = 3 ] || fail "Cleo answered three times"
# Nothing is asked twice: a question for each step that a person does, and one for each cell put in.
twice=$(ask_logbook "SELECT text, count(*) FROM question GROUP BY run, segment, n HAVING count(*) > 1")
[ -z "$twice" ] || fail "asked twice: $twice"
[ "$(ask_logbook "SELECT count(*) FROM question")" = "$(ask_logbook \
    "SELECT (SELECT count(*) FROM step WHERE kind <> 'rest') + (SELECT count(*) FROM journal WHERE name = 'insert')")" ] ||
    fail "questions and steps: $(ask_logbook "SELECT id, run, n, text FROM question")"
[ "$(ask_logbook "SELECT count(*) FROM journal WHERE name = 'insert'")" = 5 ] || fail "five times a cell was put in"
sound
expect 0 '0 findings' "$PERDURE" audit

# The same study: what it asked for, its draws, its checks, and which results of which cell.
study() {
    ask_logbook "SELECT n, name, args FROM journal WHERE run = 1 AND name <> 'wait_age' ORDER BY n"
    ask_logbook "SELECT n, name, json_remove(args, '\$.until') FROM journal WHERE run = 1 AND name = 'wait_age'"
    ask_logbook "SELECT cell.label, kind, placement.label, detail FROM placement JOIN cell ON cell.id = cell ORDER BY placement.id"
    ask_logbook "SELECT script_name, label, seed FROM run LEFT JOIN cell ON cell.id = cell ORDER BY run.id"
    ask_logbook "SELECT DISTINCT label, name FROM result JOIN cell ON cell.id = cell WHERE name IN ('capacity', 'remaining', 'open_voltage') ORDER BY 1, 2"
    ask_logbook "SELECT json_extract(r.value, '\$.timing') FROM journal, json_each(outcome, '\$.runs') AS r WHERE run = 1 AND name = 'perform'"
}
study >hands.study
PERDURE_LOGBOOK=$work/simulated.perdure
study >simulated.study
cmp -s hands.study simulated.study || fail "not the same study: $(diff hands.study simulated.study)"

# Cells that are put in ahead are not asked for: by the engine's option, the bench file, or the study.
sed 's/title = "slot/placed = true, title = "slot/g' hands.lua >placed.lua
cat >ahead.lua <<'L'
return study {
  title = "All in their slots",
  run = function(s)
    s:perform("drain", s.cells, {}, { placed = true, channel = { ["T-01"] = "H2", ["T-02"] = "H1" } })
  end,
}
L
# ahead NAME SCRIPT BENCH [OPTION]
ahead() {
    make "ahead-$1"
    "$PERDURE" stop 1 --why "the shelf fell down" >/dev/null
    expect 0 'stopped: by a person: the shelf fell down' "$PERDURE" runs 1
    "$PERDURE" start "$2" --cells T-01,T-02 >/dev/null
    # shellcheck disable=SC2086
    "$PERDURE" engine --bench "$3" --until-idle ${4-} >ahead.txt 2>&1 || fail "$(cat ahead.txt)"
    [ "$(open_now | wc -l)" = 2 ] || fail "$1: $(open_now)"
    ! open_now | grep Put || fail "$1: asked to put a cell in"
    expect 0 '0 findings' "$PERDURE" audit
}
ahead option drain hands.lua --placed
ahead bench drain placed.lua
ahead study ahead.lua hands.lua
[ "$(ask_logbook "SELECT group_concat(channel, ' ') FROM (SELECT * FROM run JOIN cell ON cell.id = cell ORDER BY label)")" = 'H2 H1' ] ||
    fail "not on the channels named: $(ask_logbook 'SELECT * FROM runs')"
finish
