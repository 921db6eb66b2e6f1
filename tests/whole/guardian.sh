#!/bin/sh
# The engine is killed, or hangs, in the middle of a discharge over emulated instruments: the emulator sees
# every output off within two seconds. What hung goes on with its gap on record; a guardian that dies is
# replaced.
. "$(dirname "$0")/../support/whole.sh"

emulator=$(dirname "$PERDURE")/tests/emulator/emulator
PERDURE_LOGBOOK=$work/guardian.perdure
export PERDURE_LOGBOOK
served=
engine=
stop_all() {
    [ -z "$engine" ] || kill -KILL "$engine" 2>/dev/null || true
    [ -z "$served" ] || kill "$served" 2>/dev/null || true
    rm -rf "$work"
}
trap stop_all EXIT
"$emulator" --speed 10 --rated "2000 mAh" --soc "80 %" --seed 7 --for 300 --control control --log truth.log \
    --bench-file bench.lua "supply=pty:$work/supply" "load=pty:$work/load" "meter=pty:$work/meter" >served.txt 2>&1 &
served=$!
for _ in $(seq 100); do
    grep -q '^ready' served.txt && break
    sleep 0.1
done

"$PERDURE" new --clock x10 --seed 7 >/dev/null
"$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --labels T-01 >/dev/null
cat >long.lua <<'L'
return protocol {
  title = "Long",
  results = { out = "Ah" },
  run = function(cell)
    record("out", cell:discharge { current = "0.5 It", stop = { time = "4 min" } }.charge, "Ah")
  end,
}
L
# Now on the machine's own steady clock, ms.
now_ms() {
    awk '{ printf "%d", $1 * 1000 }' /proc/uptime
}
is_off() {
    ! "$emulator" --tell control cell-1 show | grep -qE 'amps -?[0-9]*\.?0*[1-9]'
}
wait_until() {
    for _ in $(seq 100); do
        "$@" && return 0
        sleep 0.1
    done
    return 1
}
is_on() {
    ! is_off
}
begin() {
    "$PERDURE" engine --bench bench.lua >engine.txt 2>&1 &
    engine=$!
    wait_until is_on || fail "nothing is driven: $(cat engine.txt) $("$PERDURE" runs 1)"
}
# off_within: ms until the cell's current is gone, from the call.
off_within() {
    began=$(now_ms)
    wait_until is_off || fail "$1: the output stayed on"
    took=$(($(now_ms) - began))
    echo "$1: off after $took ms"
    [ "$took" -le 2000 ] || fail "$1: off after $took ms"
}

"$PERDURE" start long.lua --cells T-01 >/dev/null
begin
sleep 1
kill -KILL "$engine"
off_within "engine killed"
wait "$engine" 2>/dev/null || true
sleep 2 # the guardian of the one that was killed lets go of the lines

begin
sleep 1
kill -STOP "$engine"
off_within "engine hung"
kill -CONT "$engine"
wait_until is_on || fail "the run did not go on: $(cat engine.txt)"
child=$(pgrep -P "$engine" | head -1)
kill -KILL "$child"
sleep 1
replaced=$(pgrep -P "$engine" | head -1)
[ -n "$replaced" ] && [ "$replaced" != "$child" ] || fail "the guardian was not replaced: $child, $replaced"
for _ in $(seq 400); do
    [ "$(ask_logbook 'SELECT state FROM run')" = done ] && break
    sleep 0.1
done
kill -TERM "$engine"
wait "$engine" || true
engine=
[ "$(ask_logbook 'SELECT state FROM run')" = done ] || fail "$("$PERDURE" runs 1)"
[ "$(ask_logbook 'SELECT count(*) FROM gap')" -ge 2 ] || fail "gaps: $("$PERDURE" runs 1)"
[ "$(ask_logbook "SELECT flags FROM result")" = gap ] || fail "the result is not flagged"
[ "$(ask_logbook "SELECT count(*) FROM event WHERE text LIKE '%guardian made every output safe%'")" = 1 ] ||
    fail "the guardian's deed is not on record: $("$PERDURE" runs 1)"
sound
expect 0 '0 findings' "$PERDURE" audit
finish
