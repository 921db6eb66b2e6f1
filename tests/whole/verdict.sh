#!/bin/sh
# The verdict over models, arms and time: simulated cells whose truth is known, so that the numbers are known
# too; trade facts; and a clear statement instead of a number wherever the data do not give one.
. "$(dirname "$0")/../support/whole.sh"

# ask FILE PATH: one value out of JSON, by a reader that is not ours.
ask() {
    sqlite3 -noheader :memory: "SELECT json_extract(readfile('$1'), '$2')"
}
# near NAME VALUE EXPECTED WITHIN
near() {
    echo "$2 $3 $4" | awk '{ d = $1 - $2; exit !($1 != "" && d <= $3 && d >= -$3) }' ||
        fail "$1 is $2, not $3 within $4"
}
# holds NAME LOW HIGH TRUTH: the interval has the truth in it, and is one.
holds() {
    echo "$2 $3 $4" | awk '{ exit !(NF == 3 && $1 < $3 && $3 < $2) }' || fail "$1: $2 to $3 does not hold $4"
}
table() {
    "$PERDURE" results "$@" --json >table.json || fail "results $*"
}

# 1. Two models, sixteen cells each, on sixteen channels whose truths lie about a known mean. Every cell takes the
# truth of the channel that it is first seen on, so each model has the sixteen truths, whoever gets which.
#   kestrel: 1.95 Ah of 2 Ah; k = 0.0017279 a day, exp(-42 k) = 0.93; fades by 0.0008 a cycle; 25 mohm, +0.1 % a cycle
#   pipit:   1.80 Ah of 2 Ah; k = 0.006 a day, exp(-42 k) = 0.777; fades by 0.0001 a cycle; 40 mohm
bench_of() { # NAME CAPACITY K FADE R0 GROWTH
    cat >"$1.lua" <<L
local channels = {}
for i = 1, 16 do
  local off = (i - 8.5) / 8.5 -- from -0.88 to 0.88, mean 0
  channels[("S%02d"):format(i)] = simulated {
    capacity = $2 * (1 + 0.01 * off), self_discharge = $3 * (1 + 0.01 * off), fade = $4,
    open_circuit = { { 0, "0.5 V" }, { 0.0001, "1.2 V" }, { 1, "1.4 V" } },
    r0 = $5 * (1 + 0.02 * off), growth = $6, efficiency = 1, knee = 0.999, soc_new = 0,
  }
end
return bench { title = "$1", channels = channels }
L
}
bench_of kestrel 1.95 0.0017279 0.0008 0.025 0.001
bench_of pipit 1.80 0.006 0.0001 0.040 0
cat >fifty.lua <<'L'
return protocol {
  title = "Fifty cycles",
  params = {},
  results = { delivered = "Ah" },
  run = function(cell)
    local delivered = 0
    for _ = 1, 50 do
      cell:charge { current = "0.5 It", stop = { time = "150 min" } }
      delivered = delivered + cell:discharge { current = "0.5 It", stop = { voltage = "1.0 V" } }.charge
    end
    record("delivered", delivered, "Ah")
  end,
}
L
cat >shelf.lua <<'L'
return study {
  title = "Shelf",
  params = {},
  run = function(s)
    local arms = s:split { shelf = 12 }
    s:perform("capacity", arms.shelf, { again = 1 })
    s:store(arms.shelf, { temperature = "20 degC" })
    for _, age in ipairs { "P7D", "P14D", "P28D", "P42D", "P84D", "P126D" } do
      s:wait(age)
      s:perform("drain", arms.shelf:draw(2))
    end
  end,
}
L
cat >service.lua <<'L'
return study {
  title = "Service",
  params = {},
  run = function(s)
    local arms = s:split { work = 4 }
    s:perform("capacity", arms.work, { again = 1 })
    s:perform("resistance", arms.work, { fill = 0 })
    for _ = 1, 6 do
      s:perform("fifty", arms.work)
      s:perform("capacity", arms.work, { again = 1 })
      s:perform("resistance", arms.work, { fill = 0 })
    end
  end,
}
L
new_logbook verdict
enrol() { # MODEL LETTER PRICE
    "$PERDURE" enrol --model "$1" --chemistry NiMH --rated "2000 mAh" --size AA --price "$3" \
        --labels "$(seq -f "$2-%02g" -s , 16)" >/dev/null
}
enrol "Kestrel 2000" K 3
enrol "Pipit 2000" P 2
for model in kestrel pipit; do
    [ $model = kestrel ] && letter=K || letter=P
    "$PERDURE" start shelf.lua --cells "$(seq -f $letter-%02g -s , 12)" >/dev/null
    "$PERDURE" start service.lua --cells "$(seq -f $letter-%02g -s , 13 16)" >/dev/null
    expect 0 '' "$PERDURE" engine --bench $model.lua --until-idle
