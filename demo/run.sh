#!/bin/sh
# The main job on a simulated bench: an invented test of four models, sixteen cells, in virtual time.
# Sets up what is missing, builds, runs, says where to look. Can be run again at once.
set -eu
cd "$(dirname "$0")/.."
. tests/support/setup.sh
set_up $build_needs

cmake -S . -B build >build.log 2>&1 || { cat build.log; exit 1; }
cmake --build build --target perdure -j2 >>build.log 2>&1 || { tail -40 build.log; exit 1; }
rm -f build.log

perdure="$PWD/build/perdure"
place="$PWD/build/demo"
rm -rf "$place"
mkdir -p "$place"
PERDURE_LOGBOOK="$place/demo.perdure"
export PERDURE_LOGBOOK

echo
echo "The invented harbour office of Saltmere buys cells by the dozen, and asks which model keeps its"
echo "promise. Sixteen cells, eight simulated channels, a virtual clock."
echo
"$perdure" new --clock virtual --from 2026-03-02 --seed 20260302 >"$place/new.log"
"$perdure" enrol demo/cells.csv
all=$(sed 1d demo/cells.csv | cut -d, -f1 | paste -sd,)
fresh=$(printf %s "$all" | tr , '\n' | grep -- '-0[12]$' | paste -sd,)

"$perdure" start break-in --cells "$fresh" >"$place/start.log"
"$perdure" engine --bench demo/bench.lua --until-idle
"$perdure" start capacity --cells "$all" >>"$place/start.log"
"$perdure" engine --bench demo/bench.lua --until-idle

echo
echo "Break-in: cycles until the capacity settled"
echo
"$perdure" results --name cycles
echo
echo "Capacity at 0.2 It to 1.0 V, after 16 h at 0.1 It and a rest of 1 h"
echo
"$perdure" results --name capacity
echo
"$perdure" audit

echo
echo "Where to look and what to try next (the logbook is $PERDURE_LOGBOOK):"
echo "  export PERDURE_LOGBOOK=$PERDURE_LOGBOOK"
echo "  $perdure runs 9              one run, step by step"
echo "  $perdure cells HER-01        one cell's whole history"
echo "  $perdure rehearse capacity --set rate=\"500 mA\"    what another rate would take"
echo "  sqlite3 $PERDURE_LOGBOOK \"SELECT * FROM reading LIMIT 5\"    the curves, in any SQLite tool"
echo "  protocols/capacity.lua       the script that did it: copy it and change it"
