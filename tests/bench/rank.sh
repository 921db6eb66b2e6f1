#!/bin/sh
# Ranking at size: 20 models of 50 cells, four criteria, 4,000 draws, on two logbooks of invented results that
# are put on record by SQL. Short: of each cell a fresh capacity, a resistance, what was left after 42 days,
# and both after 300 cycles. Long: 260 cycles of each cell, every one on record, checked every 13.
# Prints the time of the whole command beside that of reading the same rows with the sqlite3 tool; of the long
# logbook that is its steps with what they came to, in one plain scan, with as much cache as the program takes.
set -eu
perdure=${1:-build/perdure}
perdure=$(cd "$(dirname "$perdure")" && pwd)/$(basename "$perdure")
folder=$(mktemp -d "${2:-/tmp}/rank.XXXXXX")
trap 'rm -rf "$folder"' EXIT

# cells NAME: a new logbook with a finished run of each cell.
cells() {
    export PERDURE_LOGBOOK="$folder/$1.perdure"
    "$perdure" new --clock virtual --from 2026-03-02 --seed 7 >/dev/null
    i=0
    while [ $i -lt 20 ]; do
        i=$((i + 1))
        "$perdure" enrol --model "Invented $i" --chemistry NiMH --rated "2000 mAh" --size AA --price 2.5 \
            --labels "$(seq -f "M$i-%02g" -s , 50)" >/dev/null
    done
    sqlite3 "$PERDURE_LOGBOOK" <<'SQL'
PRAGMA foreign_keys = OFF;
INSERT INTO script VALUES ('0', 'invented', '');
INSERT INTO run (id, kind, script_name, script_hash, params, cell, channel, seed, state, queued_at, started_at, ended_at)
  SELECT id, 'protocol', 'invented', '0', '{}', id, 'A' || (id % 8 + 1), '1', 'done', 0, 0, 1 FROM cell;
SQL
}

# Day d and hour h as microseconds; each cell has a run with a charge, a check and so on.
cells short
sqlite3 "$PERDURE_LOGBOOK" <<'SQL'
PRAGMA foreign_keys = OFF;
BEGIN;
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

# A charge, a rest, a discharge: rounds of them side by side on all cells, so that neither the steps nor what
# they came to lie cell by cell. Round 51 stands for a check after storage.
cells long
sqlite3 "$PERDURE_LOGBOOK" <<'SQL'
PRAGMA foreign_keys = OFF;
BEGIN;
CREATE TEMP TABLE part (k, kind, begins, hours, charge);
INSERT INTO part VALUES (0, 'charge', 0, 4, 2.2), (1, 'rest', 4, 1, 0), (2, 'discharge', 5, 3, 1.9);
CREATE TEMP TABLE done AS
  WITH RECURSIVE round (r) AS (SELECT 0 UNION ALL SELECT r + 1 FROM round WHERE r < 259)
  SELECT (r * 3 + k) * 1000 + cell.id AS step, cell.id AS cell, model, r, kind, charge,
    1 + 0.002 * model + 0.02 * ((cell.id * 7919 + r * 104729) % 1000 / 1000.0) AS scatter,
    CAST((r * 24 + begins) * 3600e6 AS INTEGER) AS from_at, CAST((r * 24 + begins + hours) * 3600e6 AS INTEGER) AS to_at
  FROM round CROSS JOIN part CROSS JOIN cell;
INSERT INTO step (id, run, segment, n, cell, channel, kind, how, plan, started_at)
  SELECT step, cell, 0, step, cell, 'A1', kind, 'simulated',
    '{"drive":{"current":1.0},"ends":{"voltage":1.0,"time":18000},"record":{"interval":60,"voltage":0.005,"current":0.02}}',
    from_at FROM done;
INSERT INTO outcome (step, at, ended_at, samples, charge, energy, duration, first_voltage, last_voltage, mean_voltage, gaps,
                     gap_time, ended_by, quality)
  SELECT step, to_at, to_at, 60, charge * scatter * 3600, charge * scatter * 4320, 10800, 1.35, 1.0, 1.2, 0, 0, 'voltage', 'good' FROM done;
CREATE TEMP TABLE value (i, name, value, unit);
INSERT INTO value VALUES (0, 'capacity', 1.9, 'Ah'), (1, 'resistance', 0.03, 'ohm');
INSERT INTO result (run, segment, n, cell, step, name, value, unit, how, at)
  SELECT cell, 0, step * 2 + i, cell, step, iif(r = 51 AND i = 0, 'remaining', name), value * scatter * (1 - 0.0005 * r), unit,
    'simulated', to_at FROM done, value WHERE kind = 'discharge' AND r % 13 = 12;
COMMIT;
SQL

# seconds COMMAND...: how long it takes.
seconds() {
    begin=$(date +%s.%N)
    "$@" >"$folder/out.txt"
    end=$(date +%s.%N)
    echo "$begin $end" | awk '{ printf "%.2f", $2 - $1 }'
}
# ranked NAME: the time of ranking that logbook; all models must be there.
ranked() {
    export PERDURE_LOGBOOK="$folder/$1.perdure"
    seconds "$perdure" rank --by capacity,worn,remaining,resistance
    [ "$(grep -c ' Invented ' "$folder/out.txt")" -ge 20 ] || { echo "not all models were ranked" >&2; exit 1; }
}

time=$(ranked short)
bare=$(seconds sqlite3 "$folder/short.perdure" 'SELECT * FROM results')
echo "rank: 1,000 cells, 20 models, 5,000 results: $time s; the same rows by sqlite3: $bare s"
time=$(ranked long)
steps=$(sqlite3 "$folder/long.perdure" 'SELECT count(*) FROM step')
results=$(sqlite3 "$folder/long.perdure" 'SELECT count(*) FROM result')
bare=$(seconds sqlite3 -cmd 'PRAGMA cache_size = -16000' "$folder/long.perdure" \
    'SELECT count(*), sum(charge) FROM step CROSS JOIN outcome ON outcome.step = step.id')
echo "rank: 1,000 cells, $steps steps, $results results: $time s; a bare scan of its steps by sqlite3: $bare s," \
    "ratio $(echo "$time $bare" | awk '{ printf "%.1f", $1 / $2 }')"
