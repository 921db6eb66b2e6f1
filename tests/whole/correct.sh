#!/bin/sh
# Figures typed off a display are corrected: by the shipped protocols on slots worked by hand, with an engine at
# work and with none, of runs that are over and of one that goes on. Results, ranking, report and package show what
# holds now, the run's events what held before; what the script went on by is not corrected but refused.
. "$(dirname "$0")/../support/whole.sh"
. "$top/tests/support/engine.sh"

cp "$top/protocols/capacity.lua" "$top/protocols/storage-check.lua" .
cat >hands.lua <<'L'
local function slot(i)
  return by_hand { title = "slot " .. i, placed = true, accuracy = { charge = "1 %" } }
end
return bench { title = "A charger", channels = { H1 = slot(1), H2 = slot(2), H3 = slot(3), H4 = slot(4) } }
L
make() {
    PERDURE_LOGBOOK=$work/$1.perdure
    export PERDURE_LOGBOOK
    "$PERDURE" new --clock virtual --from 2026-03-02 --seed 7 >/dev/null
    "$PERDURE" enrol --model "Ochre 2000" --chemistry NiMH --rated "2000 mAh" --labels O-1,O-2 >/dev/null
    "$PERDURE" enrol --model "Teal 2000" --chemistry NiMH --rated "2000 mAh" --labels T-1,T-2 >/dev/null
}
# question CELL WORDS: the id of the open question of this cell; waits for it while an engine is at work.
question() {
    for _ in $(seq 1200); do
        ask_logbook "SELECT question FROM questions JOIN run ON run.id = run JOIN cell ON cell.id = cell
            WHERE answer IS NULL AND label = '$1' AND text LIKE '%$2%'" >found.txt
        [ -s found.txt ] && break
        [ -n "$engine" ] || "$PERDURE" engine --bench hands.lua --until-idle >>engine.txt 2>&1
        [ -z "$engine" ] || sleep 0.05
    done
    [ -s found.txt ] || fail "never asked: $2 of $1" >&2
    cat found.txt
}
# reply CELL WORDS ANSWER; answers the open question, whose id stays in $asked.
reply() {
    asked=$(question "$1" "$2")
    expect 0 'answered' "$PERDURE" answer "$asked" "$3" --who Ada
}
first_of() {
    "$PERDURE" --json rank --by capacity | grep -o '"model": "[^"]*"' | head -1
}
result() {
    ask_logbook "SELECT printf('%.5g %s', value, flags) FROM results WHERE cell = '$1' AND name = '$2'"
}
# holds WHAT: no row of `answer` was ever changed or lost, and the record is sound.
holds() {
    sound
    expect 0 '0 findings' "$PERDURE" audit
    [ "$(ask_logbook 'SELECT count(*) FROM answer')" = "$1" ] || fail "$1 answers, not $(ask_logbook 'SELECT * FROM answer')"
}

# capacity_day: four cells, each filled and emptied; 1957 mAh of T-1 is typed as 1597.
capacity_day() {
    "$PERDURE" start capacity.lua --cells O-1,O-2,T-1,T-2 >/dev/null
    for cell in O-1 O-2 T-1 T-2; do
        reply "$cell" charge "3200 mAh, 16 h"
    done
    reply O-1 discharge "1902 mAh"
    reply O-2 discharge "1911 mAh, 2320 mWh"
    reply T-1 discharge "1597 mAh, 2380 mWh"
    mistyped=$asked
    reply T-2 discharge "1948 mAh, 2370 mWh"
    [ -n "$engine" ] || "$PERDURE" engine --bench hands.lua --until-idle >>engine.txt 2>&1
    eventually on_record 4 "SELECT count(*) FROM run WHERE state = 'done'" || fail "not done: $(ask_logbook 'SELECT * FROM runs')"
}

