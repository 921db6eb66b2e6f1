#!/bin/sh
# Days by the wall clock of a place: a virtual study in Europe/Berlin over both changes of the clock of
# 2026 (29 March 02:00 -> 03:00, 25 October 03:00 -> 02:00: the law on summer time of the European Union),
# its due dates and agenda, and its journal replayed under other rules. What clocks show is asked of GNU date.
. "$(dirname "$0")/../support/whole.sh"
zones=${TZDIR:-/usr/share/zoneinfo}
if [ ! -e "$zones/Europe/Berlin" ] || ! date --version 2>/dev/null | grep -q GNU; then
    echo "skipped: no time zone database (package tzdata), or no GNU date"
    finish
fi

# berlin MICROSECONDS: what a clock in Berlin shows then.
berlin() {
    TZ=Europe/Berlin date -d "@$(($1 / 1000000))" +%Y-%m-%dT%H:%M:%S%:z
}

cat >bench.lua <<'L'
return bench { title = "One", channels = { S1 = simulated {} } }
L
# A short charge; one channel, so the cells of a study are charged one after another.
cat >brief.lua <<'L'
return protocol {
  title = "Brief",
  run = function(cell)
    cell:charge { current = "0.1 It", stop = { time = "1 h" } }
  end,
}
L
cat >summer.lua <<'L'
return study {
  title = "Summer time",
  run = function(s)
    wait_until("2026-03-28T12:00")
    wait("P1D")
    note("spring day")
    wait("PT24H")
    note("spring hours")
    s:perform("brief", s.cells)
    s:ask { text = "Go on?" }
    wait_until("2026-10-24T12:00")
    s:perform("brief", s.cells)
    note("window", s:wait("P1D", { late = "P0D" }))
    s:perform("brief", s.cells)
    note("autumn day")
  end,
}
L
PERDURE_LOGBOOK=$work/berlin.perdure
export PERDURE_LOGBOOK

# 1. The zone is the logbook's; a date alone is midnight there.
expect 2 'no such time zone' "$PERDURE" new --clock virtual --zone Mars/Nowhere
expect 0 'Europe/Berlin' "$PERDURE" new --clock virtual --from 2026-03-27 --seed 7 --zone Europe/Berlin
[ "$(ask_logbook 'SELECT zone FROM logbook')" = Europe/Berlin ] || fail "zone"
[ "$(berlin "$(ask_logbook 'SELECT created_at FROM logbook')")" = 2026-03-27T00:00:00+01:00 ] || fail "midnight"
"$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --labels T-01,T-02 >/dev/null

# 2. Over the spring change a day is 23 h and PT24H is 24 h; then it is asked.
expect 0 '' "$PERDURE" start summer.lua --cells T-01,T-02
expect 0 '' "$PERDURE" engine --bench bench.lua --until-idle
[ "$(ask_logbook "SELECT (outcome_at - intent_at) / 3600000000 FROM journal WHERE name = 'wait' ORDER BY n LIMIT 2" | tr '\n' ' ')" = "23 24 " ] ||
    fail "hours waited: $(ask_logbook "SELECT outcome_at - intent_at FROM journal WHERE name = 'wait'")"
at=$(ask_logbook "SELECT at FROM event WHERE text = 'spring day'")
[ "$(berlin "$at")" = 2026-03-29T12:00:00+02:00 ] || fail "P1D over the spring change: $(berlin "$at")"
at=$(ask_logbook "SELECT at FROM event WHERE text = 'spring hours'")
[ "$(berlin "$at")" = 2026-03-30T12:00:00+02:00 ] || fail "PT24H: $(berlin "$at")"

# 3. The agenda: what comes after the change back is shown by the clock then, also in the calendar file.
expect 0 '2026-10-24 12:00 +02:00' "$PERDURE" agenda --weeks 40 --channels 1 --ics plan.ics
grep -q '2026-10-25 13:00 +01:00' out.txt || fail "one day after its charge: $(cat out.txt)"
grep -q '^DTSTART:20261024T100000Z' plan.ics || fail "the calendar file: $(cat plan.ics)"
grep -q '^DTSTART:20261025T120000Z' plan.ics || fail "the calendar file: $(cat plan.ics)"
expect 0 '"zone": "Europe/Berlin"' "$PERDURE" --json agenda --weeks 40 --channels 1
grep -q '"from": "2026-10-24T10:00:00Z"' out.txt || fail "instants in JSON are UTC: $(cat out.txt)"
expect 0 'today' "$PERDURE" agenda
expect 0 '+02:00' "$PERDURE" runs

