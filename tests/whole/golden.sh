#!/bin/sh
# Logbooks of earlier versions: each opens, replays and proves itself. tests/golden holds one for each
# version of the schema and of the journal's words, as SQL text; make one with tests/golden/make.sh.
. "$(dirname "$0")/../support/whole.sh"

count=0
for dump in "$top"/tests/golden/*.sql; do
    name=$(basename "$dump" .sql)
    PERDURE_LOGBOOK=$work/$name.perdure
    export PERDURE_LOGBOOK
    sqlite3 "$PERDURE_LOGBOOK" <"$dump"
    # Opening to write upgrades an older schema, after a backup.
    expect 0 'enrolled' "$PERDURE" enrol --model "Later" --chemistry NiMH --rated "1000 mAh" --labels L-01
    expect 0 '0 findings' "$PERDURE" audit
    expect 0 'done' "$PERDURE" runs
    sound
    # And an open run of that version goes on to its end.
    echo 'return bench { title = "Two", channels = { S1 = simulated {}, S2 = simulated {} } }' >bench.lua
    expect 0 '' "$PERDURE" engine --bench bench.lua --until-idle
    [ "$(ask_logbook "SELECT count(*) FROM run WHERE state <> 'done'")" = 0 ] || fail "$name: runs left: $("$PERDURE" runs)"
    expect 0 '0 findings' "$PERDURE" audit
    count=$((count + 1))
done
[ "$count" -ge 1 ] || fail "there is no golden logbook"
finish
