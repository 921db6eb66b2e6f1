#!/bin/sh
# Internal resistance by alternating current: simulated, over a line and by hand the same value; what is
# refused, what an ohmmeter without contact does, and what is not asked while nothing wants it.
. "$(dirname "$0")/../support/whole.sh"
. "$top/tests/support/emulator.sh"

speed=200

# One truth for all: 23.46 mohm, and 15 mohm more that take half a minute to show: direct current sees both.
cat >simulated.lua <<'L'
return bench { title = "A constant cell", channels = {
  S1 = simulated { capacity = "2 Ah", open_circuit = "1.25 V", r0 = "23.46 mohm", r1 = "15 mohm", c1 = 2000,
    soc_new = 0.75, accuracy = { voltage = "1 mV", current = "1 mA", resistance = "0.5 % + 0.1 mohm" } },
} }
L
echo 'return bench { title = "A slot", channels = { H1 = by_hand { title = "the milliohm meter", accuracy = { resistance = "1 %" } } } }' >by_hand.lua
serve pty --speed $speed --rated "2000 mAh" --soc "75 %" --truth "capacity=2 Ah" --truth "open_circuit=1.25 V" \
    --truth "r0=23.46 mohm" --truth "r1=15 mohm" --truth "c1=2000" --log truth.log \
    "supply=pty:$work/supply" "load=pty:$work/load" "meter=pty:$work/meter" "ohmmeter=pty:$work/ohmmeter"

logbook() {
    PERDURE_LOGBOOK=$work/$1.perdure
    export PERDURE_LOGBOOK
    "$PERDURE" new --clock x$speed --seed 7 >/dev/null
    "$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --labels T-01 >/dev/null
}
# near WHAT VALUE WANTED WITHIN
near() {
    echo "$1: $2 (wanted $3)"
    [ -n "$2" ] && echo "$2 $3 $4" | awk '{ d = $1 - $2; exit !(d * d <= $3 * $3 * (1 + 1e-9)) }' || fail "$1 is $2 and not $3"
}
result() {
    ask_logbook "SELECT $2 FROM result WHERE name = '$1' ORDER BY run DESC, n DESC LIMIT 1"
}

# --- simulated ---------------------------------------------------------------------------------------
logbook simulated
expect 0 "" "$PERDURE" run resistance-ac --cells T-01 --bench simulated.lua --set fill=0 --set rest=1min
near "simulated" "$(result resistance_ac value)" 0.02346 1e-9
# (0.5 % of 23.46 mohm + 0.1 mohm) / sqrt(3): an error of the meter, which no mean makes less.
near "its uncertainty" "$(result resistance_ac uncertainty)" 0.00012546 5e-9
near "its spread" "$(result resistance_ac_spread value)" 0 1e-9
[ "$(result resistance_ac how)" = simulated ] || fail "not said how it was obtained"
[ -z "$(result resistance value)" ] || fail "it is on record as the resistance of the other method"
# A read has the alternating one, a pulse the other.
near "the step's own" "$(ask_logbook "SELECT max(resistance) FROM outcome AS o JOIN step AS s ON s.id = o.step WHERE s.kind = 'read'")" 0.02346 1e-9
# By direct current the slow part shows too: always more, and a result of another name.
expect 0 "" "$PERDURE" run resistance --cells T-01 --bench simulated.lua --set fill=0 --set rest=1min --set times=1
result resistance value | awk '{ exit !($1 > 0.0236) }' || fail "by direct current it is $(result resistance value)"
sound
expect 0 '0 findings' "$PERDURE" audit

# --- what a script says, and what is on record of it --------------------------------------------------
cat >reads.lua <<'L'
return protocol {
  title = "Reads",
  results = { there = "ohm", asked = "ohm", no = "" },
  run = function(cell)
    local r = cell:read {}
    if r.resistance_ac then record("there", r.resistance_ac, "ohm", r.resistance_ac_uncertainty) end
    record("asked", cell:read { resistance = true }.resistance_ac, "ohm")
    record("no", cell:read { resistance = false }.resistance_ac == nil and 1 or 0, "")
  end,
}
L
expect 0 "" "$PERDURE" run reads.lua --cells T-01 --bench simulated.lua
near "where there is one" "$(result there value)" 0.02346 1e-9
[ "$(result no value)" = 1.0 ] || fail "it was measured though the script did not want it"
[ "$(ask_logbook "SELECT group_concat(args, ' ') FROM journal WHERE name = 'read' AND run = (SELECT max(id) FROM run)")" = \
    '{} {"resistance":true} {"resistance":false}' ] || fail "the arguments of a read are not as they were"
sed 's/resistance = true/resistance = "yes"/' reads.lua >wrong.lua
expect 1 "not true or false" "$PERDURE" run wrong.lua --cells T-01 --bench simulated.lua
sed 's/cell:read { resistance = true }/cell:rest { time = 1, resistance = true }/' reads.lua >wrong.lua
expect 1 "resistance" "$PERDURE" run wrong.lua --cells T-01 --bench simulated.lua