for at_work in yes no; do
    make "capacity-$at_work"
    [ "$at_work" = no ] || begin_engine hands.lua
    capacity_day
    [ "$(result T-1 capacity)" = '1.597 ' ] || fail "$at_work: as typed: $(result T-1 capacity)"
    [ "$(first_of)" = '"model": "Ochre 2000"' ] || fail "$at_work: the mistyped figure ranks: $(first_of)"
    "$PERDURE" report -o before.html >/dev/null
    grep -q '1\.597' before.html || fail "$at_work: the report before"

    # What is not plausible, has no unit, or is no answer to this question is refused as it was at first.
    expect 1 'not plausible' "$PERDURE" answer "$mistyped" "19570 mAh"
    expect 1 'unit is missing' "$PERDURE" answer "$mistyped" "1957"
    expect 1 'the charge is missing' "$PERDURE" answer "$mistyped" "2380 mWh"
    [ "$(result T-1 capacity)" = '1.597 ' ] || fail "$at_work: a refused answer changed it"

    expect 0 "question $mistyped corrected" "$PERDURE" answer "$mistyped" "1957 mAh" --who Berta
    grep -q '^capacity  *1\.597 Ah .u 0\.00922 Ah)  *1\.957 Ah .u 0\.0113 Ah) *$' out.txt || fail "$at_work: was and is: $(cat out.txt)"
    grep -q '^mean_voltage  *1\.49029 V  *1\.21615 V *$' out.txt || fail "$at_work: what follows from it: $(cat out.txt)"
    grep -q '^energy' out.txt && fail "$at_work: the energy was not typed anew: $(cat out.txt)"
    [ "$(result T-1 capacity)" = '1.957 corrected' ] || fail "$at_work: corrected: $(result T-1 capacity)"
    [ "$(result T-1 energy)" = '2.38 ' ] || fail "$at_work: the energy: $(result T-1 energy)"
    [ "$(result T-1 mean_voltage)" = '1.2161 corrected' ] || fail "$at_work: mean voltage: $(result T-1 mean_voltage)"
    [ "$(result T-2 capacity)" = '1.948 ' ] || fail "$at_work: another cell: $(result T-2 capacity)"
    run=$(ask_logbook "SELECT run FROM question WHERE id = $mistyped")

    # Everybody sees it.
    expect 0 'was typed anew' "$PERDURE" results
    grep -q '^T-1 .*capacity  *1\.957 .*corrected' out.txt || fail "$at_work: results: $(cat out.txt)"
    [ "$(first_of)" = '"model": "Teal 2000"' ] || fail "$at_work: the ranking: $(first_of)"
    "$PERDURE" report -o after.html >/dev/null
    grep -q '1\.597' after.html && fail "$at_work: the report still has it"
    grep -q '1\.957' after.html || fail "$at_work: the report has no corrected figure"
    grep -q 'flagged: corrected (it was typed anew' after.html || fail "$at_work: the report tells no correction"
    expect 0 '1.957' "$PERDURE" cells T-1
    expect 0 "capacity was 1.597 Ah (u 0.00922 Ah) and is 1.957 Ah (u 0.0113 Ah): question $mistyped was corrected by Berta" "$PERDURE" runs "$run"
    grep -q 'discharge .* 1\.957 ' out.txt || fail "$at_work: the step: $(cat out.txt)"
    [ "$(ask_logbook "SELECT group_concat(printf('%.4g', answer ->> '$.charge') || ' ' || who, ', ') FROM answer WHERE question = $mistyped")" = \
        '5749 Ada, 7045 Berta' ] || fail "$at_work: what was typed: $(ask_logbook "SELECT * FROM answer WHERE question = $mistyped")"

    # The same again is nothing; and back again is a correction like any other.
    holds 9
    expect 0 'has this answer already: nothing is changed' "$PERDURE" answer "$mistyped" "1.957 Ah" --who Cleo
    holds 9
    expect 0 '"was": "1.957 Ah (u 0.0113 Ah)"' "$PERDURE" --json answer "$mistyped" "1597 mAh" --who Cleo
    [ "$(first_of)" = '"model": "Ochre 2000"' ] || fail "$at_work: corrected back: $(first_of)"
    holds 10
    # An energy that was not typed at first is another result, which the run has no place for.
    lacking=$(ask_logbook "SELECT question FROM question JOIN answer ON question = question.id WHERE answer NOT LIKE '%energy%' AND text LIKE 'O-1%discharge%'")
    expect 1 'where it was done' "$PERDURE" answer "$lacking" "1902 mAh, 2310 mWh" --who Berta
    grep -q 'nothing is changed; run capacity.lua again on O-1' err.txt || fail "$at_work: what to do: $(cat err.txt)"
    expect 0 'corrected' "$PERDURE" answer "$lacking" "1903 mAh" --who Berta
    [ "$(result O-1 capacity)" = '1.903 corrected' ] || fail "$at_work: O-1: $(result O-1 capacity)"
    holds 11
    [ -z "$engine" ] || kill_engine
done