done
[ "$(ask_logbook "SELECT count(*) FROM run WHERE state <> 'done'")" = 0 ] || fail "$("$PERDURE" runs)"
sound

# 2. By model. The t of 15 degrees of freedom at 97.5 % is 2.131 (printed tables of Student's t, from memory).
table --by model --name capacity
of_all='$[0]'
[ "$(ask table.json "$of_all.unit")" = Ah ] && [ "$(ask table.json "$of_all.cells")" = 16 ] || fail "$(cat table.json)"
mean=$(ask table.json "$of_all.mean")
sd=$(ask table.json "$of_all.sd")
near "mean capacity" "$mean" 1.95 0.006
near "its spread" "$sd" 0.0109 0.001
near "the end of its interval" "$(ask table.json "$of_all.high")" \
    "$(echo "$mean $sd" | awk '{ print $1 + 2.131 * $2 / 4 }')" 0.00001
near "mean by SQL" "$mean" "$(ask_logbook "SELECT avg(value) FROM (SELECT value, min(result.at) FROM result
    JOIN cell ON cell.id = result.cell WHERE name = 'capacity' AND label LIKE 'K%' GROUP BY label)")" 1e-9
[ "$(sqlite3 -noheader :memory: "SELECT count(DISTINCT json_extract(value, '$.arm')) FROM json_each(readfile('table.json'))")" = 2 ] ||
    fail "the arms are not told apart: $(cat table.json)"
