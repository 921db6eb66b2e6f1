#!/bin/sh
# Speed, each figure beside a bare limit in the same run. Prints, never passes or fails: a shared machine is
# too noisy for that. Give a folder on the disk to be measured; default /tmp.
set -eu
cd "$(dirname "$0")/../.."
. tests/support/setup.sh
set_up $build_needs
folder=${1:-/tmp}
cmake -S . -B build >/dev/null
cmake --build build -j2 >/dev/null
echo "== control tick: simulated cell, reading, step"
build/tests/speed_tick
echo "== whole life in virtual time: engine, Lua, rows on record"
build/tests/speed_life
echo "== samples into the logbook"
build/tests/speed_ingest "$folder"
echo "== charges recomputed from samples, beside the bare scan (an argument of 100000000 for that many)"
build/tests/speed_recompute "$folder"
for extra in build/tests/speed_links build/tests/speed_replay; do
    [ -x "$extra" ] || continue
    echo "== $(basename "$extra" | sed s/speed_//)"
    "$extra"
done
echo "== the ranking of 1,000 cells"
sh tests/bench/rank.sh build/perdure "$folder"
echo "== channels of real instruments, the whole path"
build/tests/speed_channels 5 "$folder"
echo "== start-up: the whole command, beside the bare start of a process that opens the same file"
build/tests/speed_start build/perdure "$folder"
echo "== agenda: 1,000 cells in 20 studies of two years, right after the start and some way into them"
build/tests/speed_agenda build/perdure "$folder"
echo "== the page: lateness of readings with nobody looking and with 20 browsers"
build/tests/speed_page build/perdure "$folder"
