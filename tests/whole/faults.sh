#!/bin/sh
# Instruments that misbehave in the middle of a discharge, one fault a channel: in every case the output is
# off or the run goes on, with its gap on record, when the fault is over; the message says which instrument, and
# no wrong reading is taken for a right one. The emulator knows the truth: 1.25 V behind 50 mohm, 1 A.
. "$(dirname "$0")/../support/whole.sh"
. "$top/tests/support/emulator.sh"

PERDURE_LOGBOOK=$work/faults.perdure
export PERDURE_LOGBOOK

# instrument, fault, its value or -, and what becomes of the run. on: it goes on as if nothing were. gap: it waits,
# and goes on with a gap when the fault is over. void: it has failed, as nobody saw the load go off. failed: as that
# is no matter of the line. again: it goes on, and waits again; in the end either.
# any: whatever of these.
cat >cases.txt <<'T'
meter late 3 gap
load late 3 void
meter split 0.02 on
load split 0.02 on
meter garbage - gap
load garbage - void
meter hangup - gap
load hangup - void
meter hangup 1 gap
load hangup 1 void
meter frozen - again
meter silence - gap
load silence - void
meter double - gap
load double - void
meter flood - gap
meter chatter - any
load queue-error - on
load over-temperature - failed
meter late 5.5 again
T
count=$(wc -l <cases.txt)
serve bench --sets "$count" --speed 10 --truth "capacity=2 Ah" --truth "open_circuit=1.25 V" --truth "r0=50 mohm" \
    --soc "50 %" --log truth.log --resolution meter=10uV --noise meter=0.1mV "supply=pty:$work/supply-%" "load=pty:$work/load-%" "meter=pty:$work/meter-%"
sed -i 's/ = channel {/&  frozen_after = 5,/' bench.lua
# One that sends numbers unasked: unmarked, one that came in the middle of a question would pass for its answer.
chatters=meter-$(grep -n '^meter chatter' cases.txt | cut -d: -f1)
sed -i "/name = \"$chatters\"/,/driver/ s/driver = \"meter\",/& settings = { marked = true },/" bench.lua
grep -q marked bench.lua || fail "no meter is marked"
# One whose line is given longer than the step gives it (5 s): then the step is who says that nothing came.
sed -i "s,pty(\"\(.*/meter-$count\)\"),pty(\"\1\"\, { patience = \"8 s\" }),w patient.txt" bench.lua
[ -s patient.txt ] || fail "no meter's line is patient"
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
echo 'echo "$PERDURE_NOTICE: $PERDURE_SUMMARY" >>told.txt' >tell.sh
# One that waits for its instruments however long it takes to look at all of them.
begin_engine bench.lua --on-due "sh tell.sh"
eventually on_record "$count" "SELECT count(*) FROM step WHERE kind = 'discharge'" || fail "not begun: $(ask_logbook 'SELECT * FROM runs')"
sleep 3
i=0
while read -r kind fault value _; do
    i=$((i + 1))
    tell "$kind-$i" "$fault" ${value#-}
done <cases.txt
amps_of() {
    "$emulator" --tell bench.control "cell-$1" show | sed -n 's/.* amps \([^ ]*\).*/\1/p'
}
no_current() {
    echo "$1" | awk '{ exit !($1 < 0.001 && $1 > -0.001) }'
}

# waits_for RUN INSTRUMENT
waits_for() {
    case $(ask_logbook "SELECT coalesce(why, '') FROM run WHERE id = $1") in
    "waits for $2: "*) ;;
    *) return 1 ;;
    esac
}
# While a run waits no current flows, and the reason names the instrument.
i=0
while read -r kind fault value becomes; do
    i=$((i + 1))
    [ "$becomes" = gap ] && [ "$fault $value" != "hangup 1" ] || continue
    eventually waits_for "$i" "$kind-$i" || fail "$kind $fault: does not wait for it, but: $(ask_logbook "SELECT why FROM run WHERE id = $i")"
    "$PERDURE" runs | grep -q "waits for $kind-$i" || fail "runs does not say what run $i waits for"
    "$PERDURE" overview | grep -q "waits for $kind-$i" || fail "overview does not say what run $i waits for"
    amps=$(amps_of "$i")
    no_current "$amps" || fail "$kind $fault: $amps A flow while it waits"
done <cases.txt

# Whoever loses patience, the instrument is named.
impatient="SELECT count(*) > 0 FROM event WHERE text LIKE 'channel E$count: meter-$count: no answer in time;%'"
eventually on_record 1 "$impatient" || fail "not named: $(ask_logbook "SELECT text FROM event WHERE text LIKE 'channel E$count:%'")"

# Somebody is told of what does not come back at once, and of nothing else.
eventually grep -qs '^lost: run 7 waits for meter-7: ' told.txt || fail "nobody is told that meter-7 is gone"
grep -qE 'run (9|3) ' told.txt && fail "told of a line that came back by itself: $(cat told.txt)"

# A hang-up comes back as another device behind the same path; other faults end.
tell meter-7 return
tell load-8 return
i=0
while read -r kind _; do
    i=$((i + 1))
    tell "$kind-$i" clear
done <cases.txt
within 180 on_record 0 "SELECT count(*) FROM run WHERE ended_at IS NULL" || fail "not over: $(ask_logbook 'SELECT * FROM runs')"
end_engine TERM

i=0
while read -r kind fault value becomes; do
    i=$((i + 1))
    state=$(ask_logbook "SELECT state FROM run WHERE id = $i")
    why=$(ask_logbook "SELECT coalesce(why, '') FROM run WHERE id = $i")
    gaps=$(ask_logbook "SELECT count(*) FROM gap JOIN step ON step = step.id WHERE run = $i AND why = 'an instrument did not answer'")
    amps=$(amps_of "$i")
    echo "$kind $fault $value: $state, $gaps gaps, $amps A. $why"
    case $becomes,$state,$gaps in
    on,done,0 | gap,done,[1-9]*) ;;
    void,failed,* | failed,failed,0 | any,failed,* | again,failed,[1-9]*) echo "$why" | grep -qE "(supply|load|meter)-$i|E$i" || fail "$kind $fault: does not say where: $why" ;;
    any,done,* | again,done,[1-9]*) ;;
    *) fail "$kind $fault: the run is $state" ;;
    esac
    [ "$becomes" != void ] || echo "$why" | grep -q '^void: ' || fail "$kind $fault: $why"
    no_current "$amps" || fail "$kind $fault: $amps A still flow"
done <cases.txt
wrong="FROM reading WHERE abs(A) > 1.01 OR (abs(A) > 0.5 AND abs(V - 1.2) > 0.002)"
all=$(ask_logbook "SELECT count(*) FROM reading")
echo "$(ask_logbook "SELECT count(*) $wrong") wrong readings of $all on record"
[ "$(ask_logbook "SELECT count(*) $wrong")" = 0 ] || fail "$(ask_logbook "SELECT * $wrong LIMIT 10")"
[ "$all" -gt $((5 * count)) ] || fail "only $all readings"
sound
expect 0 '0 findings' "$PERDURE" audit
finish
