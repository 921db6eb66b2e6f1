#!/bin/sh
# The live page in a real browser, before an engine with emulated instruments: a channel whose meter is missing says
# so, and so does one whose meter goes away in the middle of a step, until it is back; what a rest does not have is
# not shown.
. "$(dirname "$0")/../support/whole.sh"
. "$top/tests/support/setup.sh"
. "$top/tests/support/emulator.sh"
browser_is_there || { echo "skipped: no node, chromium or the modules of tests/browser (tests/run.sh installs them)"; exit 0; }

PERDURE_LOGBOOK=$work/missing.perdure
export PERDURE PERDURE_LOGBOOK
serve bench --sets 2 --speed 10 --truth "capacity=2 Ah" --truth "open_circuit=1.25 V" --truth "r0=50 mohm" --soc "50 %" \
    "supply=pty:$work/supply-%" "load=pty:$work/load-%" "meter=pty:$work/meter-%"
"$PERDURE" new --clock x10 --seed 7 >/dev/null
"$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --labels T-01 >/dev/null
cat >long.lua <<'L'
return protocol { title = "Long", run = function(cell)
  cell:rest { time = "150 s", every = "2 s" }
  cell:discharge { current = "1 A", stop = { time = "15 min" }, every = "2 s" }
end }
L
tell meter-2 hangup
"$PERDURE" engine --bench bench.lua --commit-every 0.2s --page 127.0.0.1:0 >engine.txt 2>engine.err &
engine=$!
eventually grep -q '^page: ' engine.txt
address=$(sed -n 's/^page: //p' engine.txt)
[ -n "$address" ] || fail "no page: $(cat engine.txt engine.err)"
node "$top/tests/browser/missing.mjs" "$address" "$emulator" bench.control || fail "the live page ($(cat engine.err))"

# What the page showed is in the engine's log too, to its end.
grep -q 'channel E2 is not used until meter-2 answers: ' engine.err || fail "the log does not say that E2 is not used"
grep -q 'channel E2 is used again' engine.err || fail "the log does not say that E2 is used again: $(cat engine.err)"
grep -q 'meter-1 answers again: run 1 goes on, .* were not observed' engine.err ||
    fail "the log does not say that run 1 went on: $(cat engine.err)"
kill -TERM "$engine"
wait "$engine" || fail "the engine: $(cat engine.err)"
engine=
sound
finish
