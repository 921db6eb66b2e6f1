#!/bin/sh
# Evaluations of a tester's own: what they read, what they work out (beside figures worked out by hand or
# published), what they put out, and that they change nothing.
. "$(dirname "$0")/../support/whole.sh"
. "$top/tests/support/engine.sh"

PERDURE_LOGBOOK=$work/evaluate.perdure
export PERDURE_LOGBOOK
"$PERDURE" new >/dev/null
"$PERDURE" enrol --model "Heron 2000" --chemistry NiMH --rated "2000 mAh" --labels H-1,H-2,H-3 >/dev/null
"$PERDURE" enrol --model "Kestrel 2000" --chemistry NiMH --rated "2000 mAh" --labels K-1,K-2,K-3 >/dev/null
"$PERDURE" enrol --model "Wren 2000" --chemistry NiMH --rated "2000 mAh" --labels W-1 >/dev/null

# Capacities known by hand: so many mA for an hour, at 1.2 V falling to 1.0 V.
give() {
    printf 'Time,U,I,T\n0,1.2,-%s,20\n3600,1.0,-%s,22\n' "$2" "$2" >curve.csv
    "$PERDURE" import curve.csv --cell "$1" --time Time:s --voltage U:V --current I:mA --temperature T:degC \
        --began 2026-03-03T08:00Z --result capacity=discharge >/dev/null
}
give H-1 2010
give H-2 2020
give H-3 2030
give K-1 1900
give K-2 1920
give K-3 1910
give W-1 2000
sum() { sqlite3 "$PERDURE_LOGBOOK" .dump | sha256sum; }
before=$(sum)

# 1. The shipped one. Heron: mean 101 %, sd 0.5 %, 101 +- 4.303 x 0.5 / sqrt(3) = 99.76 to 102.24 (Student's t
# for 2 degrees of freedom, 97.5 %: 4.303, as in any table). Kestrel: 95.5 %, 94.26 to 96.74.
expect 0 "0 of 3 models deliver 100 % of their rating" "$PERDURE" evaluate "$top/demo/evaluation-rating.lua"
tr -s ' ' <out.txt >plain.txt
for line in "Heron 2000 3 101.0 99.76 102.24 cannot be told: the interval holds 100 %" \
    "Kestrel 2000 3 95.5 94.26 96.74 falls short" \
    "Wren 2000 1 100.0 cannot be told: one cell only" \
    "Heron 2000 and Kestrel 2000 differ by 5.5 %" \
    "Heron 2000 and Wren 2000 cannot be told apart"; do
    grep -qF "$line" plain.txt || fail "no \"$line\" in: $(cat plain.txt)"
done
expect 0 "Heron 2000" "$PERDURE" evaluate "$top/demo/evaluation-rating.lua" --set part=95
grep -q "1 of 3 models deliver 95 %" out.txt || fail "--set part"
expect 2 "say where to: -o FOLDER" "$PERDURE" evaluate "$top/demo/evaluation-rating.lua" --set csv=verdict.csv
expect 0 "wrote out/verdict.csv" "$PERDURE" evaluate "$top/demo/evaluation-rating.lua" --set csv=verdict.csv -o out
[ "$(head -1 out/verdict.csv | tr -d '\r')" = "model,cells,mean %,from %,to %,verdict" ] || fail "the CSV's head"
[ "$(wc -l <out/verdict.csv)" = 4 ] || fail "the CSV's rows"
"$PERDURE" --json evaluate "$top/demo/evaluation-rating.lua" >out.json
grep -q '"title": "What is printed on it"' out.json && grep -q '"falls short"' out.json || fail "--json"
[ "$(tail -c 2 out.json)" = "}" ] || fail "--json is not one document"

# The example of the guide, as it stands there.
sed -n '/^    return evaluation/,/^    }/s/^    //p' "$top/docs/evaluations.md" >guide.lua
expect 0 "" "$PERDURE" evaluate guide.lua
tr -s " " <out.txt | grep -qF "Kestrel 2000 3 1.91 0.01" || fail "the guide: $(cat out.txt)"

# 2. Every word once, beside a known answer.
cat >words.lua <<'L'
local function near(is, should, what)
  if not is or math.abs(is - should) > 1e-6 * math.max(1, math.abs(should)) then
    error(what .. " is " .. tostring(is) .. ", not " .. should)
  end
