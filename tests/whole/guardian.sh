#!/bin/sh
# Outputs of (emulated) instruments are off within two seconds when the engine is killed or hangs, and
# a guardian that is killed is replaced; then the run goes on.
. "$(dirname "$0")/../support/whole.sh"
. "$top/tests/support/emulator.sh"

serve bench supply=pty:"$work/supply" load=tcp:0 meter=pty:"$work/meter" --log truth.log

cat >long.lua <<'L'
return protocol {
  title = "Long",
  run = function(cell) cell:charge { current = "0.5 It", stop = { time = "30 min" } } end,
}
L
PERDURE_LOGBOOK=$work/guardian.perdure
export PERDURE_LOGBOOK
"$PERDURE" new --clock real >/dev/null
"$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --labels T-01 >/dev/null
"$PERDURE" start long.lua --cells T-01 >/dev/null

# What the supply truly does, by the emulator's own record.
supply_is() {
    [ "$(grep -E '^[0-9.]+ supply-1 output (on|off)' truth.log | tail -1 | sed 's/.*output //; s/ .*//')" = "$1" ]
}
begin_engine() {
    "$PERDURE" engine --bench bench.lua >>engine.txt 2>&1 &
    engine=$!
    eventually supply_is on || fail "$1: nothing was energised: $(cat engine.txt) $(tail -5 truth.log)"
}
is_replaced() {
    new=$(guardian)
    [ -n "$new" ] && [ "$new" != "$old" ]
}

# 1. The engine is killed.
begin_engine "at first"
first=$(guardian)
[ -n "$first" ] || fail "there is no guardian"
kill -KILL "$engine"
within 2 supply_is off || fail "on, two seconds after the engine was killed: $(tail -5 truth.log)"
within 2 is_gone "$first" || fail "the guardian stays without its engine"

# 2. The next engine takes the run up, and is stopped in the middle.
begin_engine "after a kill"
kill -STOP "$engine"
within 2 supply_is off || fail "on, two seconds after the engine was stopped: $(tail -5 truth.log)"
kill -CONT "$engine"
eventually supply_is on || fail "the run did not go on: $(cat engine.txt)"
grep -q guardian engine.txt || fail "not told that the guardian made it safe: $(cat engine.txt)"

# 3. The guardian is killed: another comes, outputs stay as they are, and it does its duty.
old=$(guardian)
kill -KILL "$old"
within 2 is_replaced || fail "no other guardian"
supply_is on || fail "a guardian that was replaced cost the run its output: $(cat engine.txt) $(tail -5 truth.log)"
kill -KILL "$engine"
within 2 supply_is off || fail "on, two seconds after the kill, with the second guardian"
within 2 is_gone "$new" || fail "the second guardian stays without its engine"

# 4. An orderly end leaves nothing behind.
begin_engine "after the second kill"
old=$(guardian)
kill -TERM "$engine"
wait "$engine" || fail "status $? after SIGTERM: $(tail -3 engine.txt)"
supply_is off || fail "on after SIGTERM"
is_gone "$old" || fail "the guardian stays after SIGTERM"
sound
finish
