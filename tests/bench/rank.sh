#!/bin/sh
# Ranking at size: 20 models of 50 cells, four criteria, 4,000 draws. Invented results, put on record by SQL:
# of each cell a fresh capacity, a resistance, what was left after 42 days, and both after 300 cycles.
# Prints the time of the whole command beside that of reading the same rows with the sqlite3 tool.
set -eu
perdure=${1:-build/perdure}
perdure=$(cd "$(dirname "$perdure")" && pwd)/$(basename "$perdure")
folder=$(mktemp -d "${2:-/tmp}/rank.XXXXXX")
trap 'rm -rf "$folder"' EXIT
export PERDURE_LOGBOOK="$folder/rank.perdure"
"$perdure" new --clock virtual --from 2026-03-02 --seed 7 >/dev/null
i=0
while [ $i -lt 20 ]; do
    i=$((i + 1))
    "$perdure" enrol --model "Invented $i" --chemistry NiMH --rated "2000 mAh" --size AA --price 2.5 \
        --labels "$(seq -f "M$i-%02g" -s , 50)" >/dev/null
done
# Day d and hour h as microseconds; each cell has a run with a charge, a check and so on.
sqlite3 "$PERDURE_LOGBOOK" <<'SQL'
PRAGMA foreign_keys = OFF;
BEGIN;
INSERT INTO script VALUES ('0', 'invented', '');
INSERT INTO run (id, kind, script_name, script_hash, params, cell, channel, seed, state, queued_at, started_at, ended_at)
  SELECT id, 'protocol', 'invented', '0', '{}', id, 'A' || (id % 8 + 1), '1', 'done', 0, 0, 1 FROM cell;
CREATE TEMP TABLE plan (n, kind, day, hours, charge, name, unit);
INSERT INTO plan VALUES (1, 'charge', 0, 16, 3.2, '', ''), (2, 'discharge', 1, 5, 1.9, 'capacity', 'Ah'),
  (3, 'charge', 2, 16, 3.2, '', ''), (4, 'pulse', 3, 1, 0, 'resistance', 'ohm'),
  (5, 'discharge', 44.6667, 5, 1.6, 'remaining', 'Ah'),
  (6, 'discharge', 100, 900, 600, '', ''), (7, 'charge', 150, 16, 3.2, '', ''),
  (8, 'discharge', 151, 5, 1.7, 'capacity', 'Ah'), (9, 'pulse', 152, 1, 0, 'resistance', 'ohm');
INSERT INTO step (id, run, segment, n, cell, channel, kind, how, plan, started_at)
  SELECT cell.id * 10 + n, cell.id, 0, n, cell.id, 'A1', kind, 'simulated', '{}', CAST(day * 86400e6 AS INTEGER) FROM cell, plan;
INSERT INTO outcome (step, at, ended_at, samples, charge, gaps, gap_time)
  SELECT cell.id * 10 + n, 0, CAST((day * 24 + hours) * 3600e6 AS INTEGER), 0, charge * 3600, 0, 0 FROM cell, plan;
INSERT INTO result (run, segment, n, cell, step, name, value, unit, how, at)
  SELECT cell.id, 0, n, cell.id, cell.id * 10 + n, name,
    CASE unit WHEN 'ohm' THEN 0.03 ELSE charge END * (1 + 0.002 * model + 0.02 * ((cell.id * 7919 + n * 104729) % 1000 / 1000.0)),
    unit, 'simulated', CAST((day * 24 + hours) * 3600e6 AS INTEGER) FROM cell, plan WHERE name <> '';
COMMIT;
SQL
# seconds COMMAND...: how long it takes.
seconds() {
    begin=$(date +%s.%N)
    "$@" >"$folder/out.txt"
    end=$(date +%s.%N)
    echo "$begin $end" | awk '{ printf "%.2f s", $2 - $1 }'
}
echo "rank: 1,000 cells, 20 models, 5,000 results: $(seconds "$perdure" rank --by capacity,worn,remaining,resistance)"
[ "$(grep -c ' Invented ' "$folder/out.txt")" -ge 20 ] || { echo "not all models were ranked"; exit 1; }
echo "the same rows by sqlite3: $(seconds sqlite3 "$PERDURE_LOGBOOK" 'SELECT * FROM results')"
