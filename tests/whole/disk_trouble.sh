#!/bin/sh
# Disks that fill up or fail at every point: outputs are safe, the message says what to do, nothing
# acknowledged is lost, and the work goes on. Every single point: GROWTH=0 sh tests/whole/disk_trouble.sh
. "$(dirname "$0")/../support/whole.sh"

fault=$(dirname "$PERDURE")/tests/fault
case ${KIND:-plain} in
sanitized) : "${GROWTH:=3}" ;;
*) : "${GROWTH:=0.5}" ;;
esac
disk=$work
shared=
small=$work/small
if shared=$(mktemp -d /dev/shm/disk-trouble-XXXXXX 2>/dev/null); then disk=$shared; fi
trap 'umount "$small" 2>/dev/null || true; rm -rf "$work" $shared' EXIT

# 1. Injected, in process.
"$fault/full_errors" "$disk" "$GROWTH" >found.txt || fail "$(cat found.txt)"
cat found.txt
"$fault/full_held" "$disk" >found.txt || fail "$(cat found.txt)"

# 2. The program itself on a small disk of its own.
mkdir "$small"
if ! mount -t tmpfs -o size=16m tmpfs "$small" 2>/dev/null; then
    echo "left out: a small disk cannot be mounted here"
    finish
fi

cat >bench.lua <<'L'
local channels = {}
for i = 1, 4 do channels["S" .. i] = simulated {} end
return bench { title = "Four", channels = channels }
L

# fresh NAME CLOCK: a logbook on the small disk with four queued runs, and 150 kB of room left.
fresh() {
    rm -rf "${small:?}"/* engine.txt
    PERDURE_LOGBOOK=$small/$1.perdure
    export PERDURE_LOGBOOK
    "$PERDURE" new --clock "$2" --seed 7 >/dev/null
    "$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --size AA \
        --labels T-01,T-02,T-03,T-04,T-05 >/dev/null
    "$PERDURE" start capacity --cells T-01,T-02,T-03,T-04 --set charge="0.5 It" \
        --set fill="2 h 24 min" --set rate="0.5 It" >/dev/null
    free=$(df -k --output=avail "$small" | tail -1)
    dd if=/dev/zero of="$small/others" bs=1k count=$((free - 150)) 2>/dev/null
}

for clock in virtual x6000; do
    fresh $clock $clock
    "$PERDURE" engine --bench bench.lua --until-idle 2>engine.txt &
    engine=$!
    eventually grep -qs "the disk is full: outputs are safe" engine.txt ||
        fail "$clock: the engine did not hold: $(cat engine.txt)"
    is_gone $engine && fail "$clock: the engine ended on a full disk: $(cat engine.txt)"
    [ $clock = virtual ] || sleep 6
    [ "$(grep -c 'disk is full' engine.txt)" = 1 ] || fail "$clock: said more than once: $(cat engine.txt)"
    rm "$small/others"
    eventually grep -q "room on the disk again" engine.txt || fail "$clock: did not go on: $(cat engine.txt)"
    within 180 is_gone $engine || { fail "$clock: did not end" && kill -9 $engine; }
    wait $engine || fail "$clock: ended with status $?: $(cat engine.txt)"
    [ "$(ask_logbook "SELECT count(*) FROM run WHERE state = 'done'")" = 4 ] ||
        fail "$clock: $(ask_logbook 'SELECT id, state, why FROM run')"
    # In virtual time the whole day may have been one transaction, and is begun anew.
    [ $clock = virtual ] || [ "$(ask_logbook "SELECT count(*) FROM gap WHERE why = 'the disk was full'")" -gt 0 ] ||
        fail "$clock: the gap is not on record"
    expect 0 '0 findings' "$PERDURE" audit
    sound
done

# Held, it still hears a signal; what was acknowledged stays, and the next engine goes on.
fresh signal virtual
"$PERDURE" engine --bench bench.lua --until-idle 2>engine.txt &
engine=$!
eventually grep -qs "the disk is full" engine.txt || fail "signal: the engine did not hold"
kill -TERM $engine
within 5 is_gone $engine || fail "signal: a held engine does not end when told to"
status=0
wait $engine || status=$?
# There may or may not be room to say that the session has ended.
[ "$status" = 0 ] || { [ "$status" = 3 ] && grep -q '^perdure: .*no room.*; free some space' engine.txt; } ||
    fail "signal: status $status: $(cat engine.txt)"
rm "$small/others"
expect 0 '' "$PERDURE" engine --bench bench.lua --until-idle
[ "$(ask_logbook "SELECT count(*) FROM run WHERE state = 'done'")" = 4 ] || fail "signal: not finished"
expect 0 '0 findings' "$PERDURE" audit
sound
finish