# A storage check in the middle, an engine at work: what is asked stays asked, and the run goes on by what holds now,
# also when the engine is killed right after. Who follows the runs sees it.
make storage
begin_engine hands.lua
"$PERDURE" start storage-check.lua --cells O-1 >/dev/null
reply O-1 'measure the voltage' "1.31 V"
found=$asked
reply O-1 discharge "1473 mAh"
remaining=$asked
"$PERDURE" runs --follow >follow.txt &
follow=$!
until_following "$follow"
waiting=$(question O-1 charge)
expect 0 'open_voltage' "$PERDURE" answer "$found" "1.29 V" --who Berta
grep -q '^open_voltage  *1\.31 V  *1\.29 V *$' out.txt || fail "no table: $(cat out.txt)"
expect 0 'remaining' "$PERDURE" answer "$remaining" "1437 mAh" --who Berta
kill_engine
[ "$(result O-1 open_voltage)" = '1.29 corrected' ] || fail "open voltage: $(result O-1 open_voltage)"
[ "$(result O-1 remaining)" = '1.437 corrected' ] || fail "remaining: $(result O-1 remaining)"
begin_engine hands.lua
[ "$(question O-1 charge)" = "$waiting" ] || fail "another question is open"
expect 0 'remaining' "$PERDURE" answer "$remaining" "1438 mAh" --who Berta
reply O-1 charge "3200 mAh"
reply O-1 discharge "1880 mAh"
reply O-1 charge "3190 mAh"
wait "$follow" || fail "runs --follow: $(cat follow.txt)"
for words in "run 1  O-1  question $remaining is corrected by Berta: " 'O-1  note: remaining was 1.473 Ah' 'run 1  O-1  done'; do
    grep -qF "$words" follow.txt || fail "not seen: $words ($(cat follow.txt))"
done
kill_engine
[ "$(ask_logbook 'SELECT count(*) FROM question')" = 5 ] || fail "asked twice: $(ask_logbook 'SELECT * FROM questions')"
[ "$(result O-1 recovered)" = '1.88 ' ] || fail "recovered: $(result O-1 recovered)"
[ "$(result O-1 remaining)" = '1.438 corrected' ] || fail "remaining: $(result O-1 remaining)"
holds 8

