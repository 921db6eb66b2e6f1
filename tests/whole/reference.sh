#!/bin/sh
# Reference cells through all channels: marked, in no ranking and no plot of models, on every channel as often
# and on average as late as on every other; what a channel does shows in what it records.
. "$(dirname "$0")/../support/whole.sh"

new_logbook reference
cat >more.csv <<'C'
label,model,chemistry,rated,size,reference
REF-01,Heron 2000,NiMH,2000 mAh,AA,yes
REF-02,Heron 2000,NiMH,,,yes
HER-01,Heron 2000,NiMH,,,
HER-02,Heron 2000,NiMH,,,no
C
expect 0 'Heron 2000' "$PERDURE" enrol more.csv
expect 0 'Tern 2000' "$PERDURE" enrol --model "Tern 2000" --chemistry NiMH --rated "2000 mAh" --labels REF-03 --reference
[ "$(ask_logbook "SELECT group_concat(label) FROM cell WHERE reference ORDER BY id")" = REF-01,REF-02,REF-03 ] ||
    fail "references: $(ask_logbook "SELECT label, reference FROM cell")"
[ "$("$PERDURE" --json cells | grep -c '"reference": true')" = 3 ] || fail "cells does not mark them"
[ "$("$PERDURE" --json cells | grep -c '"reference": false')" = 6 ] || fail "cells marks others"
expect 0 'REF-03  Tern 2000   NiMH' "$PERDURE" cells
grep -q '^REF-03 .* yes$' out.txt || fail "the table does not mark them: $(cat out.txt)"

# Four channels; S3 holds cells of a truth of its own only for cells first seen there: nobody's here.
cat >bench.lua <<'L'
return bench { title = "Four", channels = { S1 = simulated {}, S2 = simulated {}, S3 = simulated {}, S4 = simulated {} } }
L
expect 0 'nothing wrong' "$PERDURE" check study-channels
expect 0 'channel-check' "$PERDURE" rehearse study-channels --count 2 --bench bench.lua --set channels="S1 S2 S3 S4"
"$PERDURE" start study-channels --cells REF-01,REF-02,REF-03 --set channels="S1, S2, S3 S4" >/dev/null
expect 0 '' "$PERDURE" engine --bench bench.lua --until-idle
[ "$(ask_logbook "SELECT count(*) FROM run WHERE state <> 'done'")" = 0 ] || fail "$(ask_logbook "SELECT * FROM runs")"
for name in reference_capacity:Ah reference_voltage:V; do
    [ "$(ask_logbook "SELECT count(*) FROM result WHERE name = '${name%:*}' AND unit = '${name#*:}' AND value > 1")" = 24 ] ||
        fail "not 3 cells on 4 channels twice: $name"
done
visits="SELECT cell, channel, parent_n, rank() OVER (PARTITION BY cell ORDER BY parent_n) AS turn FROM run WHERE cell IS NOT NULL"
[ "$(ask_logbook "SELECT DISTINCT n, late FROM
    (SELECT count(*) AS n, avg(turn) AS late FROM ($visits) GROUP BY cell, channel)")" = '2|4.5' ] ||
    fail "not balanced: $(ask_logbook "SELECT cell, channel, count(*), avg(turn) FROM ($visits) GROUP BY cell, channel")"
[ "$(ask_logbook "SELECT max(n) FROM (SELECT count(*) AS n FROM run WHERE parent IS NOT NULL GROUP BY parent_n, channel)")" = 1 ] ||
    fail "two cells on one channel in one round"
[ "$(ask_logbook "SELECT count(DISTINCT parent_n) FROM run")" = 8 ] || fail "not eight rounds of all cells at once"
expect 1 'named twice' "$PERDURE" rehearse study-channels --count 1 --set channels="S1 S1"

# The contest is among the others.
"$PERDURE" start capacity --cells T-01,T-02,T-03,HER-01,HER-02 >/dev/null
expect 0 '' "$PERDURE" engine --bench bench.lua --until-idle
"$PERDURE" start capacity --cells REF-01,REF-02,REF-03 >/dev/null
expect 0 '' "$PERDURE" engine --bench bench.lua --until-idle
expect 0 'Heron 2000' "$PERDURE" rank
! grep -q Tern out.txt || fail "a model of references alone is ranked: $(cat out.txt)"
"$PERDURE" --json rank >rank.json
[ "$(ask_logbook "SELECT avg(percent_of_rating) FROM results WHERE name = 'capacity' AND cell LIKE 'HER-%'" | cut -c1-6)" = \
    "$(ask_logbook "SELECT json_extract(row.value, '\$.by_capacity.mean') FROM json_each(readfile('rank.json'), '\$.models') AS row
        WHERE json_extract(row.value, '\$.model') = 'Heron 2000'" | cut -c1-6)" ] || fail "a reference is in the mean: $(cat rank.json)"
expect 0 '' "$PERDURE" plot discharge -o discharge.svg
! grep -q 'Tern' discharge.svg || fail "a model of references is drawn"
expect 0 '' "$PERDURE" report -o report.html
grep -q '6 cells of 2 models' report.html || fail "the report counts the references: $(grep -o '[0-9]* cells of[^.]*' report.html)"
expect 0 'models' "$PERDURE" export out
find out -name cells.csv -exec grep -c 'true' {} + >count.txt
[ "$(cat count.txt)" = 3 ] || fail "the export does not mark them"
find out -name models.csv -exec grep -q Tern {} + || fail "the export has cells of a model that it does not have"
sound
expect 0 '0 findings' "$PERDURE" audit
finish
