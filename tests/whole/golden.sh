#!/bin/sh
# Logbooks of earlier versions: each opens, replays and proves itself. tests/golden holds one for each
# version of the schema and of the journal's words, as SQL text; make one with tests/golden/make.sh.
. "$(dirname "$0")/../support/whole.sh"

# What a fresh logbook is made of, table by table: an upgraded one is made of the same.
columns() {
    sqlite3 "$1" "SELECT m.type, m.name, p.name, p.type, p.\"notnull\", p.dflt_value, p.pk
        FROM sqlite_master AS m LEFT JOIN pragma_table_info(m.name) AS p WHERE m.name NOT LIKE 'sqlite_%'
        ORDER BY 1, 2, 3; PRAGMA user_version"
    # Column names in a view follow from its text.
    sqlite3 "$1" "SELECT sql FROM sqlite_master WHERE type <> 'table' ORDER BY name"
}
"$PERDURE" --logbook fresh.perdure new >/dev/null
columns fresh.perdure >fresh.txt

count=0
for dump in "$top"/tests/golden/*.sql; do
    name=$(basename "$dump" .sql)
    PERDURE_LOGBOOK=$work/$name.perdure
    export PERDURE_LOGBOOK
    sqlite3 "$PERDURE_LOGBOOK" <"$dump"
    # Opening to write upgrades an older schema, after a backup.
    expect 0 'enrolled' "$PERDURE" enrol --model "Later" --chemistry NiMH --rated "1000 mAh" --labels L-01
    columns "$PERDURE_LOGBOOK" >columns.txt
    diff fresh.txt columns.txt || fail "$name: upgraded, it is not made as a fresh one is"
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
