#!/bin/sh
# One script, four kinds of channel: the unchanged capacity protocol on a simulated channel, over
# instruments on serial-like lines, over TCP, and by hand. The same outcome to what the instruments
# resolve, and `results` says how each was obtained.
. "$(dirname "$0")/../support/whole.sh"
. "$top/tests/support/emulator.sh"

speed=200

# One truth for all: 2 Ah, 1.25 V behind 50 mohm, three quarters full. Filled by 0.5 Ah it gives 1.977 Ah: the
# model's voltage falls over the last hundredth of its charge.
cat >simulated.lua <<'L'
return bench { title = "A constant cell", channels = {
  S1 = simulated { capacity = "2 Ah", open_circuit = "1.25 V", r0 = "50 mohm", soc_new = 0.75 },
} }
L
echo 'return bench { title = "A slot", channels = { H1 = by_hand { title = "slot 1 of the charger" } } }' >by_hand.lua
truth() {
    serve "$@" --speed $speed --rated "2000 mAh" --soc "75 %" --truth "capacity=2 Ah" --truth "open_circuit=1.25 V" \
        --truth "r0=50 mohm"
}
truth pty "supply=pty:$work/supply" "load=pty:$work/load" "meter=pty:$work/meter"
truth tcp supply=tcp:0 load=tcp:0 meter=tcp:0

settings='--set charge=0.5It --set fill=30min --set rest=1min --set rate=1It'
# Each in a logbook of its own, all at once.
# shellcheck disable=SC2086
begin() {
    "$PERDURE" --logbook "$1.perdure" new --clock x$speed --seed 7 >/dev/null
    "$PERDURE" --logbook "$1.perdure" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --labels T-01 >/dev/null
    "$PERDURE" --logbook "$1.perdure" run capacity --cells T-01 --bench "$1.lua" $settings >"$1.run" 2>&1 &
    running="$running $!"
}
running=
for kind in simulated pty tcp by_hand; do
    begin $kind
done

# By hand: asked, answered by what such a display would say.
PERDURE_LOGBOOK=$work/by_hand.perdure
export PERDURE_LOGBOOK
asks() {
    "$PERDURE" --json attend | grep -q '"question": '"$1"'[,}]*$'
}
answer() {
    eventually asks "$1" || fail "question $1 is not put"
    expect "$3" "$4" "$PERDURE" answer "$1" "$2" --who Ada
}
answer 1 "T-02" 1 'T-02 was given, and T-01 belongs in H1'
answer 1 "T-01" 0 'answered'
answer 2 "plenty" 1 'such as'
answer 2 "500 mAh, 30 min" 0 'answered'
answer 3 "2000 mAh, 1 h, 1.0 V" 0 'answered'

for child in $running; do
    wait "$child" || fail "a run failed: $(cat ./*.run)"
done
for kind in simulated:simulated pty:emulated tcp:emulated by_hand:"by hand"; do
    PERDURE_LOGBOOK=$work/${kind%%:*}.perdure
    # A reading comes every few seconds of the cell's time, later on a busy machine: by then it is empty, has given 2 Ah
    # and gives no more, but how soon it stopped is known to the last two readings only: so much at 2 A, in Ah.
    late=$(ask_logbook "SELECT coalesce(max(apart), 0) * 2 / 3600 FROM (SELECT k, seconds - lag(seconds) OVER (ORDER BY k) AS apart
        FROM reading JOIN step ON step.id = step WHERE kind = 'discharge' ORDER BY k DESC LIMIT 1)")
    got=$(ask_logbook "SELECT value - 1.977 BETWEEN -0.024 AND 0.024 + $late, how, round(value, 4) FROM result WHERE name = 'capacity'")
    echo "${kind%%:*}: $got, at most $late Ah late"
    [ "${got%|*}" = "1|${kind#*:}" ] || fail "${kind%%:*}: $got ($(cat "${kind%%:*}.run"))"
    ask_logbook "SELECT script_hash FROM run" >>scripts.txt
    # And what measured it, by the name that each instrument gave itself.
    [ "${kind#*:}" != emulated ] || [ -n "$(ask_logbook "SELECT json_extract(instruments, '\$.meter.serial') FROM session_channel")" ] ||
        fail "${kind%%:*}: no instrument on record: $(ask_logbook 'SELECT * FROM session_channel')"
    sound
    expect 0 '0 findings' "$PERDURE" audit
done
[ "$(sort -u scripts.txt | wc -l)" = 1 ] || fail "not one and the same script"
finish