# Of a run that is over, while another one is open and followed.
begin_engine hands.lua
"$PERDURE" start capacity.lua --cells O-2 >/dev/null
question O-2 charge >/dev/null
"$PERDURE" runs --follow >follow.txt &
follow=$!
until_following "$follow"
expect 0 'remaining' "$PERDURE" answer "$remaining" "1439 mAh" --who Berta
eventually grep -qF 'run 1  O-1  note: remaining was 1.438 Ah' follow.txt || fail "a late correction is not seen: $(cat follow.txt)"
"$PERDURE" stop 2 >/dev/null
wait "$follow" || fail "runs --follow: $(cat follow.txt)"
kill_engine
"$PERDURE" export package >/dev/null
grep -q '^O-1,.*,remaining,1\.439,.*,corrected,' package/*.csv || fail "the package: $(grep remaining package/*.csv)"
grep -q 'corrected: typed anew' package/datapackage.json || fail "the package does not say what corrected is"

# What was done by the wrong figure was done: a script that goes on by what was typed.
make follows
cat >half.lua <<'L'
return protocol {
  title = "Half of it",
  results = { capacity = "Ah", half = "Ah" },
  run = function(cell)
    local out = cell:discharge { current = "400 mA", stop = { voltage = "1.0 V" } }
    record("capacity", out.charge, "Ah")
    note("it has", out.charge)
    cell:charge { current = 0.1 * out.charge, stop = { time = "8 h" } }
  end,
}
L
for state in open over; do
    if [ "$state" = open ]; then
        "$PERDURE" start half.lua --cells O-1 >/dev/null
        reply O-1 discharge "1857 mAh"
        wrong=$asked
        question O-1 charge >/dev/null
        what='perdure stop 1'
    else
        reply O-1 charge "1600 mAh"
        "$PERDURE" engine --bench hands.lua --until-idle >>engine.txt 2>&1
        what='run half.lua again on O-1'
    fi
    sqlite3 "$PERDURE_LOGBOOK" .dump >before.sql
    expect 1 'nothing is changed' "$PERDURE" answer "$wrong" "1875 mAh" --who Berta
    grep -q 'journal entry 4: the record says charge .*"current":0\.1857.*now asks for charge .*"current":0\.1875' err.txt ||
        fail "$state: which entry: $(cat err.txt)"
    grep -qF "$what" err.txt || fail "$state: what to do: $(cat err.txt)"
    sqlite3 "$PERDURE_LOGBOOK" .dump >after.sql
    cmp -s before.sql after.sql || fail "$state: a refused correction left something: $(diff before.sql after.sql)"
done
holds 2

# The answer to a plain question; a script that begins again with what it knows; a study that has read the figure.
cat >asks.lua <<'L'
return protocol {
  title = "Asks, then begins again",
  results = { weight = "" },
  run = function(cell, p, state)
    if not state then
      record("weight", ask { text = "What do the scales say, in g?", kind = "number", least = 1, most = 100 })
      return restart_with { known = true }
    end
    cell:rest { time = "1 h" }
    ask { text = "All well?", kind = "done" }
  end,
}
L
cat >study.lua <<'L'
return study {
  title = "Reads it",
  run = function(s)
    local out = s:perform("capacity", s.cells)
    if out["O-1"].results.capacity < 1.9 then s:withdraw(s.cells:of("Teal 2000"), "not of a kind") end
    s:perform("asks", { "O-1" })
    s:ask { text = "Shelf free?", kind = "done" }
  end,
}
L
make asks
begin_engine hands.lua
"$PERDURE" start study.lua --cells O-1,O-2 >/dev/null
reply O-1 charge "3200 mAh"
reply O-2 charge "3200 mAh"
reply O-1 discharge "1857 mAh"
discharged=$asked
reply O-2 discharge "1901 mAh"
reply O-1 scales "23"
weighed=$asked
reply O-1 'All well' "yes"
eventually on_record 1 "SELECT count(*) FROM questions WHERE text = 'Shelf free?'" || fail "the study does not ask"
expect 0 'weight' "$PERDURE" answer "$weighed" "32" --who Berta
grep -q '^weight  *23  *32 *$' out.txt || fail "a plain question: $(cat out.txt)"
[ "$(result O-1 weight)" = '32 corrected' ] || fail "the weight: $(result O-1 weight)"
expect 1 'out of range' "$PERDURE" answer "$weighed" "320"
expect 0 'the answer' "$PERDURE" answer "$weighed" "32.5" --who Berta

# The study has decided by what it read: that is told, and its own record is left alone.
entry="SELECT outcome FROM journal WHERE run = 1 AND name = 'perform' ORDER BY n LIMIT 1"
ask_logbook "$entry" >read.txt
grep -q '"capacity":1\.857' read.txt || fail "the study has read another figure: $(cat read.txt)"
expect 0 'capacity' "$PERDURE" answer "$discharged" "1957 mAh" --who Berta
ask_logbook "$entry" | cmp -s - read.txt || fail "the study's own record was changed"
child=$(ask_logbook "SELECT run FROM question WHERE id = $discharged")
expect 0 "the study went on by capacity 1.857 Ah (u 0.0107 Ah) of O-1 (run $child), which is 1.957 Ah (u 0.0113 Ah) now: question $discharged was corrected by Berta" \
    "$PERDURE" runs 1
expect 0 'answered' "$PERDURE" answer "$(ask_logbook "SELECT question FROM questions WHERE answer IS NULL")" yes --who Ada
eventually on_record done "SELECT group_concat(DISTINCT state) FROM run" || fail "not all done: $(ask_logbook 'SELECT * FROM runs')"
kill_engine
told() {
    ask_logbook "SELECT count(*) FROM event WHERE run = 1 AND level = 'note' AND text LIKE 'the study went on by $1 %'"
}
[ "$(told capacity)" = 1 ] || fail "the study is told once, not $(told capacity) times"
[ "$(told weight)" = 2 ] || fail "the study is told of each correction, not $(told weight) times"
holds 10

# Which cell was put in is no figure.
sed 's/placed = true, //' hands.lua >ask.lua
make own
"$PERDURE" start capacity.lua --cells O-1 --channel H1 >/dev/null
"$PERDURE" engine --bench ask.lua --until-idle >>engine.txt 2>&1
expect 0 'answered' "$PERDURE" answer 1 O-1 --who Ada
"$PERDURE" engine --bench ask.lua --until-idle >>engine.txt 2>&1
expect 1 'no figure to correct; if the cell in there is another one: perdure stop 1' "$PERDURE" answer 1 yes --who Ada
finish