# By the clocks of Berlin half past midnight is tomorrow; by those of UTC it is today.
cat >midnight.lua <<'L'
return study {
  title = "Midnight",
  run = function(s)
    wait_until("2026-03-30T23:30")
    s:ask { text = "Go on?" }
    wait_until("2026-03-31T00:30")
    s:perform("brief", s.cells)
  end,
}
L
(
    PERDURE_LOGBOOK=$work/midnight.perdure
    "$PERDURE" new --clock virtual --from 2026-03-30 --seed 7 --zone Europe/Berlin >/dev/null
    "$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --labels T-01,T-02 >/dev/null
    "$PERDURE" start midnight.lua --cells T-01,T-02 >/dev/null
    "$PERDURE" engine --bench bench.lua --until-idle
    "$PERDURE" agenda
) >midnight.txt
grep -q '^today .*2026-03-30 23:30 +02:00.*Go on' midnight.txt || fail "today: $(cat midnight.txt)"
grep -q '^planned .*2026-03-31 00:30 +02:00.*brief' midnight.txt || fail "tomorrow: $(cat midnight.txt)"

# 4. To its end. Each cell is due at the hour of its own charge, 25 h later, and that is on record.
expect 0 '' "$PERDURE" answer 1 yes
expect 0 '' "$PERDURE" engine --bench bench.lua --until-idle
[ "$(ask_logbook "SELECT state FROM run WHERE kind = 'study'")" = done ] || fail "$("$PERDURE" runs 1)"
ask_logbook "SELECT b.due_at, b.due_civil, b.due_zone, b.due_at - a.at, b.started_at >= b.due_at
    FROM run AS b JOIN (SELECT run.cell, max(outcome.ended_at) AS at FROM outcome JOIN step ON step.id = outcome.step
        JOIN run ON run.id = step.run
        WHERE outcome.ended_at < (SELECT min(due_at) FROM run) GROUP BY run.cell) AS a ON a.cell = b.cell
    WHERE b.due_at IS NOT NULL ORDER BY b.due_at" >due.txt
[ "$(wc -l <due.txt)" = 2 ] || fail "two due dates: $(cat due.txt)"
hours=
while IFS='|' read -r due civil zone after held; do
    [ "$(berlin "$due")" = "$(echo "$civil" | cut -c 1-19)+01:00" ] || fail "due $due is not $civil"
    [ "$zone $after $held" = "Europe/Berlin 90000000000 1" ] || fail "$civil: $zone, $after us after its charge, $held"
    hours="$hours $(echo "$civil" | cut -c 1-13)"
done <due.txt
[ "$hours" = " 2026-10-25T13 2026-10-25T14" ] || fail "due at$hours"
expect 0 '0 findings' "$PERDURE" audit
sound

# 5. Other rules (the clocks of another place under this name): what was waited for, and whether that was in
#    time, is on record and not worked out anew, so every journal fits. Half way through, too.
[ "$(ask_logbook "SELECT count(*) FROM event WHERE text LIKE 'window%in time%'")" = 1 ] || fail "in time"
mkdir -p other/Europe
cp "$zones/America/New_York" other/Europe/Berlin
expect 0 '0 findings' env TZDIR="$work/other" "$PERDURE" audit
PERDURE_LOGBOOK=$work/moved.perdure
"$PERDURE" new --clock virtual --from 2026-03-27 --seed 7 --zone Europe/Berlin >/dev/null
"$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --labels T-01,T-02 >/dev/null
"$PERDURE" start summer.lua --cells T-01,T-02 >/dev/null
"$PERDURE" engine --bench bench.lua --until-idle 2>/dev/null
"$PERDURE" answer 1 yes >/dev/null
expect 0 '' env TZDIR="$work/other" "$PERDURE" engine --bench bench.lua --until-idle
[ "$(ask_logbook "SELECT state FROM run WHERE kind = 'study'")" = done ] || fail "$("$PERDURE" runs 1)"
# The civil time holds: noon of 24 October, by the clocks of the other place.
at=$(ask_logbook "SELECT outcome_at FROM journal WHERE args LIKE '%2026-10-24T12:00:00%'")
[ "$(TZ=America/New_York date -d "@$((at / 1000000))" +%H:%M)" = 12:00 ] || fail "noon by other rules: $at"
expect 0 '0 findings' "$PERDURE" audit

# 6. No database on this machine: said, with what to do; a logbook of UTC needs none.
expect 3 'tzdata' env TZDIR="$work/nowhere" "$PERDURE" runs
new_logbook plain
[ "$(ask_logbook 'SELECT zone FROM logbook')" = UTC ] || fail "a virtual clock is in UTC unless told"
expect 0 'T-01' env TZDIR="$work/nowhere" "$PERDURE" cells

# 7. Rehearsed by the clocks of a place: told, or those of the logbook.
grep -v 's:ask' summer.lua >unasked.lua
expect 0 '2026-10-24 12:00 +02:00' "$PERDURE" rehearse unasked.lua --from 2026-03-27 --zone Europe/Berlin --count 2 --channels 1
expect 0 '2026-10-24 12:00' "$PERDURE" rehearse unasked.lua --from 2026-03-27 --count 2 --channels 1
grep -q '+0' out.txt && fail "UTC is shown without an offset"
PERDURE_LOGBOOK=$work/berlin.perdure
expect 0 '2026-10-24 12:00 +02:00' "$PERDURE" rehearse unasked.lua --from 2026-03-27 --count 2 --channels 1
finish
