#!/bin/sh
# The same seed and the same commands give the same logbook, to the last byte of a dump.
. "$(dirname "$0")/../support/whole.sh"

cat >bench.lua <<'L'
return bench { title = "Three", channels = { S1 = simulated {}, S2 = simulated {}, S3 = simulated {} } }
L
for time in first second; do
    new_logbook $time
    "$PERDURE" start capacity --cells T-01,T-02,T-03,T-04 >/dev/null
    "$PERDURE" engine --bench bench.lua --until-idle
    "$PERDURE" start break-in --cells T-01,T-02 --set most=2 --set charge="0.5 It" --set fill="2 h 24 min" >/dev/null
    "$PERDURE" engine --bench bench.lua --until-idle
    sound
    sqlite3 "$PERDURE_LOGBOOK" .dump >$time.sql
done
cmp first.sql second.sql || fail "$(diff first.sql second.sql | head -5)"
[ "$(grep -c 'INSERT INTO sample' first.sql)" -gt 1000 ] || fail "the dumps hold no samples"
[ "$(ask_logbook "SELECT count(*) FROM result WHERE name = 'capacity'")" = 6 ] || fail "six capacities"

# Another seed gives other cells.
PERDURE_LOGBOOK=$work/third.perdure
"$PERDURE" new --clock virtual --from 2026-03-02 --seed 8 >/dev/null
"$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --size AA --labels T-01 >/dev/null
"$PERDURE" run capacity --cells T-01 --bench bench.lua >/dev/null
there=$(ask_logbook "SELECT value FROM result WHERE name = 'capacity'")
here=$(sqlite3 "$work/first.perdure" "SELECT value FROM result WHERE name = 'capacity' AND run = 1")
[ "$there" != "$here" ] || fail "two seeds gave the same capacity $here"
finish