end
return evaluation { title = "Words", run = function(logbook, p)
  near(#logbook:models(), 3, "models")
  near(#logbook:cells { model = "heron 2000" }, 3, "cells")
  near(#logbook:runs { kind = "import" }, 7, "runs")
  near(#logbook:results { cell = "K-2", name = "capacity" }, 1, "results")
  near(#logbook:results { model = "Kestrel 2000" }, 3, "results of a model")
  local step = logbook:steps { cell = "H-1", kind = "discharge" }[1]
  near(step.charge_Ah, 2.01, "charge")
  local r = logbook:readings(step)
  near(r.count, 2, "readings"); near(r.V[2], 1.0, "V"); near(r.A[1], -2.01, "A"); near(r.degC[2], 22, "degC")
  local m = measure(r, { end_voltage = 1.1 }) -- half of the way down: half of the hour
  near(m.charge_Ah, 1.005, "measure"); near(m.duration, 1800, "duration")

  near(mean { 1, 2, 3, 4 }, 2.5, "mean"); near(spread { 1, 2, 3, 4 }, math.sqrt(5 / 3), "spread")
  near(quantile({ 1, 2, 3, 4, 5 }, 0.5), 3, "median"); near(summary({ 1, 2, 3 }).count, 3, "count")
  local none, why = spread { 1 }
  assert(none == nil and why:find "one cell only", why)
  -- {1,2,3} against {4,5,6}: t = -3 / sqrt(2/3) = -3.6742, 4 degrees of freedom; p = 0.02131 from memory of the
  -- incomplete beta function, checked by integration by hand below.
  local d = t_test({ 1, 2, 3 }, { 4, 5, 6 })
  near(d.t, -3 / math.sqrt(2 / 3), "t"); near(d.freedom, 4, "freedom")
  -- Student's t with 4 degrees of freedom in closed form: P(|T| > t) = 1 - s (3 - s^2) / 2, s = t / sqrt(4 + t^2).
  local s = math.abs(d.t) / math.sqrt(4 + d.t ^ 2)
  near(d.p, 1 - s * (3 - s ^ 2) / 2, "p")
  -- Holm (1979): 3 x 0.01, 2 x 0.02, then no less than the one before.
  local h = holm { 0.01, 0.04, 0.02 }
  near(h[1], 0.03, "holm 1"); near(h[3], 0.04, "holm 3"); near(h[2], 0.04, "holm 2")
  -- {1,2,3} below {4,5,6} is one of 20 orders: two-sided 0.1.
  near(rank_test({ 1, 2, 3 }, { 4, 5, 6 }).p, 0.1, "rank test")
  -- Kruskal and Wallis: H = 12 / (6 x 7) x (6^2/3 + 15^2/3) - 3 x 7 = 27/7.
  near(kruskal { a = { 1, 2, 3 }, b = { 4, 5, 6 } }.h, 27 / 7, "kruskal")
  -- Three judges of one mind: Kendall's W = 1, Friedman's chi2 = 3 x (4 - 1).
  local a = agreement { { 1, 2, 3, 4 }, { 10, 20, 30, 40 }, { 5, 6, 7, 8 } }
  near(a.w, 1, "W"); near(a.chi2, 9, "chi2")
  local order = rank({ { name = "capacity" }, { name = "price", lower_is_better = true } },
    { A = { 2.0, 5 }, B = { 1.9, 3 }, C = { 1.8, 9 } })
  assert(order[3].model == "C"); near(order[1].mean_finish, 1.5, "mean finish"); near(order[3].place, 3, "place")
  near(#compare { a = { 1, 2, 3 }, b = { 4, 5, 6 }, c = { 1, 2, 3 } }, 3, "pairs")
  near(outlier { 10, 10.1, 9.9, 10, 10.1, 9.9, 15 }, 7, "outlier")

  local line = fit("line", { 0, 1, 2, 3 }, { 1, 3, 5, 7.4 }) -- slope (4.4 x 1.5 + ...) = 2.12, intercept 0.92
  near(line.parameters[2], 2.12, "slope"); near(line.parameters[1], 0.92, "intercept")
  near(line.at(10).value, 22.12, "at"); near(line.reaches(5.16).x, 2, "reaches")
  assert(line.at(10).extrapolated)
  assert(fit_best({ 0, 1, 2, 3, 4, 5, 6 }, { 1, 0.9, 0.79, 0.71, 0.6, 0.5, 0.4 }).form)
  local ratio, u = retention(1.8, 2.0, { u_left = 0.018, u_fresh = 0 })
  near(ratio, 0.9, "retention"); near(u, 0.009, "its uncertainty"); near(loss_a_day(0.9, 50), 0.002, "loss a day")
  near(retention(1.8, 2.0), 0.9, "retention alone"); assert(select("#", retention(1.8, 2.0, {})) == 1)
  near(days("2026-03-02T12:00:00Z", "2026-04-13T18:00:00Z"), 42.25, "days")
  local cycles, reached = wear({ 0, 100, 200 }, { 2, 1.8, 1.4 }, 2, 0.8)
  near(cycles, 150, "wear"); assert(reached)
  near(paired({ 1, 2, 3 }, { 1.1, 2.2, 3.3 }).difference, 0.2, "paired")
  near(resistance_two_step(1.25, 0.4, 1.20, 2.4), 0.025, "two step") -- 50 mV by 2 A
  local pulse = { seconds = { 0, 5, 10, 11, 13 }, V = { 1.26, 1.25, 1.25, 1.21, 1.2 }, A = { -0.4, -0.4, -0.4, -2.4, -2.4 } }
  near(resistance_from_pulse(pulse, 10, 3).ohm, 0.025, "pulse")
  -- A cell of 20 mohm, and 15 mohm with 30 s beside it, after 60 s at 2 A: V = 1.3 - 2 x 0.015 (1 - exp(-2)) exp(-t / 30).
  local load, rest = { seconds = {}, V = {}, A = {} }, { seconds = {}, V = {}, A = {} }
  for s = 0, 60 do
    load.seconds[s + 1], load.A[s + 1], load.V[s + 1] = s, -2, 1.3 - 2 * 0.020 - 2 * 0.015 * (1 - math.exp(-s / 30))
    rest.seconds[s + 1], rest.A[s + 1], rest.V[s + 1] = s, 0, 1.3 - 2 * 0.015 * (1 - math.exp(-2)) * math.exp(-s / 30)
  end
  local parts = resistance_parts(rest, { before = load })
  near(parts.r0, 0.020, "ohmic part"); near(parts.r1, 0.015, "polarisation"); near(parts.tau, 30, "time constant")
  assert(parts.r0_error and not resistance_parts(load), "no change, no parts")
  near(resistance_parts(rest, { before = load, held = 60 }).r1, 0.015, "held")
  -- JCGM 100:2008, 5.1.2: independent contributions add as squares; 4.3.7: a / sqrt(3); F.2.2.1: step / sqrt(12).
  near(uncertainty.combine({ { standard = 3 }, { standard = 2, sensitivity = 2 } }).standard, 5, "combine")
  near(uncertainty.rectangular(3), math.sqrt(3), "rectangular"); near(uncertainty.resolution(1), 1 / math.sqrt(12), "step")
  near(uncertainty.coverage(0.95), 1.959964, "coverage") -- JCGM 100:2008, table G.2: 1.960
  near(uncertainty.triangular(6), math.sqrt(6), "triangular"); near(uncertainty.arcsine(2), math.sqrt(2), "arcsine")
  near(uncertainty.freedom(0.25), 8, "freedom of 25 %") -- JCGM 100:2008, G.4.2
  assert(uncertainty.rectangular(-1) == nil)
  -- Two that rise and fall together add as they are, 5.2.2, note 1: 3 + 4.
  near(uncertainty.combine({ { standard = 3 }, { standard = 4 } }, 0.95, { { 1, 1 }, { 1, 1 } }).standard, 7, "correlated")
  -- JCGM 100:2008, H.2, from the readings of its table H.2 on: volts, amperes, phase; R = V / I cos(phase), X, Z.
  local read, covariance = uncertainty.means { { 5.007, 19.663e-3, 1.0456 }, { 4.994, 19.639e-3, 1.0438 },
    { 5.005, 19.640e-3, 1.0468 }, { 4.990, 19.685e-3, 1.0428 }, { 4.999, 19.678e-3, 1.0433 } }
  local V, I, phi = read[1], read[2], read[3]
  near(V, 4.999, "mean of V"); near(I, 19.661e-3, "mean of I")
  assert(math.abs(phi - 1.04446) < 1e-8 and math.abs(math.sqrt(covariance[1][1]) - 0.0032) < 5e-5)
  local Z, R, X = V / I, V / I * math.cos(phi), V / I * math.sin(phi)
  local out = uncertainty.propagate({ { R / V, -R / I, -X }, { X / V, -X / I, R }, { Z / V, -Z / I, 0 } }, covariance)
  for k, known in ipairs { { R, 127.732, 0.071 }, { X, 219.847, 0.295 }, { Z, 254.260, 0.236 } } do
    assert(math.abs(known[1] - known[2]) < 6e-4, "H.2, value " .. k .. ": " .. known[1])
    assert(math.abs(math.sqrt(out[k][k]) - known[3]) < 6e-4, "H.2, uncertainty " .. k)
  end
  assert(math.abs(out[1][2] / math.sqrt(out[1][1] * out[2][2]) + 0.588) < 6e-4, "H.2, correlation")
  -- A standard of 2.000 V known to 3 mV, read as 2.01, 2.02, 2.03: 20 mV too high, sd of the mean 10 mV / sqrt(3).
  local off = against_standard({ 2.01, 2.02, 2.03 }, 2.0, 0.003)
  near(off.bias, 0.02, "against a standard"); near(off.standard_error, math.sqrt(1e-4 / 3 + 9e-6), "its error")

  -- {1,2,3} and {4,5,6}: 13.5 between on 1, 4 within on 4: F = 13.5; Welch's for two groups is t squared.
  local v = anova { a = { 1, 2, 3 }, b = { 4, 5, 6 } }
  near(v.f, 13.5, "F"); near(v.within_squares, 4, "within"); near(v.p, d.p, "p of two groups")
  near(welch_anova { a = { 1, 2, 3 }, b = { 4, 5, 6 } }.f, d.t ^ 2, "Welch's F")
  -- Three cells put in twice: 1.9 and 2.1, 2.9 and 3.1, 3.9 and 4.1: within sd sqrt(0.02), means 2, 3, 4.
  local again = repeats { { 1.9, 2.1 }, { 2.9, 3.1 }, { 3.9, 4.1 } }
  near(again.within, math.sqrt(0.02), "within"); near(again.between, math.sqrt(1 - 0.01), "between")
  near(again.standard_error, 1 / math.sqrt(3), "of the mean")
  -- Five pairs that all rise: one of 32 signs, two-sided 1/16.
  near(paired_rank_test({ 1, 2, 3, 4, 5 }, { 1.1, 2.2, 3.3, 4.4, 5.5 }).p, 1 / 16, "paired ranks")
  near(efficiency(1.9, 2.0), 0.95, "efficiency")
  -- Ends at 1 and 3 of 4 cells, one seen going at 2, one at 4: 3/4, then half of what is left of it.
  local l = lasting { times = { 1, 2, 3, 4 }, ended = { true, false, true, false } }
  near(l.steps[1].part, 3 / 4, "lasting"); near(l.steps[2].part, 3 / 8, "lasting"); near(l.median, 3, "median")
  near(l.steps[2].at_risk, 2, "at risk")
  -- Ends at 1 and 2 against 3 and 4: expected 2/4 + 1/3 of the first, variance 1/4 + 2/9.
  local apart = log_rank { { times = { 1, 2 }, ended = { true, true } }, { times = { 3, 4 }, ended = { true, true } } }
  near(apart.chi2, (2 - 5 / 6) ^ 2 / (1 / 4 + 2 / 9), "log-rank"); near(apart.freedom, 1, "its freedom")
  local q, unit = quantity("500 mAh")
  near(q, 0.5, "quantity"); assert(unit == "Ah")
  say("all", "as", "known", p.word, 1.9, 3, true, nil)
  table_of { columns = { "a", "b" }, rows = { { 1, 0 / 0 }, { a = "x" } } }
end }
L
expect 0 "all as known yes 1.9 3 true nil" "$PERDURE" evaluate words.lua --set word=yes

# 3. Mistakes at their line; what a guest may not do.
try() {
    printf '%s\n' "return evaluation { run = function(logbook)" "  $2" "end }" >try.lua
    expect 1 "try.lua:2: $1" "$PERDURE" evaluate try.lua
}
try "there is no 'record' here" 'record("capacity", 1, "Ah")'
try "scripts have no 'io'" 'io.open("x", "w")'
try "scripts have no 'os'" 'os.remove("x")'
try "mean: value 2 is a string" 'mean { 1, "x" }'
try "what to look for has no 'modell'" 'logbook:results { modell = "A" }'
try "H-11" 'logbook:results { cell = "H-11" }'
try "a table is a file in the folder of -o, not a path" 'write_csv("../x.csv", {})'
try "there is no form 'cubic'" 'fit("cubic", { 1, 2 }, { 1, 2 })'
try "combine, correlations: 1 rows of 1, not 2 of 2" 'uncertainty.combine({ {standard=1}, {standard=1} }, 0.95, {{1}})'
try "propagate, covariance: 1 rows of 1, not 2 of 2" 'uncertainty.propagate({ {1, 2} }, { {1} })'
try "repeats: row 2 has 1 values, not 2" 'repeats { {1, 2}, {1} }'
try "lasting: 2 times and 1 of 'ended'" 'lasting { times = {1, 2}, ended = {true} }'
try "lasting: 'ended' 1 is a number" 'lasting { times = {1}, ended = {1} }'
try "log_rank wants 2 to 16 groups" 'log_rank { {times = {1}, ended = {true}} }'
try "which step is not said" 'logbook:readings()'
echo 'return 1' >none.lua
expect 1 "does not return an evaluation" "$PERDURE" evaluate none.lua
expect 2 "cannot be opened" "$PERDURE" evaluate nowhere.lua

# 4. Nothing was changed; also not asked of a working engine's logbook.
[ "$(sum)" = "$before" ] || fail "an evaluation changed the logbook"
echo 'return bench { title = "One", channels = { S1 = simulated {} } }' >bench.lua
begin_engine bench.lua
expect 0 "models deliver" "$PERDURE" evaluate "$top/demo/evaluation-rating.lua"
end_engine TERM
sound
finish
