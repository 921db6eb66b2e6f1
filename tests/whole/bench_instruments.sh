#!/bin/sh
# perdure bench on emulated instruments: who they are, one reading, every byte, nothing energised; and
# what it says of those that are not there or not who they should be.
. "$(dirname "$0")/../support/whole.sh"
. "$top/tests/support/emulator.sh"

serve there supply=pty:"$work/supply" load=tcp:0 meter=pty:"$work/meter" thermometer=tcp:0 relay=tcp:0 --log truth.log

expect 0 "ready" "$PERDURE" bench there.lua
grep -q "E1 *emulated" out.txt || fail "no channel E1: $(cat out.txt)"
[ "$(grep -c ' ready ' out.txt)" = 5 ] || fail "five instruments ready: $(cat out.txt)"
"$PERDURE" --json bench there.lua >bench.json
voltage=$(sed -n 's/.*"voltage_V": \([0-9.]*\).*/\1/p' bench.json)
[ -n "$voltage" ] || fail "no voltage in $(cat bench.json)"
grep -qF "meter-1 reading volts said ${voltage%%0}" truth.log || fail "the meter did not say $voltage"

expect 0 "" "$PERDURE" bench there.lua --trace
grep -qF '> *IDN?\n' err.txt || fail "no question in the trace: $(cat err.txt)"
grep -qF '< Saltmere Instruments,SP-1,0001,1.0\n' err.txt || fail "no answer in the trace"
if grep -E "output on|closed" truth.log; then
    fail "something was energised or joined"
fi

# More instruments than files may be open: said before any is reached. A low limit of its own it raises.
(ulimit -n 34 && expect 4 "more open files" "$PERDURE" bench there.lua) || fail "it is not said that files run out"
grep -q "LimitNOFILE=" out.txt err.txt || fail "not said what to do: $(cat out.txt err.txt)"
(ulimit -Sn 34 && expect 0 "ready" "$PERDURE" bench there.lua) || fail "the limit is not raised"

# Not who it should be, and not there.
sed 's/model = "SP-1", serial = "0001"/model = "SP-1", serial = "0002"/' there.lua >other.lua
expect 4 "1 of 5 instruments cannot be used" "$PERDURE" bench other.lua
grep -q "another instrument answers" out.txt || fail "not said who answers: $(cat out.txt)"
sed "s,$work/meter,$work/nowhere," there.lua >gone.lua
expect 4 "1 of 5 instruments cannot be used" "$PERDURE" bench gone.lua
grep -q "No such file" out.txt || fail "not said that it is not there: $(cat out.txt)"

# A run is not begun on a bench that is not all there.
PERDURE_LOGBOOK=$work/real.perdure
export PERDURE_LOGBOOK
"$PERDURE" new --clock real >/dev/null
"$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --labels T-01 >/dev/null
expect 4 "another instrument answers" "$PERDURE" run capacity --cells T-01 --bench other.lua
# And not on instruments when the logbook's days are simulated.
new_logbook simulated
expect 4 "instruments keep real time" "$PERDURE" run capacity --cells T-01 --bench there.lua

# A rehearsal on the same file looks at no instrument.
end_served
expect 0 "rehearsed" "$PERDURE" rehearse capacity --bench there.lua
# A relay that is wired but not named stays open: nothing flows, which is said, and no temperature where none is read.
serve parted --speed 500 supply="pty:$work/p-supply" load="pty:$work/p-load" meter="pty:$work/p-meter" relay="pty:$work/p-relay"
sed '/relay = route/d' parted.lua >joined.lua
PERDURE_LOGBOOK=$work/parted.perdure
"$PERDURE" new --clock x500 >/dev/null
"$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --labels T-01 >/dev/null
expect 1 "V, 0.0000 A); nothing flows: see whether leads, relay and fuse join the cell" \
    "$PERDURE" run capacity --cells T-01 --bench joined.lua
finish
