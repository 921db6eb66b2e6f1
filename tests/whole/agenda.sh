#!/bin/sh
# Studies that share a bench are planned together: what the agenda foresees is, to the second, what a simulated
# engine then does; also which cells find no channel before their window ends.
. "$(dirname "$0")/../support/whole.sh"

echo 'return bench { title = "Two", channels = { S1 = simulated {}, S2 = simulated {} } }' >bench.lua
echo 'return protocol { title = "Sit", run = function(cell) cell:charge { current = "0.1 It", stop = { time = "5 h" } } end }' >sit.lua
sed 's/Sit/Nap/; s/5 h/2 h/' sit.lua >nap.lua
cat >one.lua <<'L'
return study { title = "One", run = function(s)
  s:perform("sit", s.cells)
  s:wait("P2D", { early = "0 h", late = "1 h" })
  s:perform("nap", s.cells)
  s:perform("sit", s.cells)
end }
L
cat >two.lua <<'L'
return study { title = "Two", run = function(s)
  s:perform("nap", s.cells)
  s:wait("PT55H", { early = "0 h", late = "2 h" })
  s:perform("sit", s.cells)
end }
L
PERDURE_LOGBOOK=$work/plan.perdure
export PERDURE_LOGBOOK
"$PERDURE" new --clock virtual --from 2026-03-02 --seed 7 >/dev/null
"$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --size AA --labels "$(seq -f 'T-%02g' -s, 1 12)" >/dev/null
"$PERDURE" start one.lua --cells "$(seq -f 'T-%02g' -s, 1 5)" >/dev/null
"$PERDURE" start two.lua --cells "$(seq -f 'T-%02g' -s, 6 12)" >/dev/null
"$PERDURE" --json agenda --channels 2 >plan.json
"$PERDURE" --json agenda >plan8.json
"$PERDURE" engine --bench bench.lua --until-idle >told.txt 2>&1 || fail "the engine: $(cat told.txt)"

planned=$(sqlite3 :memory: "SELECT json_extract(value, '\$.study'), json_extract(value, '\$.from_us') / 1000000,
    json_extract(value, '\$.until_us') / 1000000 FROM json_each(readfile('plan.json')) ORDER BY 1, 2")
was=$(ask_logbook "SELECT parent, min(step.started_at) / 1000000, max(outcome.ended_at) / 1000000 FROM run
    JOIN step ON step.run = run.id JOIN outcome ON outcome.step = step.id WHERE parent IS NOT NULL GROUP BY parent, parent_n ORDER BY 1, 2")
[ "$(echo "$was" | wc -l)" = 5 ] || fail "five appointments: $was"
[ "$planned" = "$was" ] || fail "planned $planned, and was $was"

late=$(sqlite3 :memory: "SELECT sum(json_extract(value, '\$.late')) FROM json_each(readfile('plan.json'))")
[ "$late" = "$(grep -c 'was looked at late' told.txt)" ] && [ "$late" -gt 0 ] || fail "$late late by plan: $(cat told.txt)"
# With channels for all nobody is late; that is what is planned while no engine has worked on this logbook.
[ "$(grep -c '"late": 0' plan8.json)" = 5 ] || fail "late with eight channels: $(cat plan8.json)"

# After one has, its channels are planned with.
"$PERDURE" start two.lua --cells T-01,T-02,T-03 >/dev/null
"$PERDURE" agenda >out.txt
"$PERDURE" agenda --channels 2 >two.txt
cmp -s out.txt two.txt || fail "not planned with the two channels of the last engine: $(cat out.txt)"
"$PERDURE" agenda --channels 1 | grep -q 'too late: no channel is free' || fail "not said: $("$PERDURE" agenda --channels 1)"
"$PERDURE" overview --channels 1 | grep -q 'too late: no channel is free' || fail "overview: $("$PERDURE" overview --channels 1)"

# A study that goes on after all that is looked at is not said to end there.
echo 'return study { title = "Long", run = function(s) wait("P20D"); s:perform("nap", s.cells) end }' >long.lua
"$PERDURE" start long.lua --cells T-04 >/dev/null
"$PERDURE" agenda --weeks 1 2>&1 >/dev/null | grep -q 'goes on after the 1 week looked at: --weeks N' || fail "the agenda looks whole"
"$PERDURE" overview --weeks 1 | grep -q 'long.lua .* after 20' || fail "the study ends where the agenda does: $("$PERDURE" overview --weeks 1)"
"$PERDURE" overview | grep -q 'no engine is at work: nothing goes on until' || fail "open runs, and nobody who does them"
"$PERDURE" --json overview --weeks 1 | grep -q '"expected_after_at": "20' || fail "expected_after_at"
"$PERDURE" start long.lua --cells T-03 --also >/dev/null
[ "$("$PERDURE" agenda --weeks 1 2>&1 >/dev/null)" = "2 studies go on after the 1 week looked at: --weeks N looks further" ] ||
    fail "not one line for both: $("$PERDURE" agenda --weeks 1 2>&1 >/dev/null)"
[ -z "$("$PERDURE" agenda --weeks 200 2>&1 >/dev/null)" ] || fail "goes on after 200 weeks"

# A file for calendar programs; when nothing is due any more, it keeps no appointment of before.
expect 0 '' "$PERDURE" agenda --ics plan.ics
grep -q '^BEGIN:VEVENT' plan.ics || fail "no appointment in the file"
for run in $(ask_logbook "SELECT id FROM run WHERE ended_at IS NULL ORDER BY id"); do
    "$PERDURE" stop "$run" >/dev/null 2>&1 || true
done
"$PERDURE" engine --bench bench.lua --until-idle >/dev/null 2>&1
expect 0 'nothing is due: no study is going on; plan.ics is a calendar without appointments' "$PERDURE" agenda --ics plan.ics
! grep -q '^BEGIN:VEVENT' plan.ics || fail "appointments that are gone: $(cat plan.ics)"
grep -q '^END:VCALENDAR' plan.ics || fail "no calendar: $(cat plan.ics)"
sound
finish
