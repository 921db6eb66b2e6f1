#!/bin/sh
# Makes the golden logbook of the version at hand: tests/golden/make.sh NAME. Every word of the scripts, a
# run that is done and one that is cut in the middle. To be made once a version, and never made anew.
set -eu
top=$(cd "$(dirname "$0")/../.." && pwd)
: "${PERDURE:=$top/build/perdure}"
out=$top/tests/golden/$1.sql
[ -e "$out" ] && { echo "$out exists, and a golden logbook is never made anew"; exit 1; }
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cd "$work"
PERDURE_LOGBOOK=$work/golden.perdure
export PERDURE_LOGBOOK
cat >shared.lua <<'L'
return { twice = function(x) return 2 * x end }
L
cat >words.lua <<'L'
local shared = require "shared"
return protocol {
  title = "Every word",
  params = { rate = { unit = "A", default = "0.5 It", about = "current" } },
  results = { capacity = "Ah", resistance = "ohm", drawn = "" },
  run = function(cell, p, state)
    if not state then
      cell:charge { current = p.rate, voltage = "1.6 V", stop = { time = "10 min", charge = "1 Ah", temperature = "45 degC" } }
      note("first lap, begun at " .. now())
      restart_with { lap = 2, drawn = random(1, 1000) }
    end
    record("drawn", shared.twice(state.drawn), "")
    cell:rest { time = "5 min" }
    local pulse = cell:pulse { current = { "0.2 It", "2 It" }, time = { "10 s", "3 s" } }
    record("resistance", pulse.resistance, "ohm", { uncertainty = 0.001 })
    local out = cell:discharge { power = "1 W", stop = { voltage = "1.0 V", energy = "0.05 Wh" } }
    record("capacity", out.charge, "Ah")
    cell:discharge { resistance = "5 ohm", stop = { when = function(r) return r.elapsed > 60 end, time = "5 min" } }
    for _, key in ipairs { "voltage", "temperature" } do
      note(key .. " " .. tostring(cell:read {}[key] > 0))
    end
    wait("PT1H")
    wait_until("2026-03-09")
    cell:charge { current = "1 It", stop = { time = "50 min", drop = "5 mV", blind = "5 min", flat = "0.01 mV/h", temperature_rate = "2 K/min" } }
  end,
}
L
cat >both.lua <<'L'
return study {
  title = "Both",
  run = function(s)
    local arms = s:split { shelf = 1 }
    s:perform("short", s.cells)
    s:store(arms.shelf, { temperature = "20 degC" })
    s:wait("P3D", { late = "P1D" })
    s:perform("short", arms.shelf:draw(1))
    s:withdraw(arms.shelf, "lost")
  end,
}
L
cat >short.lua <<'L'
return protocol {
  title = "Short",
  results = { out = "Ah" },
  run = function(cell)
    cell:charge { current = "0.5 It", stop = { time = "6 min" } }
    record("out", cell:discharge { current = "0.5 It", stop = { time = "5 min" } }.charge, "Ah")
  end,
}
L
echo 'return bench { title = "Two", channels = { S1 = simulated {}, S2 = simulated {} } }' >bench.lua
"$PERDURE" new --clock virtual --from 2026-03-02 --seed 7
"$PERDURE" enrol --model "Golden 2000" --chemistry NiMH --rated "2000 mAh" --size AA --labels G-01,G-02
"$PERDURE" start words.lua --cells G-01,G-02 --set rate="800 mA"
"$PERDURE" engine --bench bench.lua --until-idle
"$PERDURE" start both.lua --cells G-01,G-02
"$PERDURE" engine --bench bench.lua --until-idle
# One done, and one as if the machine had stopped in the middle of its second lap.
sqlite3 "$PERDURE_LOGBOOK" "
    DELETE FROM result WHERE run = 2 AND n > 4;
    UPDATE journal SET outcome = NULL, outcome_at = NULL WHERE run = 2 AND segment = 1 AND n = 5;
    DELETE FROM journal WHERE run = 2 AND segment = 1 AND n > 5;
    DELETE FROM sample WHERE step IN (SELECT id FROM step WHERE run = 2 AND segment = 1 AND n > 4);
    DELETE FROM outcome WHERE step IN (SELECT id FROM step WHERE run = 2 AND segment = 1 AND n > 4);
    DELETE FROM event WHERE run = 2 AND (step IN (SELECT id FROM step WHERE run = 2 AND segment = 1 AND n > 4) OR text LIKE 'done%' OR text LIKE '%true');
    DELETE FROM step WHERE run = 2 AND segment = 1 AND n > 5;
    UPDATE run SET state = 'running', ended_at = NULL, why = NULL WHERE id = 2;"
sqlite3 "$PERDURE_LOGBOOK" .dump >dump.sql
{
    sed -n '1,/^BEGIN/p' dump.sql
    sqlite3 "$PERDURE_LOGBOOK" "SELECT 'PRAGMA application_id = ' || application_id || ';' FROM pragma_application_id"
    sed '1,/^BEGIN/d' dump.sql
    sqlite3 "$PERDURE_LOGBOOK" "SELECT 'PRAGMA user_version = ' || user_version || ';' FROM pragma_user_version"
} >"$out"
echo "made $out"