# --- over a line ---------------------------------------------------------------------------------------
logbook pty
settings='--set fill=0 --set rest=1min --set times=4'
# shellcheck disable=SC2086
expect 0 "" "$PERDURE" run resistance-ac --cells T-01 --bench pty.lua $settings
near "over a line" "$(result resistance_ac value)" 0.02346 0.000005
near "its uncertainty" "$(result resistance_ac uncertainty)" 0.00000289 0.00000001 # 5 uohm / sqrt(3)
[ "$(result resistance_ac how)" = emulated ] || fail "not said how it was obtained"
[ "$(ask_logbook "SELECT json_extract(instruments, '\$.ohmmeter.model') FROM session_channel")" = SO-1 ] || fail "no ohmmeter on record"
# R = Ua / Ia (IEC 61951-2, the method by alternating current; formula from memory), of what truly happened.
near "Ua / Ia" "$(awk '/alternating/ { for (i = 1; i < NF; i++) { if ($i == "volts") u = $(i + 1); if ($i == "amps") a = $(i + 1) } r = u / a } END { print r }' truth.log)" \
    "$(result resistance_ac value)" 0.000005
# Some tens of milliohms for a healthy AA NiMH cell (common practice, no source): the typical simulated one.
logbook typical
echo 'return bench { title = "As bought", channels = { S1 = simulated { chemistry = "NiMH" } } }' >typical.lua
expect 0 "" "$PERDURE" run resistance-ac --cells T-01 --bench typical.lua --set fill=0 --set rest=1min
near "a typical cell" "$(result resistance_ac value)" 0.030 0.020
# Asked once a reading that wants it, and never while something is driven or at rest.
[ "$(grep -c alternating truth.log)" = 4 ] || fail "the ohmmeter was asked $(grep -c alternating truth.log) times and not 4"
PERDURE_LOGBOOK=$work/pty.perdure
expect 0 "" "$PERDURE" run resistance --cells T-01 --bench pty.lua --set fill=0 --set rest=1min --set times=1
[ "$(grep -c alternating truth.log)" = 4 ] || fail "the ohmmeter was asked while the cell was driven or at rest"

# Other orders and units, by settings alone.
sed 's/  driver = "ohmmeter",/&\n  settings = { configure = "", ask = "FETC?" },/' pty.lua >fetch.lua
# shellcheck disable=SC2086
expect 0 "" "$PERDURE" run resistance-ac --cells T-01 --bench fetch.lua $settings
near "by FETC?" "$(result resistance_ac value)" 0.02346 0.000005
# A meter that tells milliohm taken for one that tells ohm, the other way round: a thousandth is no cell's.
sed 's/  driver = "ohmmeter",/&\n  settings = { ask = "MEAS:RES?", unit = "mohm" },/' pty.lua >milli.lua
# shellcheck disable=SC2086
expect 1 "is no internal resistance of a cell" "$PERDURE" run resistance-ac --cells T-01 --bench milli.lua $settings
sed 's/  driver = "ohmmeter",/&\n  settings = { unit = "kohm" },/' pty.lua >kilo.lua
expect 4 "1 of 4 instruments cannot be used" "$PERDURE" bench kilo.lua
grep -q "it cannot tell kohm" out.txt || fail "not said which unit: $(cat out.txt)"

# No contact.
tell ohmmeter-1 lead-off once
# shellcheck disable=SC2086
expect 1 "one of its four wires does not touch the cell" "$PERDURE" run resistance-ac --cells T-01 --bench pty.lua $settings
# And it goes on as before once it touches.
# shellcheck disable=SC2086
expect 0 "" "$PERDURE" run resistance-ac --cells T-01 --bench pty.lua $settings
sound
expect 0 '0 findings' "$PERDURE" audit

# --- a channel without -----------------------------------------------------------------------------------
sed '/ohmmeter = /d' pty.lua >without.lua
# shellcheck disable=SC2086
expect 1 "channel E1 has nothing that measures a resistance by alternating current" \
    "$PERDURE" run resistance-ac --cells T-01 --bench without.lua $settings
grep -q "name ohmmeter = ... in the bench file" err.txt || fail "not said what to do: $(cat err.txt)"
expect 1 "has nothing that measures" "$PERDURE" rehearse resistance-ac --bench without.lua
# Where nobody asked for it, a read is a read.
cat >plain.lua <<'L'
return protocol { title = "Read", results = { voltage = "V" }, run = function(cell)
  local r = cell:read {}
  record("voltage", r.voltage, "V")
  if r.resistance_ac then record("voltage", 0, "V") end
end }
L
expect 0 "" "$PERDURE" run plain.lua --cells T-01 --bench without.lua
near "a read without" "$(result voltage value)" 1.25 0.01
expect 0 "rehearsed" "$PERDURE" rehearse resistance-ac --bench pty.lua

# --- compared ------------------------------------------------------------------------------------------------
new_logbook ranked
"$PERDURE" enrol --model "Heron 1900" --chemistry NiMH --rated "1900 mAh" --size AA --labels H-01,H-02,H-03,H-04 >/dev/null
echo 'return bench { title = "As bought", channels = {' >eight.lua
for i in 1 2 3 4 5 6 7 8; do
    echo "S$i = simulated { chemistry = \"NiMH\" }," >>eight.lua
