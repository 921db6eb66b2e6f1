#!/bin/sh
# From a bench's accuracy entries to what people and programs are shown. Figures by hand: rectangular limits
# (JCGM 100:2008, 4.3.7), k = 1.96 for 95 % and a well known u (Table G.2), two digits of U (7.2.6).
. "$(dirname "$0")/../support/whole.sh"

cat >bench.lua <<'L'
return bench { title = "Stated", channels = {
  S1 = simulated { capacity = "2 Ah", open_circuit = "1.25 V", r0 = "50 mohm",
                   accuracy = { voltage = "0.05 % + 2 mV", current = "0.1 % + 1 mA", shared = 0 } },
} }
L
cat >bare.lua <<'L'
return bench { title = "Nothing stated", channels = {
  S2 = simulated { capacity = "2 Ah", open_circuit = "1.25 V", r0 = "50 mohm" },
} }
L
cat >timed.lua <<'L'
return protocol {
  title = "An hour at 0.5 A, twice, and two resistances",
  results = { charge = "Ah", energy = "Wh", both = "Ah", resistance = "ohm", count = "" },
  run = function(cell)
    local outs, pulses = {}, {}
    for i = 1, 2 do
      outs[i] = cell:discharge { current = 0.5, stop = { time = "1 h" } }
      cell:charge { current = 0.5, stop = { time = "1 h" } }
      pulses[i] = cell:pulse { current = { 0.4, 4 }, time = { "10 s", "3 s" } }
    end
    record("charge", outs[1].charge, "Ah", outs[1].charge_uncertainty)
    record("energy", outs[1].energy, "Wh", outs[1].energy_uncertainty)
    local both, u = total(outs, "charge")
    record("both", both, "Ah", u)
    local r, ur = mean(pulses, "resistance")
    record("resistance", r, "ohm", ur)
    record("count", 2)
  end,
}
L
new_logbook stated
expect 0 'done' "$PERDURE" run timed.lua --cells T-01 --bench bench.lua
expect 0 'done' "$PERDURE" run timed.lua --cells T-02 --bench bare.lua

# near WHAT WANTED RUN NAME COLUMN
near() {
    got=$(ask_logbook "SELECT $3 FROM result WHERE run = 1 AND name = '$2'")
    echo "$got $4" | awk '{ d = $1 - $2; exit !(d < 0 ? -d < 1e-9 * $2 : d < 1e-9 * $2) }' ||
        fail "$1 is $got, not $4"
}
# 0.1 % of 0.5 Ah and 1 mA for an hour: 1.5 mAh; the clock's 100 ppm: 0.05 mAh.
u_charge=$(awk 'BEGIN { printf "%.15g", sqrt((0.0015 ^ 2 + 0.00005 ^ 2) / 3) }')
# 1.225 V: 0.05 % + 2 mV of 0.5 Ah is 1.30625 mWh; 0.1 % + 1 mA of the current 1.8375 mWh; clock 0.06125 mWh.
u_energy=$(awk 'BEGIN { printf "%.15g", sqrt((0.00130625 ^ 2 + 0.0018375 ^ 2 + 0.00006125 ^ 2) / 3) }')
near "u of the charge" charge uncertainty "$u_charge"
near "u of the energy" energy uncertainty "$u_energy"
near "u of both charges" both uncertainty "$(awk "BEGIN { printf \"%.15g\", 2 * $u_charge }")"
near "the energy" energy value 0.6125
# 1.23 V and 1.05 V; 0.4 A and 4 A: errors of their own in each, over a step of 3.6 A; no scatter in an ideal cell.
u_resistance=$(awk 'BEGIN { u1 = 0.0005 * 1.23 + 0.002; u2 = 0.0005 * 1.05 + 0.002; i1 = 0.0014; i2 = 0.005
    printf "%.15g", sqrt((u1 ^ 2 + u2 ^ 2 + (0.05 * i1) ^ 2 + (0.05 * i2) ^ 2) / 3) / 3.6 }')
near "u of the resistance" resistance uncertainty "$u_resistance"
[ "$(ask_logbook "SELECT count(*) FROM result WHERE run = 1 AND name = 'count' AND uncertainty IS NULL")" = 1 ] ||
    fail "a count has an uncertainty"

# For people: U = 1.96 x 0.8665 mAh = 1.698 mAh, two digits, and the value to the same place.
expect 0 '' "$PERDURE" results --run 1
grep -qE 'charge +0\.5000 +0\.0017 +Ah +1\.96 +25\.000 ± 0\.085 ' out.txt || fail "the charge is shown otherwise: $(cat out.txt)"
grep -qE 'energy +0\.6125 +0\.0026 +Wh +1\.96 ' out.txt || fail "the energy is shown otherwise: $(cat out.txt)"
grep -q 'expanded uncertainty U = k u' out.txt || fail "the coverage is not stated"
# For programs.
"$PERDURE" results --run 1 --name charge --json >out.json
for field in coverage:1.95996 confidence:0.95 expanded:0.00169835 percent_expanded:0.084917; do
    got=$(sqlite3 :memory: "SELECT json_extract(readfile('out.json'), '\$[0].${field%%:*}')")
    echo "$got ${field##*:}" | awk '{ d = $1 / $2 - 1; exit !(d < 1e-4 && d > -1e-4) }' || fail "${field%%:*} is $got"
done

# Nothing stated: no uncertainty, and not zero.
expect 0 '' "$PERDURE" results --run 2
grep -q '±' out.txt && fail "an uncertainty out of nothing: $(cat out.txt)"
[ "$(ask_logbook 'SELECT count(uncertainty) FROM result WHERE run = 2')" = 0 ] || fail "run 2 has an uncertainty"
ask_logbook "SELECT outcome FROM journal WHERE run = 2" | grep -q uncertainty && fail "an outcome of run 2 has one"

# What measured it.
expect 0 'voltage 0.05 % + 2 mV, current 0.1 % + 1 mA, shared 0' "$PERDURE" runs 1
expect 0 'not stated' "$PERDURE" runs 2
"$PERDURE" report -o report.html >/dev/null
grep -q 'simulated; accuracy: voltage 0.05 % + 2 mV' report.html || fail "the report does not say how accurate S1 is"
"$PERDURE" export data >/dev/null
[ "$(wc -l <data/channels.csv)" = 3 ] || fail "channels.csv: $(cat data/channels.csv)"
"$PERDURE" audit --json >audit.json || fail "audit"
[ "$(sqlite3 :memory: "SELECT json_array_length(readfile('audit.json'), '\$.channels')")" = 2 ] || fail "audit's channels"

# What cannot be: said in words.
cat >wrong.lua <<'L'
return protocol {
  title = "Not a number",
  results = { charge = "Ah" },
  run = function(cell)
    local out = cell:rest { time = 1 }
    record("charge", 1, "Ah", 0 / 0)
  end,
}
L
expect 1 'the uncertainty is no positive number' "$PERDURE" run wrong.lua --cells T-03 --bench bench.lua
sound
finish
