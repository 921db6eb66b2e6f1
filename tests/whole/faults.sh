#!/bin/sh
# Instruments that misbehave in the middle of a discharge, one fault a channel: in every case the output is
# off or the run went on with its gap on record, the message says which instrument, and no wrong reading is
# taken for a right one. The emulator knows the truth: 1.25 V behind 50 mohm, 1 A.
. "$(dirname "$0")/../support/whole.sh"

emulator=$(dirname "$PERDURE")/tests/emulator/emulator
PERDURE_LOGBOOK=$work/faults.perdure
export PERDURE_LOGBOOK
served=
engine=
stop_all() {
    [ -z "$engine" ] || kill -KILL "$engine" 2>/dev/null || true
    [ -z "$served" ] || kill "$served" 2>/dev/null || true
    rm -rf "$work"
}
trap stop_all EXIT

cat >cases.txt <<'T'
meter late 3
load late 3
meter split 0.02
load split 0.02
meter garbage
load garbage
meter hangup
load hangup
meter hangup 1
load hangup 1
meter frozen
meter silence
load silence
meter double
load double
meter flood
meter chatter
load queue-error
load over-temperature
T
count=$(wc -l <cases.txt)
"$emulator" --sets "$count" --speed 10 --truth "capacity=2 Ah" --truth "open_circuit=1.25 V" --truth "r0=50 mohm" \
    --soc "50 %" --for 300 --control control --log truth.log --bench-file bench.lua \
    "supply=pty:$work/supply-%" "load=pty:$work/load-%" "meter=pty:$work/meter-%" >served.txt 2>&1 &
served=$!
for _ in $(seq 100); do
    grep -q '^ready' served.txt 2>/dev/null && break
    sleep 0.1
done
"$PERDURE" new --clock x10 --seed 7 >/dev/null
labels=$(seq -f 'T-%02g' 1 "$count" | paste -sd,)
"$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --labels "$labels" >/dev/null
cat >long.lua <<'L'
return protocol {
  title = "Long",
  run = function(cell)
    cell:discharge { current = "1 A", stop = { time = "3 min" }, every = "2 s" }
  end,
}
L
for i in $(seq "$count"); do
    "$PERDURE" start long.lua --cells "$(printf 'T-%02d' "$i")" --channel "E$i" >/dev/null
done
"$PERDURE" engine --bench bench.lua --until-idle >engine.txt 2>&1 &
engine=$!
for _ in $(seq 200); do
    [ "$(ask_logbook "SELECT count(*) FROM step WHERE kind = 'discharge'")" = "$count" ] && break
    sleep 0.1
done
sleep 3
i=0
while read -r kind fault value; do
    i=$((i + 1))
    # shellcheck disable=SC2086
    "$emulator" --tell control "$kind-$i" $fault $value >/dev/null || fail "the emulator knows no $fault"
done <cases.txt
# A hang-up comes back as another device behind the same path.
sleep 2
"$emulator" --tell control meter-7 return >/dev/null
"$emulator" --tell control load-8 return >/dev/null
for _ in $(seq 600); do
    [ "$(ask_logbook "SELECT count(*) FROM run WHERE ended_at IS NULL")" = 0 ] && break
    sleep 0.1
done
kill -TERM "$engine" 2>/dev/null || true
wait "$engine" 2>/dev/null || true
engine=

i=0
while read -r kind fault value; do
    i=$((i + 1))
    state=$(ask_logbook "SELECT state FROM run WHERE id = $i")
    why=$(ask_logbook "SELECT coalesce(why, '') FROM run WHERE id = $i")
    amps=$("$emulator" --tell control "cell-$i" show | sed -n 's/.* amps \([^ ]*\).*/\1/p')
    echo "$kind $fault $value: $state, $amps A. $why"
    case $state in
    done) ;;
    failed) echo "$why" | grep -qE "(supply|load|meter)-$i|E$i" || fail "$kind $fault: does not say where: $why" ;;
    *) fail "$kind $fault: the run is $state" ;;
    esac
    echo "$amps" | awk '{ exit !($1 < 0.001 && $1 > -0.001) }' || fail "$kind $fault: $amps A still flow"
done <cases.txt
wrong="FROM reading WHERE abs(A) > 1.01 OR (abs(A) > 0.5 AND abs(V - 1.2) > 0.002)"
all=$(ask_logbook "SELECT count(*) FROM reading")
echo "$(ask_logbook "SELECT count(*) $wrong") wrong readings of $all on record"
[ "$(ask_logbook "SELECT count(*) $wrong")" = 0 ] || fail "$(ask_logbook "SELECT * $wrong LIMIT 10")"
[ "$all" -gt $((5 * count)) ] || fail "only $all readings"
sound
expect 0 '0 findings' "$PERDURE" audit
finish
