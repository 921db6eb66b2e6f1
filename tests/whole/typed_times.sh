#!/bin/sh
# Steps by hand that ended before somebody typed what the display says: the record, and the ages counted from it, go
# by the time that was typed; a corrected time moves them. Half an hour a second.
. "$(dirname "$0")/../support/whole.sh"
. "$top/tests/support/engine.sh"

echo 'return bench { title = "A slot", channels = { H1 = by_hand { title = "the charger" } } }' >bench.lua
cat >both.lua <<'L'
return protocol { title = "Both", run = function(cell)
  cell:charge { current = "0.5 It", stop = { time = "3 h" } }
  cell:discharge { current = "0.5 It", stop = { voltage = "1.0 V" } }
end }
L
PERDURE_LOGBOOK=$work/typed.perdure
export PERDURE_LOGBOOK
"$PERDURE" new --clock x1800 --zone Europe/Berlin --seed 7 >/dev/null
"$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --labels T-01 >/dev/null
"$PERDURE" start both.lua --cells T-01 >/dev/null
begin_engine bench.lua
# until_asked COUNT: so many questions have been put.
until_asked() {
    eventually on_record "$1" 'SELECT count(*) FROM question' || fail "question $1 is not put: $(cat engine.txt)"
}
# of STEP SQL
of() {
    ask_logbook "SELECT $2 FROM step JOIN outcome ON step = step.id WHERE step.id = $1"
}
# asked QUESTION MINUTES: when it was asked and so many minutes, to the minute, in UTC.
asked() {
    ask_logbook "SELECT strftime('%Y-%m-%dT%H:%M:00Z', asked_at / 1000000 + 60 * $2, 'unixepoch') FROM question WHERE id = $1"
}
at() {
    echo "strftime('%Y-%m-%dT%H:%M:%SZ', $1 / 1000000, 'unixepoch')"
}

until_asked 1
"$PERDURE" answer 1 T-01 >/dev/null
until_asked 2
sleep 5 # two hours and a half
expect 1 'still to come' "$PERDURE" answer 2 "2150 mAh, ended $(asked 2 100000)"
expect 1 'asked for after that' "$PERDURE" answer 2 "2150 mAh, ended $(asked 2 -10)"
end=$(asked 2 90)
"$PERDURE" answer 2 "2150 mAh, 1 h, ended $end" >/dev/null
until_asked 3
[ "$(of 1 "$(at ended_at)")" = "$end" ] || fail "the charge ended $(of 1 "$(at ended_at)") and not $end"
[ "$(of 1 '(ended_at - started_at) / 1000000')" = 3600 ] || fail "it did not take an hour: $(of 1 'ended_at - started_at')"
sleep 2
"$PERDURE" answer 3 "1875 mAh" >/dev/null
eventually on_record done "SELECT state FROM run WHERE id = 1" || fail "not done: $(ask_logbook 'SELECT * FROM runs')"

# Corrected: an hour and 10 minutes after it was asked for; it took an hour still, and that is on record as typed.
sooner=$(asked 2 70)
"$PERDURE" answer 2 "2150 mAh, 1 h, ended $sooner" --who Ada >out.txt
grep -q 'ended' out.txt || fail "not said what changed: $(cat out.txt)"
[ "$(of 1 "$(at ended_at)")" = "$sooner" ] || fail "the charge ended $(of 1 "$(at ended_at)") and not $sooner"
[ "$(of 1 '(ended_at - started_at) / 1000000')" = 3600 ] || fail "it did not take an hour: $(of 1 'ended_at - started_at')"
[ "$(ask_logbook "SELECT count(*) FROM event WHERE text LIKE 'charge, entry 1: ended % and not %: question 2 was corrected by Ada'")" = 1 ] ||
    fail "not on record: $(ask_logbook 'SELECT text FROM event')"
expect 1 'it had ended when it was first answered' "$PERDURE" answer 2 "2150 mAh, ended $(asked 3 30)"
[ "$(of 1 "$(at ended_at)")" = "$sooner" ] || fail "a refused correction moved it"
end_engine TERM
expect 0 '0 findings' "$PERDURE" audit
sound
finish
