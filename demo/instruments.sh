#!/bin/sh
# The same protocol over instruments: a supply, a load, a meter and a thermometer that a program stands
# in for, each on a serial-like line, with a simulated cell between them. A thousand cell seconds a
# second. Sets up what is missing, builds, runs, says where to look. Can be run again at once.
set -eu
cd "$(dirname "$0")/.."
. tests/support/setup.sh
set_up $build_needs

cmake -S . -B build >build.log 2>&1 || { cat build.log; exit 1; }
cmake --build build --target perdure --target emulator -j2 >>build.log 2>&1 ||
    { tail -40 build.log; exit 1; }
rm -f build.log

perdure="$PWD/build/perdure"
emulator="$PWD/build/tests/emulator/emulator"
place="$PWD/build/instruments"
speed=1000
rm -rf "$place"
mkdir -p "$place"
PERDURE_LOGBOOK="$place/demo.perdure"
export PERDURE_LOGBOOK

"$emulator" --speed $speed --rated "2000 mAh" --seed 20260302 --for 600 \
    --control "$place/control" --log "$place/truth.log" --bench-file "$place/bench.lua" \
    supply="pty:$place/supply" load="pty:$place/load" meter="pty:$place/meter" \
    thermometer="pty:$place/thermometer" >"$place/served.log" &
served=$!
trap 'kill $served 2>/dev/null || true' EXIT
while ! grep -q '^ready' "$place/served.log"; do
    kill -0 $served || exit 1
    sleep 0.1
done

echo
echo "Instruments of the invented house of Saltmere, each behind a stable path:"
echo
"$perdure" new --clock x$speed --seed 20260302 >"$place/new.log"
"$perdure" enrol --model "Heron 2000" --chemistry NiMH --rated "2000 mAh" --size AA \
    --labels HER-01 >"$place/enrol.log"
"$perdure" bench "$place/bench.lua"

echo
echo "Fill at 0.5 It, rest an hour, empty at 0.5 It to 1.0 V: five hours and a half, in 20 s"
echo
"$perdure" run capacity --cells HER-01 --bench "$place/bench.lua" \
    --set charge="0.5 It" --set fill="2.4 h" --set rate="0.5 It"
echo
"$perdure" audit

echo
echo "What the emulator knows of the cell, now that it is empty:"
"$emulator" --tell "$place/control" cell-1 show | grep -v '^ok'

echo
echo "Where to look and what to try next:"
echo "  $place/bench.lua        the bench file: the instruments, and the channel made of them"
echo "  $place/truth.log        what truly happened at the terminals, beside what was said"
echo "  bindings/drivers/*.lua  how each kind of instrument is spoken to"
echo "  PERDURE_LOGBOOK=$PERDURE_LOGBOOK $perdure runs 1"