done
echo '} }' >>eight.lua
cat >worn.lua <<'L'
return study { title = "Worn", run = function(s)
  s:perform("resistance-ac", s.cells)
  s:perform("resistance", s.cells, { fill = 0 })
  s:perform("cycles", s.cells, { count = 12 })
  s:perform("resistance-ac", s.cells)
end }
L
expect 0 "" "$PERDURE" start worn.lua --cells T-01,T-02,T-03,T-04,H-01,H-02,H-03,H-04
expect 0 "" "$PERDURE" engine --bench eight.lua --clock virtual --until-idle
"$PERDURE" --json rank --by resistance_ac,resistance_ac_worn,resistance >rank.json
ranked() {
    sqlite3 :memory: "SELECT json_extract(value, '\$.by_$1.$2') FROM json_each(readfile('rank.json'), '\$.models') WHERE json_extract(value, '\$.model') = 'Heron 1900'"
}
mean() {
    ask_logbook "SELECT avg(value) FROM (SELECT cell, value, row_number() OVER (PARTITION BY cell ORDER BY run ${2:-}) AS i
        FROM results WHERE name = '$1' AND cell LIKE 'H-%') WHERE i = 1"
}
near "ranked by the first" "$(ranked resistance_ac mean)" "$(mean resistance_ac)" 1e-9
near "by the last" "$(ranked resistance_ac_worn mean)" "$(mean resistance_ac DESC)" 1e-9
near "and by the other method" "$(ranked resistance mean)" "$(mean resistance)" 1e-9
echo "$(ranked resistance mean) $(ranked resistance_ac mean)" | awk '{ exit !($1 > $2) }' || fail "by direct current it is not more"
expect 0 "" "$PERDURE" plot ranking --by resistance_ac -o ranking.svg
grep -q "Resistance at 1 kHz" ranking.svg || fail "not said by which method: $(head -c 600 ranking.svg)"

# --- bench files that cannot be ----------------------------------------------------------------------------
bench_with() {
    cat >odd.lua <<L
local meter = instrument { driver = "meter", link = pty("$work/meter") }
local ohm = instrument { driver = "ohmmeter", link = pty("$work/ohmmeter") }
local board = instrument { driver = "relay", link = pty("$work/none") }
return bench { emulated = true, channels = { $1 } }
L
}
bench_with 'A1 = channel { meter = meter, ohmmeter = meter }'
expect 4 "cannot be an ohmmeter" "$PERDURE" bench odd.lua
bench_with 'A1 = channel { meter = route(meter, 1), ohmmeter = ohm }, A2 = channel { meter = route(meter, 2), ohmmeter = ohm }'
expect 4 "share the ohmmeter" "$PERDURE" bench odd.lua
grep -q "ohmmeter_scanner = route" err.txt || fail "not said what to do: $(cat err.txt)"
bench_with 'A1 = channel { meter = meter, ohmmeter = ohm, scanner = route(board, 1), ohmmeter_scanner = route(board, 1) }'
expect 4 "by one relay" "$PERDURE" bench odd.lua
bench_with 'A1 = channel { meter = meter, ohmmeter_scanner = route(board, 1) }'
expect 4 "no ohmmeter behind its scanner" "$PERDURE" bench odd.lua

# --- by hand -------------------------------------------------------------------------------------------------
logbook by_hand
"$PERDURE" run resistance-ac --cells T-01 --bench by_hand.lua --set fill=0 --set rest=1min --set times=2 >by_hand.run 2>&1 &
running=$!
asks() {
    "$PERDURE" --json attend | grep -q '"question": '"$1"'[,}]*$'
}
answer() {
    eventually asks "$1" || fail "question $1 is not put"
    expect "$3" "$4" "$PERDURE" answer "$1" "$2" --who Ada
}
answer 1 "T-01" 0 'answered'
answer 2 "1.25 V" 1 'the resistance is missing'
"$PERDURE" attend >asked.txt </dev/null || true
grep -q "type the display's AC resistance, such as 23 mohm" asked.txt || fail "not asked for it: $(cat asked.txt)"
answer 2 "23.5 ohm" 1 'not plausible'
answer 2 "0.05 mohm" 1 'not plausible'
answer 2 "23.5 mohm" 0 'answered'
answer 3 "23.5 mohm, 1.25 V" 0 'answered'
wait "$running" || fail "by hand: $(cat by_hand.run)"
near "by hand" "$(result resistance_ac value)" 0.02346 0.00005 # half of the display's last digit
near "its uncertainty" "$(result resistance_ac uncertainty)" 0.00013871 1e-8 # 1 % / sqrt(3) and 0.1 mohm / sqrt(12)
[ "$(result resistance_ac how)" = "by hand" ] || fail "not said how it was obtained"
sound
expect 0 '0 findings' "$PERDURE" audit
finish