# They stand in one order, whichever cell of a model is in which.
order_of() { sqlite3 -noheader :memory: "SELECT group_concat(json_extract(value, '$.arm')) FROM json_each(readfile('table.json'))
    WHERE json_extract(value, '$.model') LIKE '$1%' AND json_extract(value, '$.unit') = 'Ah'"; }
cp verdict.perdure arms.perdure
sqlite3 arms.perdure "UPDATE placement SET cell = 57 - cell WHERE cell > 20"
PERDURE_LOGBOOK=$work/arms.perdure table --by model --name capacity
[ "$(order_of Kestrel)" = shelf,work ] && [ "$(order_of Pipit)" = shelf,work ] ||
    fail "the order of arms: $(order_of Kestrel), then $(order_of Pipit)"
table --by model --name capacity
expect 0 'shelf' "$PERDURE" results --by model
grep -q 'remaining@42d' out.txt || fail "the ages are not told apart: $(cat out.txt)"
expect 0 "each cell's first capacity" "$PERDURE" results --by model

# 3. Retention. A cell that lost 7 % in 42 days loses 0.167 % a day on average (common practice, no source: 7 / 42).
table --retention
near "left at 42 d" "$(ask table.json '$[0].ages[3].left_percent')" 93 0.6
near "loss a day" "$(ask table.json '$[0].ages[3].loss_percent_a_day')" 0.1667 0.012
holds "loss a day" "$(ask table.json '$[0].ages[3].loss_low')" "$(ask table.json '$[0].ages[3].loss_high')" \
    "$(ask table.json '$[0].ages[3].loss_percent_a_day')"
near "ends of its interval" "$(ask table.json '$[0].ages[3].loss_low')" "$(ask table.json '$[0].ages[3].high' | awk '{ print (100 - $1) / 42 }')" 0.001
near "its age" "$(ask table.json '$[0].ages[3].days')" 42 0.1
near "left at 84 d, the other model" "$(ask table.json '$[1].ages[4].left_percent')" 60.4 1.5
[ "$(ask table.json '$[0].courses[2].form')" = "power of time" ] && [ "$(ask table.json '$[1].courses[1].taken')" = 1 ] ||
    fail "an exponential is found again: $(ask table.json '$[1].courses')"
near "its rate" "$(ask table.json '$[1].courses[1].parameters[1]')" 0.006 0.0002
# A year on: by the exponential that it is, which stands in the table also where another form does as well so far.
year() { sqlite3 -noheader :memory: "SELECT json_extract(value, '\$.$2') FROM json_each(readfile('table.json'), '\$[$1].forecast')
    WHERE json_extract(value, '\$.form') = 'exponential' LIMIT 1"; }
holds "forecast of a year" "$(year 0 low)" "$(year 0 high)" "$(awk 'BEGIN { print 100 * exp(-365.25 * 0.0017279) }')"
holds "forecast of a year, the other model" "$(year 1 low)" "$(year 1 high)" "$(awk 'BEGIN { print 100 * exp(-365.25 * 0.006) }')"
[ "$(ask table.json '$[0].forecast[0].extrapolated')" = 1 ] || fail "a forecast is not called one"
near "stored at" "$(ask table.json '$[0].checks[0].temperature_degC')" 20 0
expect 0 'own fresh capacity' "$PERDURE" results --retention
grep -q 'Days count as they are' out.txt || fail "a rule for temperature that nobody gave"
# Ten degrees warmer at twice the speed: the same checks count for half of the days.
expect 0 'for every 10 K more' "$PERDURE" results --retention --warming 2@30degC
"$PERDURE" results --retention --warming 2@30degC --json >warm.json
near "rate at 30 degC" "$(ask warm.json '$[1].courses[1].parameters[1]')" 0.012 0.0004

# 4. Wear. Capacity falls on a line: 80 % of the rating at (0.975 - 0.8) / 0.0008 = 219 cycles, 60 % at 469.
table --wear
# Four cells of the sixteen: what they began with says where they end.
first=$(ask table.json '$[0].capacity.first_Ah')
near "what they began with" "$first" 1.95 0.02
truth=$(echo "$first" | awk '{ print ($1 / 2 - 0.8) / 0.0008 + 1 }')
near "cycles to 80 %" "$(ask table.json '$[0].levels[0].fitted_cycles')" "$truth" 3
holds "cycles to 80 %" "$(ask table.json '$[0].levels[0].low')" "$(ask table.json '$[0].levels[0].high')" "$truth"
near "cycles to 60 %" "$(ask table.json '$[0].levels[1].fitted_cycles')" "$(echo "$truth" | awk '{ print $1 + 250 }')" 3
near "cycles to 80 % of the other" "$(ask table.json '$[1].levels[0].fitted_cycles')" 1000 100
[ "$(ask table.json '$[0].levels[0].cells_reached')" = 4 ] && [ "$(ask table.json '$[0].levels[0].extrapolated')" = 0 ] &&
    [ "$(ask table.json '$[0].levels[1].cells_reached')" = 0 ] && [ "$(ask table.json '$[0].levels[1].extrapolated')" = 4 ] ||
    fail "what was seen and what is beyond the data: $(ask table.json '$[0].levels')"
near "half of the cells by" "$(ask table.json '$[0].levels[0].median_cycles')" 219 16
near "Ah lost a cycle" "$(ask table.json '$[0].capacity.Ah_per_cycle')" -0.0016 0.00002
# A healthy AA nickel cell has some tens of milliohms, more with use (common practice, no source).
near "fresh resistance" "$(ask table.json '$[0].resistance.before_ohm')" 0.025 0.0008
cycles=$(ask table.json '$[0].capacity.cycles_most')
near "its rise" "$(ask table.json '$[0].resistance.change_percent')" "$(echo "$cycles" | awk '{ print 0.1 * ($1 - 1) * 2 / 1.95 }')" 1
echo "$(ask table.json '$[0].resistance.p')" | awk '{ exit !($1 < 0.001) }' || fail "a rise by a quarter is not seen"

# 5. Ranking: every criterion says what it took.
expect 0 "each cell's first capacity, of its rating; 32 cells" "$PERDURE" rank
grep -q 'remaining@126d.*, 12.*days after the charge' out.txt || fail "the oldest common age: $(cat out.txt)"
grep -q 'Not ranked by cost: Pipit 2000 has no such value' out.txt || fail "why not by cost: $(cat out.txt)"
"$PERDURE" rank --by capacity,worn,remaining@42d=2,resistance_worn --json >rank.json
[ "$(ask rank.json '$.models[0].model')" = "Kestrel 2000" ] || fail "$(cat rank.json)"
near "fresh in the ranking" "$(ask rank.json '$.models[0].by_capacity.mean')" 97.3 0.3
near "worn in the ranking" "$(ask rank.json '$.models[0].by_worn.mean')" "$(ask table.json '$[0].capacity.last_percent_of_rating')" 1e-9
near "weight" "$(ask rank.json '$.criteria[2].weight')" 2 0
near "left in the ranking" "$(ask rank.json '$.models[0]."by_remaining@42d".mean')" 93 0.6
# Price by what it buys: 3 for 1.946 Ah at 1.29 V; 3 for 219 cycles of 2 Ah at 1.29 V.
"$PERDURE" rank --by price --json >rank.json
near "price a Wh" "$(ask rank.json '$.models[1].by_price.mean')" 1.195 0.01
near "the price of a cell" "$(ask rank.json '$.models[1].price_of_cell')" 3 0
# The column of the criterion shows that, and not what a cell costs.
"$PERDURE" rank --by price >out.txt || fail "rank --by price"
near "price a Wh in the table" "$(awk '$2 " " $3 == "Kestrel 2000" { print $(NF - 4) }' out.txt)" 1.195 0.01
[ "$(ask rank.json '$.models[0].model')" = "Pipit 2000" ] || fail "the cheaper one: $(cat rank.json)"
expect 1 'Pipit 2000 has no such value' "$PERDURE" rank --by cost
table --by model --name cost
near "cost a Wh" "$(ask table.json '$[0].mean')" 0.00531 0.0004
expect 1 'no cell on record is in an arm' "$PERDURE" rank --arm attic
expect 0 '24 cells' "$PERDURE" rank --by capacity --arm shelf
expect 2 'no criterion of this name' "$PERDURE" rank --by colour
expect 2 'it is no age' "$PERDURE" rank --by remaining@soon
expect 2 'it has no age' "$PERDURE" rank --by capacity@42d
expect 2 'named twice' "$PERDURE" rank --by capacity,capacity
expect 2 'it is no weight' "$PERDURE" rank --by capacity=-1
expect 1 'more than 16 criteria' "$PERDURE" rank --by "$(seq -f remaining@%gd -s , 17)"
expect 1 'no cell was opened at an age of 60 days' "$PERDURE" rank --by remaining@60d,capacity

# 6. The report has the same tables.
expect 0 '' "$PERDURE" report -o verdict.html
xmllint --noout --nonet verdict.html || fail "the report is not well-formed"
for words in 'Cells about their mean' 'Charge left after storage' 'Courses that were fitted to it' Forecast 'Capacity over cycles' \
    'Cycles to a level of capacity' 'Resistance before and after'; do
    grep -q "<h3>$words</h3>" verdict.html || fail "not in the report: $words"
done

# 7. Invented records, for what no simulated cell does.
day() { awk "BEGIN { printf \"%.0f\", ($1) * 86400e6 }"; }
# charged LABEL DAY: a charge that ended then.
charged() {
    ask_logbook "INSERT INTO step (run, segment, n, cell, channel, kind, how, plan, started_at)
        SELECT 1, 0, 1, id, 'A1', 'charge', 'simulated', '{}', $(day "$2 - 0.1") FROM cell WHERE label = '$1';
        INSERT INTO outcome (step, at, ended_at, samples, charge, gaps, gap_time)
        SELECT max(id), 0, $(day "$2"), 0, 7200, 0, 0 FROM step"
}
# measured LABEL CHANNEL DAY NAME VALUE UNIT: a run, a discharge that began then, and its result.
measured() {
    ask_logbook "INSERT OR IGNORE INTO script VALUES ('0', 'invented', '');
        INSERT INTO run (kind, script_name, script_hash, params, cell, channel, seed, state, queued_at, ended_at)
        SELECT 'protocol', 'invented', '0', '{}', id, '$2', '1', 'done', 0, 1 FROM cell WHERE label = '$1';
        INSERT INTO step (run, segment, n, cell, channel, kind, how, plan, started_at)
        SELECT max(run.id), 0, 1, run.cell, '$2', 'discharge', 'simulated', '{}', $(day "$3") FROM run WHERE id = (SELECT max(id) FROM run);
        INSERT INTO outcome (step, at, ended_at, samples, charge, gaps, gap_time)
        SELECT max(id), 0, $(day "$3 + 0.1"), 0, 3600 * $5, 0, 0 FROM step;
        INSERT INTO result (run, segment, n, cell, step, name, value, unit, how, at)
        SELECT run, 0, 1, cell, id, '$4', $5, '$6', 'simulated', $(day "$3 + 0.1") FROM step WHERE id = (SELECT max(id) FROM step)"
}
cells_of() { # MODEL RATED LABELS
    "$PERDURE" enrol --model "$1" --chemistry NiMH --rated "$2" --size AA --labels "$3" >/dev/null
}

# One cell only; zero spread; an outlier, marked and kept; ratings mixed; nothing at all.
new_logbook odd
expect 1 'no such result of a cell' "$PERDURE" results --by model
expect 1 'measured fresh, charged, stored' "$PERDURE" results --retention
expect 1 '10 cycles or more' "$PERDURE" results --wear
expect 1 'no run of a reference cell' "$PERDURE" results --channels
expect 1 'no run of a reference cell' "$PERDURE" results --correct
expect 1 'nothing on record that all models have' "$PERDURE" rank
cells_of Lone "2000 mAh" L-1
cells_of Even "1900 mAh" E-1,E-2,E-3
cells_of Odd "2000 mAh" O-1,O-2,O-3,O-4,O-5,O-6,O-7,O-8
measured L-1 A1 1 capacity 1.9 Ah
for cell in 1 2 3; do measured E-$cell A1 1 capacity 1.8 Ah; done
for cell in 1 2 3 4 5 6 7; do measured O-$cell A1 1 capacity 1.9$cell Ah; done
measured O-8 A1 1 capacity 1.2 Ah
table --by model --name capacity
one() { sqlite3 -noheader :memory: "SELECT json_extract(value, '\$.$2') FROM json_each(readfile('table.json'))
    WHERE (json_extract(value, '\$.model') = '$1' OR json_extract(value, '\$.size') = '$1') AND json_extract(value, '\$.unit') = 'Ah'"; }
one Lone statement | grep -q 'one cell only' && near "one cell" "$(one Lone mean)" 1.9 1e-9 && [ -z "$(one Lone low)" ] || fail "one cell: $(cat table.json)"
one Even statement | grep -q 'do not differ at all' && near "no spread" "$(one Even sd)" 0 0 && [ -z "$(one Even high)" ] || fail "no spread: $(cat table.json)"
[ "$(one Odd 'outliers[0].cell')" = O-8 ] && [ "$(one Odd cells)" = 8 ] || fail "an outlier is marked and kept: $(cat table.json)"
near "the mean has it" "$(one Odd mean)" "$(awk 'BEGIN { print (1.91+1.92+1.93+1.94+1.95+1.96+1.97+1.2)/8 }')" 1e-9
expect 0 'O-8 (1.2)' "$PERDURE" results --by model
expect 0 'different rated capacity' "$PERDURE" results --by size
table --by size --name capacity
[ -z "$(one AA mean)" ] && [ "$(one AA cells)" = 12 ] || fail "ratings are mixed: $(cat table.json)"
expect 0 'cannot be said' "$PERDURE" rank --by capacity
ask_logbook "UPDATE result SET value = 9e999 WHERE cell = (SELECT id FROM cell WHERE label = 'O-8')"
expect 0 'a value is missing or is not a number' "$PERDURE" results --by model
expect 1 'not a number' "$PERDURE" rank --by capacity

# Which is best is another question by the part of a rating than by the charge: 1.98 Ah of 2, 2.375 Ah of 2.5.
new_logbook absolute
cells_of Small "2000 mAh" S-1,S-2,S-3
cells_of Large "2500 mAh" G-1,G-2,G-3
for cell in 1 2 3; do
    measured S-$cell A1 1 capacity 1.98$cell Ah
    measured G-$cell A1 1 capacity 2.375$cell Ah
done
"$PERDURE" rank --by capacity --json >rank.json
[ "$(ask rank.json '$.models[0].model')" = Small ] || fail "by the part of the rating: $(cat rank.json)"
"$PERDURE" rank --by capacity_Ah --json >rank.json || fail "rank --by capacity_Ah"
[ "$(ask rank.json '$.models[0].model')" = Large ] || fail "by the charge: $(cat rank.json)"
near "the charge of the first" "$(ask rank.json '$.models[0].by_capacity_Ah.mean')" 2.3752 1e-9
[ "$(ask rank.json '$.models[0].by_capacity_Ah.unit')" = Ah ] || fail "its unit: $(cat rank.json)"
expect 0 'capacity_Ah / Ah' "$PERDURE" rank --by capacity_Ah
table --by model --name capacity_Ah
near "the charge by model" "$(one Small mean)" 1.982 1e-9
expect 0 '' "$PERDURE" results --by model
! grep -q capacity_Ah out.txt || fail "the charge is told twice: $(cat out.txt)"
expect 0 '' "$PERDURE" rank
! grep -q capacity_Ah out.txt || fail "it is among the usual criteria: $(cat out.txt)"
expect 0 '' "$PERDURE" plot ranking --by capacity_Ah -o absolute.svg
grep -q 'Large comes first: 2.38' absolute.svg || fail "the chart by the charge"

# More models than are compared at once.
new_logbook many
ask_logbook "INSERT INTO script VALUES ('0', 'invented', '');
    CREATE TEMP TABLE number AS WITH RECURSIVE n (i) AS (SELECT 100 UNION ALL SELECT i + 1 FROM n WHERE i < 164) SELECT i FROM n;
    INSERT INTO model (id, name, size, chemistry, rated_charge) SELECT i, 'M' || i, 'AA', 'NiMH', 7200 FROM number;
    INSERT INTO cell (id, label, model, enrolled_at) SELECT i, 'M-' || i, i, 0 FROM number;
    INSERT INTO run (id, kind, script_name, script_hash, params, cell, seed, state, queued_at, ended_at)
        SELECT i, 'protocol', 'invented', '0', '{}', i, '1', 'done', 0, 1 FROM number;
    INSERT INTO result (run, segment, n, cell, name, value, unit, how, at)
        SELECT i, 0, 1, i, 'capacity', 1.5 + i / 1000.0, 'Ah', 'simulated', i FROM number"
expect 1 'more than 64 models' "$PERDURE" rank
expect 1 'more than 64 models' "$PERDURE" rank --by capacity
ask_logbook "DELETE FROM result WHERE run = 100"
expect 0 'M164' "$PERDURE" rank --by capacity

# Storage without a charge, without a fresh capacity, against the set's; at one age; before its charge.
new_logbook stored
cells_of Wren "2000 mAh" W-1,W-2,W-3,W-4,W-5,W-6,W-7,W-8
cells_of Bare "2000 mAh" B-1,B-2
measured W-1 A1 100 remaining 1.7 Ah
expect 1 'no charge before it' "$PERDURE" results --retention
charged B-1 10
charged B-2 10
measured B-1 A1 52 remaining 1.7 Ah
measured B-2 A1 52 remaining 1.7 Ah
expect 0 'no fresh reference' "$PERDURE" results --retention
grep -q 'there is no fresh capacity to compare with' out.txt || fail "$(cat out.txt)"
# W-5 to W-8 were never measured fresh: the mean of the four that were stands for them.
for cell in 1 2 3 4; do
    measured W-$cell A1 10 capacity 1.9$cell Ah
    charged W-$cell 110
    measured W-$cell A1 152 remaining 1.8$cell Ah
done
for cell in 5 6 7 8; do
    charged W-$cell 110
    measured W-$cell A1 152 remaining 1.8$cell Ah
done
expect 0 'mean of set' "$PERDURE" results --retention
grep -q 'everything was measured at one time' out.txt || fail "one age is no course: $(cat out.txt)"
table --retention
one_check() { sqlite3 -noheader :memory: "SELECT json_extract(one.value, '\$.$2') FROM json_each(readfile('table.json')) AS model,
    json_each(model.value, '\$.checks') AS one WHERE json_extract(one.value, '\$.cell') = '$1'"; }
[ "$(one_check W-8 compared_with)" = set ] && near "the set's" "$(one_check W-8 fresh_Ah)" 1.925 1e-9 || fail "$(one_check W-8 compared_with)"
[ "$(one_check W-2 compared_with)" = cell ] && near "its own" "$(one_check W-2 fresh_Ah)" 1.92 1e-9 || fail "$(one_check W-2 compared_with)"
ask_logbook "UPDATE step SET started_at = started_at - $(day 60) WHERE id = (SELECT step FROM result JOIN cell ON cell.id = result.cell WHERE label = 'W-4' AND name = 'remaining')"
expect 0 'a time lies before the start' "$PERDURE" results --retention
# Low-self-discharge cells keep most of their charge for a year (common practice, no source): 1 - 0.012 sqrt(days).
new_logbook slow
cells_of Swift "2000 mAh" "$(seq -f S-%g -s , 12)"
i=0
for age in 7 14 28 42 84 168; do
    for half in 1 2; do
        i=$((i + 1))
        measured S-$i A1 1 capacity 2 Ah
        charged S-$i 2
        measured S-$i A1 $((age + 2)) remaining "$(awk "BEGIN { print 2 * (1 - 0.012 * sqrt($age)) + ($half - 1.5) * 0.004 }")" Ah
    done
done
table --retention
[ "$(ask table.json '$[0].courses[2].taken')" = 1 ] || fail "a power of time is found again: $(ask table.json '$[0].courses')"
near "its power" "$(ask table.json '$[0].courses[2].parameters[2]')" 0.5 0.06
holds "a year" "$(ask table.json '$[0].forecast[0].low')" "$(ask table.json '$[0].forecast[0].high')" 77.07
near "a year" "$(ask table.json '$[0].forecast[0].left_percent')" 77 3

# The same cells against the mean of four others, which is itself unsure by 1.9 % of it: t of 3 degrees 3.182 (printed
# tables, from memory), so that no forecast is surer than 77 % x 0.019 x 3.182 = 4.7 % either way.
narrow=$(ask table.json '$[0].forecast[0].high' | awk '{ print $1 - 77 }')
ask_logbook "DELETE FROM result WHERE name = 'capacity'"
cells_of Swift "2000 mAh" T-1,T-2,T-3,T-4
for cell in 1 2 3 4; do measured T-$cell A1 1 capacity "$(awk "BEGIN { print 2 + 0.06 * ($cell - 2.5) }")" Ah; done
table --retention
wide=$(echo "$(ask table.json '$[0].forecast[0].high') $(ask table.json '$[0].forecast[0].left_percent')" | awk '{ print $1 - $2 }')
echo "$wide $narrow" | awk '{ exit !($1 > 4.6 && $1 > $2) }' || fail "the fresh set's uncertainty is not in the forecast: $wide, $narrow"

# Service with too few checks for a fit.
new_logbook few
cells_of Short "1000 mAh" H-1,H-2
for cell in 1 2; do
    measured H-$cell A1 1 capacity 0.9$cell Ah
    measured H-$cell A1 2 delivered 50 Ah
    measured H-$cell A1 9 capacity 0.8$cell Ah
done
expect 0 'not enough data' "$PERDURE" results --wear
table --wear
near "its loss" "$(ask table.json '$[0].capacity.last_Ah')" 0.815 1e-9
[ -z "$(ask table.json '$[0].levels[0].fitted_cycles')" ] || fail "a fit through two points: $(ask table.json '$[0].levels')"

# Cells that give more and more do not wear out.
cells_of Rising "1000 mAh" G-1,G-2
for cell in 1 2; do
    for check in 1 2 3; do
        measured G-$cell A1 $((10 * check)) capacity 0.9$check Ah
        measured G-$cell A1 $((10 * check + 1)) delivered 20 Ah
    done
done
table --wear
ask table.json '$[1].levels[0].statement' | grep -q 'the level is not reached' || fail "a cell that does not fade: $(ask table.json '$[1].levels')"

# Prices in two currencies are not compared.
new_logbook money
for model in Florin Crown; do
    "$PERDURE" enrol --model $model --chemistry NiMH --rated "2000 mAh" --size AA --price 3 --currency "$(echo $model | cut -c1 | sed 's/F/FLN/; s/C/CRN/')" \
        --labels "$(echo $model | cut -c1)-1,$(echo $model | cut -c1)-2" >/dev/null
done
for cell in F-1 F-2 C-1 C-2; do
    measured $cell A1 1 energy 2.${cell#*-} Wh
done
expect 0 'FLN/Wh' "$PERDURE" results --by model
expect 0 'no price, for its prices are in several currencies' "$PERDURE" results --by size
expect 1 'several currencies' "$PERDURE" rank --by price

# 8. Channels. Three reference cells on four channels, twice; A1 reads 1 % high, A2 1 % low, A3 2 mV high.
new_logbook channels
cells_of Standard "2000 mAh" R-1,R-2,R-3
cells_of Kite "2000 mAh" Q-1,Q-2,Q-3,Q-4
ask_logbook "UPDATE cell SET reference = 1 WHERE label LIKE 'R-%'"
n=0
for turn in 1 2; do
    for cell in 1 2 3; do
        for channel in 1 2 3 4; do
            n=$((n + 1))
            jitter="(($n * 37 % 11) - 5) / 5"
            gain=$(awk "BEGIN { print ($channel == 1) * 0.01 - ($channel == 2) * 0.01 + 0.0005 * $jitter }")
            measured R-$cell A$channel $n reference_capacity "$(awk "BEGIN { print (1.9 + 0.02 * $cell) * (1 + $gain) }")" Ah
            measured R-$cell A$channel $n reference_voltage "$(awk "BEGIN { print 1.3 + ($channel == 3) * 0.002 + 0.0001 * $jitter }")" V
        done
    done
done
for cell in 1 2 3 4; do
    measured Q-$cell A$cell 50 capacity "$(awk "BEGIN { print 1.95 + 0.001 * $cell + ($cell == 1) * 0.0195 - ($cell == 2) * 0.0195 }")" Ah
    measured Q-$cell A$cell 50 mean_voltage "$(awk "BEGIN { print 1.25 + ($cell == 3) * 0.002 }")" V
done
expect 0 'The channels differ' "$PERDURE" results --channels
table --channels
near "A1 reads high" "$(ask table.json '$[0].channels[0].bias_percent')" 1 0.05
near "A2 reads low" "$(ask table.json '$[0].channels[1].bias_percent')" -1 0.05
near "A3, in mV" "$(ask table.json '$[1].channels[2].bias_mV')" 1.5 0.1
holds "A1" "$(ask table.json '$[0].channels[0].low')" "$(ask table.json '$[0].channels[0].high')" 1
# Reference cells compete with none, also with a capacity on record; nor do they stand for a model's fresh cells.
measured R-1 A4 49 capacity 1.5 Ah
expect 0 'Kite' "$PERDURE" results --by model
! grep -q Standard out.txt || fail "reference cells compete: $(cat out.txt)"
table --by size --name capacity
[ "$(one AA cells)" = 4 ] || fail "a reference cell is among the others: $(cat table.json)"
cp channels.perdure fresh.perdure
PERDURE_LOGBOOK=$work/fresh.perdure
ask_logbook "UPDATE cell SET model = (SELECT id FROM model WHERE name = 'Kite') WHERE label = 'R-1'"
cells_of Kite "2000 mAh" Q-9
charged Q-9 60
measured Q-9 A4 102 remaining 1.8 Ah
table --retention
near "the set of Q-9" "$(one_check Q-9 fresh_Ah)" "$(ask_logbook "SELECT avg(value) FROM result JOIN cell ON cell.id = result.cell
    WHERE name = 'capacity' AND label LIKE 'Q%'")" 1e-9
PERDURE_LOGBOOK=$work/channels.perdure
expect 0 'Corrected: 8 values' "$PERDURE" results --correct
"$PERDURE" results --correct --json --name capacity >fixed.json
near "a corrected value" "$(ask fixed.json '$[0].value')" 1.951 0.001
near "its own unit" "$(ask fixed.json '$[0].percent_of_rating')" 97.55 0.05
[ "$(ask fixed.json '$[0].corrected')" = 1 ] || fail "$(cat fixed.json)"
echo "$(ask fixed.json '$[0].correction_uncertainty')" | awk '{ exit !($1 > 0 && $1 < 0.002) }' || fail "its uncertainty: $(cat fixed.json)"
table --by model --name capacity
raw=$(one Kite sd)
table --by model --name capacity --correct
echo "$raw $(one Kite sd)" | awk '{ exit !($2 < $1 / 5) }' || fail "the spread of the channels is still there: $raw, $(one Kite sd)"
half=$(echo "$(one Kite high) $(one Kite mean)" | awk '{ print $1 - $2 }')
echo "$half $(one Kite sd)" | awk '{ exit !($1 > 1.01 * 3.182 * $2 / 2) }' || fail "the uncertainty of the bias is not in the interval"
cells_of Wisp "2000 mAh" X-1,X-2
measured X-1 A3 50 capacity 1.7 Ah
measured X-2 A4 50 capacity 1.72 Ah
expect 0 'Corrected:' "$PERDURE" rank --by capacity --correct
# A channel that no reference cell was on; channels without a cell in common.
measured Q-1 A9 60 capacity 1.9 Ah
expect 0 '1 value in Ah or V stays as measured' "$PERDURE" results --correct
ask_logbook "DELETE FROM result WHERE name LIKE 'reference%' AND run IN (SELECT run.id FROM run JOIN cell ON cell.id = run.cell
    WHERE (label = 'R-1') <> (run.channel = 'A1'))"
expect 0 'no reference cell in common' "$PERDURE" results --channels
expect 0 'Nothing is taken off a charge' "$PERDURE" results --correct

# The whole way: the shipped study over three channels, of which S1 reads 1 % too much current and S2 3 mV too much.
new_logbook study
cat >bench.lua <<'L'
return bench { title = "Three", channels = {
  S1 = simulated { chemistry = "NiMH", misreads = { current = "1 %" } },
  S2 = simulated { chemistry = "NiMH", misreads = { voltage = "3 mV" } },
  S3 = simulated { chemistry = "NiMH" },
} }
L
"$PERDURE" enrol --model Standard --chemistry NiMH --rated "2000 mAh" --size AA --labels R-1,R-2,R-3 --reference >/dev/null
"$PERDURE" start study-channels --cells R-1,R-2,R-3 --set channels="S1 S2 S3" >/dev/null
expect 0 '' "$PERDURE" engine --bench bench.lua --until-idle
table --channels
bias() { sqlite3 -noheader :memory: "SELECT json_extract(value, '\$.$3') FROM json_each(readfile('table.json'), '\$[$1].channels')
    WHERE json_extract(value, '\$.channel') = '$2'"; }
near "S1 against the mean of the three" "$(bias 0 S1 bias_percent)" 0.667 0.2
near "S2, in mV" "$(bias 1 S2 bias_mV)" 2 1
holds "S1" "$(bias 0 S1 low)" "$(bias 0 S1 high)" 0.667
"$PERDURE" start capacity --cells T-01,T-02,T-03 >/dev/null
expect 0 '' "$PERDURE" engine --bench bench.lua --until-idle
expect 0 'Corrected: 9 values' "$PERDURE" results --correct

# 9. A protocol is the same one whether a person starts it by its file or a study by its name.
new_logbook same
"$PERDURE" enrol --model Wader --chemistry NiMH --rated "2000 mAh" --size AA --labels W-1,W-2 >/dev/null
"$PERDURE" start resistance --cells W-1,W-2 >/dev/null
expect 0 '' "$PERDURE" engine --bench bench.lua --until-idle
cat >lamps.lua <<'L'
return study { title = "Lamps", run = function(s)
  s:perform("cycles", s.cells, { count = 15 })
  s:perform("resistance", s.cells)
end }
L
"$PERDURE" start lamps.lua --cells W-1,W-2 >/dev/null
expect 0 '' "$PERDURE" engine --bench bench.lua --until-idle
table --wear
[ "$(ask table.json '$[0].resistance.cells')" = 2 ] || fail "before and after: $(cat table.json)"

# 10. Words that do not go together.
expect 1 'no cell of this label' "$PERDURE" results --cell T-99
expect 1 'no such run' "$PERDURE" results --run 999
expect 1 'both a price and a discharge with its energy' "$PERDURE" rank --by price
expect 2 'one at a time' "$PERDURE" results --wear --retention
expect 2 'not grouped by this' "$PERDURE" results --by colour
expect 2 'for --retention only' "$PERDURE" results --wear --warming 2@20degC
expect 2 'write --warming' "$PERDURE" results --retention --warming hot
expect 2 'does not go with' "$PERDURE" results --by model --cell T-01
finish
