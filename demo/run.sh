#!/bin/sh
# The main job on a simulated bench: an invented year of four models, thirty-six cells, in
# virtual time.
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
echo "The invented harbour office of Saltmere buys cells by the dozen, and asks which model keeps its promise:"
echo "fresh, after a year on the shelf, and after a year in the lamps. Four models, nine cells of each, a bench"
echo "of simulated channels, and a virtual clock that does the year while you wait."
echo
"$perdure" new --clock virtual --from 2026-03-02 --seed 20260302 >"$place/new.log"
"$perdure" enrol demo/cells.csv
cells() { sed 1d demo/cells.csv | cut -d, -f1 | grep -- "$1" | paste -sd,; }
"$perdure" start demo/shelf.lua --cells "$(cells '-0[1-6]$')" >"$place/start.log"
"$perdure" start demo/service.lua --cells "$(cells '-0[7-9]$')" >>"$place/start.log"
echo
echo "What will be due, before anything was done:"
echo
"$perdure" agenda --channels 24 --weeks 60
echo
"$perdure" engine --bench demo/bench.lua --until-idle >"$place/engine.log"
echo
echo "What the year did to one cell of the shelf and one of the lamps:"
echo
"$perdure" results --cell HER-01
echo
"$perdure" results --cell HER-07 --name capacity
echo
"$perdure" rank
echo
"$perdure" audit
"$perdure" report -o "$place/report.html" >/dev/null

echo
echo "Open this file in a browser:"
echo "  $place/report.html"
echo
echo "What to try next (the logbook is $PERDURE_LOGBOOK):"
echo "  export PERDURE_LOGBOOK=$PERDURE_LOGBOOK"
echo "  $perdure runs 9              one run, step by step"
echo "  $perdure results --by model  also --retention, --wear: the verdict in numbers"
echo "  $perdure cells HER-01        one cell's history"
echo "  $perdure rehearse demo/shelf.lua    its year, seen ahead"
echo "  sqlite3 $PERDURE_LOGBOOK \"SELECT * FROM reading LIMIT 5\"    the curves, in any SQLite tool"
echo "  demo/shelf.lua               the study that did it, on protocols/: copy it and change it"
