#!/bin/sh
# The figures of a verdict where they are easily wrong: criteria that count opposite ways, cells that read alike,
# units, one cell that counts twice, cells still going, few reference runs. Curves are imported, of a constant
# current, so that what is right can be worked out by hand.
. "$(dirname "$0")/../support/whole.sh"

PERDURE_LOGBOOK=$work/figures.perdure
export PERDURE_LOGBOOK
new() {
    PERDURE_LOGBOOK=$work/$1.perdure
    "$PERDURE" new >/dev/null
}
cells_of() { # MODEL LABELS OPTIONS...
    model=$1
    labels=$2
    shift 2
    "$PERDURE" enrol --model "$model" --chemistry NiMH --rated "2000 mAh" --size AA --labels "$labels" "$@" >/dev/null
}
# day N: N days (and parts of one) after 1 January 2024.
day() {
    date -u -d "2024-01-01 UTC + $(awk "BEGIN { printf \"%.0f\", 86400 * ($1) }") seconds" +%Y-%m-%dT%H:%M:%SZ
}
# Rows of a constant current from SECOND on: stretch SECOND CHARGE_Ah CURRENT_A; from 1.3 V to 1.1 V.
stretch() {
    awk "BEGIN { n = 10; t = 3600 * $2 / $3; if (t < 0) t = -t
        for (k = 0; k <= n; k++) printf \"%.6f,%.6f,%.6f\\n\", $1 + t * k / n, 1.3 - 0.2 * k / n, $3 }"
}
# taken LABEL DAY OPTIONS...: curve.csv on record.
taken() {
    label=$1
    began=$(day "$2")
    shift 2
    expect 0 'imported' "$PERDURE" import curve.csv --cell "$label" --time t:s --voltage U:V --current I:A \
        --began "$began" --again "$@"
}
# discharged LABEL DAY CHARGE [CURRENT [OPTIONS...]]; charged LABEL DAY.
discharged() {
    label=$1 when=$2
    { echo t,U,I && stretch 0 "$3" "-${4:-0.4}"; } >curve.csv
    if [ $# -gt 4 ]; then shift 4; else shift $#; fi
    taken "$label" "$when" "$@"
}
charged() {
    { echo t,U,I && stretch 0 2.2 0.44; } >curve.csv
    taken "$1" "$2"
}
ask() {
    sqlite3 -noheader :memory: "SELECT json_extract(readfile('$1'), '$2')"
}
near() { # NAME VALUE EXPECTED WITHIN
    echo "$2 $3 $4" | awk '{ d = $1 - $2; exit !(NF == 3 && d <= $3 && d >= -$3) }' || fail "$1 is $2, not $3 within $4"
}
table() {
    "$PERDURE" results "$@" --json >table.json || fail "results $*"
}

# 1. Most charge and least price a Wh put three models in one order: Kendall's W is 1 by its definition, and 1 more
# criterion that puts them the other way round makes it 1/9 (ranks 1 3 / 1 3 / 3 1: sums 5, 6, 7; S = 2; 12 S /
# (9 x 24) = 1/9).
new agree
cells_of Alpha A-1,A-2 --price 2
cells_of Beta B-1,B-2 --price 3
cells_of Gamma G-1,G-2 --price 4
for cell in A-1:2.00 A-2:2.01 B-1:1.90 B-2:1.91 G-1:1.80 G-2:1.81; do
    discharged "${cell%:*}" 1 "${cell#*:}" 0.4 --result capacity=discharge --result energy=discharge.energy
done
expect 0 "agree well with one another (Kendall's W 1.00" "$PERDURE" rank --by capacity,price
ask_logbook "INSERT INTO result (run, segment, n, cell, name, value, unit, how, at)
    SELECT run.id, 0, 99, cell.id, 'resistance', CASE substr(label, 1, 1) WHEN 'A' THEN 0.03 WHEN 'B' THEN 0.02 ELSE 0.01 END
        + 0.0001 * substr(label, 3), 'ohm', 'imported', run.ended_at FROM run JOIN cell ON cell.id = run.cell"
expect 0 "hardly agree with one another (Kendall's W 0.11" "$PERDURE" rank --by capacity,price,resistance
"$PERDURE" rank --by capacity,price,resistance --json >rank.json
near "the same as JSON" "$(ask rank.json '$.agreement.w')" 0.111111111 1e-6
[ "$(ask rank.json '$.criteria[1].better')" = less ] || fail "less of a price is better: $(cat rank.json)"

# 2. Two cells of a model read alike: how its cells scatter is not known, and no place is 100 % sure.
new alike
cells_of Alpha A-1,A-2
cells_of Beta B-1,B-2
for cell in A-1:2 A-2:2 B-1:1.5 B-2:1.5; do discharged "${cell%:*}" 1 "${cell#*:}" 0.4 --result capacity=discharge; done
expect 0 'How sure the places are cannot be said: the values do not differ at all' "$PERDURE" rank --by capacity
expect 0 '' "$PERDURE" report -o alike.html
grep -q 'how sure that is cannot be said' alike.html || fail "the report is sure of cells that read alike"

# 3. Protocols that declare other units of the same thing: 25 mohm and 0.030 ohm are 27.5 mohm on average, 1950 mAh
# and 1.9 Ah are 1.925 Ah. A name under which two things are on record is two rows.
new units
for unit in mohm:mAh:V:25:1950 ohm:Ah:s:0.030:1.9; do
    echo "$unit" | {
        IFS=: read -r ohm charge other r q
        cat >"$ohm.lua" <<L
return protocol { title = "Units", results = { resistance = "$ohm", capacity = "$charge", other = "$other" },
  run = function(cell)
    record("resistance", $r, "$ohm")
    record("capacity", $q, "$charge")
    record("other", 7, "$other")
  end }
L
    }
done
echo 'return bench { title = "One", channels = { S1 = simulated {} } }' >bench.lua
cells_of Alpha A-1,A-2
cells_of Beta B-1,B-2
for cell in 1 2; do
    for model in A B; do
        expect 0 done "$PERDURE" run "$([ $cell = 1 ] && echo mohm || echo ohm).lua" --cells $model-$cell --bench bench.lua
    done
done
table --by model
of() { sqlite3 -noheader :memory: "SELECT json_extract(value, '\$.$3') FROM json_each(readfile('table.json'))
    WHERE json_extract(value, '\$.model') = 'Alpha' AND json_extract(value, '\$.result') = '$1' AND json_extract(value, '\$.unit') = '$2'"; }
near "mean of 25 mohm and 0.030 ohm" "$(of resistance ohm mean)" 0.0275 1e-9
near "mean of 1950 mAh and 1.9 Ah" "$(of capacity Ah mean)" 1.925 1e-9
near "mean of them in percent" "$(of capacity % mean)" 96.25 1e-9
[ "$(of other V cells)" = 1 ] && [ "$(of other s cells)" = 1 ] || fail "two things of one name are one: $(cat table.json)"
"$PERDURE" rank --by resistance --json >rank.json
near "the same in the ranking" "$(ask rank.json '$.models[0].by_resistance.mean')" 0.0275 1e-9

# 4. One file, a whole story: 1.9 Ah fresh, a charge, 42 days, 1.767 Ah left, a charge, 1.88 Ah recovered. Each result
# is of the moment of its own step: 93 % was left after 42 days, 0.1667 % lost a day; the fresh check saw 0.95 cycles.
new story
cells_of Alpha A-1
{
    echo t,U,I
    stretch 0 2.2 0.4             # 19800 s
    stretch 20000 1.9 -0.4        # 17100 s
    stretch 40000 2.2 0.4
    printf '59860,1.3,0\n3688600,1.3,0\n'
    stretch 3688600.5 1.767 -0.4  # 42 days after the charge
    stretch 3710000 2.2 0.4
    stretch 3740000 1.88 -0.4
} >curve.csv
taken A-1 1 --result capacity=2 --result remaining=5 --result recovered=7
table --retention
near "its age" "$(ask table.json '$[0].ages[0].days')" 42 0.001
near "left" "$(ask table.json '$[0].ages[0].left_percent')" 93 0.001
near "lost a day" "$(ask table.json '$[0].ages[0].loss_percent_a_day')" 0.16667 0.0001
table --by model --name capacity
near "cycles at the fresh check" "$(ask table.json '$[0].values[0].cycles')" 0.95 1e-4
expect 0 '0 findings' "$PERDURE" audit

# 5. Two cells, each stored for 42 days three times over: two cells, and what one of them is on average has one degree
# of freedom, t 12.706 (printed tables, from memory). By age and by model the same two values.
new again
cells_of Alpha A-1,A-2
for cell in 1 2; do
    charged A-$cell 0
    discharged A-$cell 1 1.9$cell 0.4 --result capacity=discharge
    for turn in 1 2 3; do
        charged A-$cell $((50 * turn))
        discharged A-$cell "50 * $turn + 5 / 24 + 42" 1.7$((4 - turn))$((3 * cell)) 0.4 --result remaining=discharge
    done
done
table --retention
[ "$(ask table.json '$[0].ages[0].cells')" = 2 ] || fail "a cell counts as often as it was opened: $(cat table.json)"
high=$(ask table.json '$[0].ages[0].high')
left=$(ask table.json '$[0].ages[0].left_percent')
near "what was left" "$left" "$(awk 'BEGIN { print 50 * (1.713 / 1.91 + 1.716 / 1.92) }')" 1e-4
near "its interval" "$high" "$(awk 'BEGIN { a = 171.3 / 1.91; b = 171.6 / 1.92; d = a - b; print (a + b) / 2 + 12.706 * (d < 0 ? -d : d) / 2 }')" 0.001
table --by model --name remaining
near "the same by model" "$(sqlite3 -noheader :memory: "SELECT json_extract(value, '\$.mean') FROM json_each(readfile('table.json')) WHERE json_extract(value, '\$.unit') = '%'")" "$left" 1e-9
expect 0 '4 checks not in the table by age' "$PERDURE" results --retention
# Opened the moment the charge ended: what is left is known, a loss a day is not.
new at_once
cells_of Alpha A-1,A-2
for cell in 1 2; do
    discharged A-$cell 1 1.9$cell 0.4 --result capacity=discharge
    charged A-$cell 10
    discharged A-$cell "10 + 5 / 24" 1.8$cell 0.4 --result remaining=discharge
done
expect 0 'opened at once: there is no loss a day' "$PERDURE" results --retention
! grep -q 'no end' out.txt || fail "a loss over no time: $(cat out.txt)"

# 6. A model of which one cell is worn and the other hardly: what the worn one cost says nothing of the model, and no
# interval holds fewer than no cycles.
new going
cells_of Worn W-1,W-2 --price 4
cells_of Tough T-1,T-2 --price 4
life() { # LABEL FADE
    for check in 0 1 2 3; do
        q=$(awk "BEGIN { print 2 * (1 - $2 * 50 * $check) + 0.002 * sin(7 * $check) }")
        discharged "$1" $((20 * check)) "$q" 0.4 --result capacity=discharge --result energy=discharge.energy
        discharged "$1" $((20 * check + 2)) "100 - $q" 2
    done
}
life W-1 0.0016 && life W-2 0.0018
life T-1 0.0017 && life T-2 0.0002
table --wear
[ "$(ask table.json '$[1].levels[0].low')" = 0.0 ] || fail "fewer than no cycles: $(ask table.json '$[1].levels[0].low')"
near "the mean of its cells" "$(ask table.json '$[1].levels[0].fitted_cycles')" \
    "$(sqlite3 -noheader :memory: "SELECT avg(json_extract(value, '\$.cycles')) FROM json_each(readfile('table.json'), '\$[1].levels[0].each')")" 1e-6
expect 1 'some cells of Tough are still above 80 %' "$PERDURE" rank --by cost
expect 0 'Not ranked by cost: some cells of Tough' "$PERDURE" rank
table --by model --name cost
[ -n "$(ask table.json '$[0].mean')" ] && [ -z "$(ask table.json '$[1].mean')" ] || fail "cost of the worn: $(cat table.json)"
ask table.json '$[1].statement' | grep -q 'a mean of the others would mislead' || fail "$(ask table.json '$[1]')"

# 7. Two reference cells once on each of three channels leave 6 - 4 = 2 degrees of freedom to what is known of a bias:
# t 4.303 for 95 % (printed tables, from memory), not 1.96.
new bias
cells_of Standard R-1,R-2 --reference
cells_of Alpha A-1,A-2,A-3
n=0
for cell in 1 2; do
    for channel in 1 2 3; do
        n=$((n + 1))
        discharged R-$cell $n 1.95 0.4 --result reference_capacity=discharge
        ask_logbook "UPDATE run SET channel = 'C$channel' WHERE id = (SELECT max(id) FROM run);
            UPDATE result SET value = 1.95 + 0.01 * $channel + 0.004 * ($n % 2) WHERE run = (SELECT max(id) FROM run)"
    done
done
for cell in 1 2 3; do
    discharged A-$cell 20 1.9 0.4 --result capacity=discharge
    ask_logbook "UPDATE run SET channel = 'C$cell' WHERE id = (SELECT max(id) FROM run);
        UPDATE result SET value = 1.9 + 0.01 * $cell, uncertainty = 1e-6 WHERE run = (SELECT max(id) FROM run)"
done
"$PERDURE" results --correct --name capacity --json >fixed.json
near "freedom of a corrected value" "$(ask fixed.json '$[0].freedom')" 2 0.001
near "its coverage factor" "$(ask fixed.json '$[0].coverage')" 4.303 0.001
near "its uncertainty" "$(ask fixed.json '$[0].uncertainty')" "$(ask fixed.json '$[0].correction_uncertainty')" 1e-6
table --by model --name capacity --correct
near "freedom of the bias in a mean" "$(ask table.json '$[0].correction_freedom')" 2 0.001
# What is left of a charge, both measured on one channel: its gain is in both and cancels. Of two channels it does not: the
# biases of both have one standard uncertainty, as a part s of the charge, and the ratio sqrt(2) s of itself; half of it
# in the mean of two cells.
for cell in 1 2; do
    charged A-$cell 30
    discharged A-$cell 72 1.7 0.4 --result remaining=discharge
    ask_logbook "UPDATE run SET channel = 'C$cell' WHERE id = (SELECT max(id) FROM run)"
done
"$PERDURE" results --correct --name capacity --cell A-2 --json >fixed.json
s=$(echo "$(ask fixed.json '$[0].correction_uncertainty') $(ask fixed.json '$[0].value')" | awk '{ print $1 / $2 }')
percent() { sqlite3 -noheader :memory: "SELECT json_extract(value, '\$.$1') FROM json_each(readfile('table.json')) WHERE json_extract(value, '\$.unit') = '%'"; }
table --by model --name remaining --correct
near "of one channel" "$(percent correction_uncertainty)" 0 1e-9
ask_logbook "UPDATE run SET channel = 'C3' WHERE id = (SELECT max(id) FROM run)"
table --by model --name remaining --correct
near "of two channels" "$(percent correction_uncertainty)" "$(echo "$(percent values[1].value) $s" | awk '{ print $1 * sqrt(2) * $2 / 2 }')" 0.001
# A voltage's bias of a microvolt or so, known to a tenth of that, is not known to 0.000 mV.
ask_logbook "INSERT INTO result (run, segment, n, cell, name, value, unit, how, at)
    SELECT run, 0, 99, result.cell, 'reference_voltage', 1.3 + 1e-6 * substr(channel, 2) + 1e-7 * (run % 2), 'V', result.how, at
    FROM result JOIN run ON run.id = result.run WHERE name = 'reference_capacity'"
expect 0 '' "$PERDURE" results --channels
! grep -q ' 0\.000 ' out.txt || fail "an uncertainty of nought: $(cat out.txt)"

# 8. A gap in one of two discharges: its charge is less than what came out, and wherever it is counted that is said. A
# result of a step that must not be used is not counted.
new gap
cells_of Alpha A-1,A-2,A-3
cells_of Beta B-1,B-2
for cell in A-1:1.91 A-2:1.92 A-3:1.00 B-1:1.80 B-2:1.81; do discharged "${cell%:*}" 1 "${cell#*:}" 0.4 --result capacity=discharge; done
ask_logbook "UPDATE result SET flags = 'gap corrected' WHERE cell = (SELECT id FROM cell WHERE label = 'A-2');
    UPDATE result SET flags = 'void' WHERE cell = (SELECT id FROM cell WHERE label = 'A-3')"
table --by model --name capacity
near "the mean without the void one" "$(ask table.json '$[0].mean')" 1.915 1e-6
[ "$(ask table.json '$[0].values[1].gap')" = 1 ] && [ "$(ask table.json '$[0].values[0].gap')" = 0 ] || fail "gaps: $(cat table.json)"
expect 0 '2 of the values have a gap' "$PERDURE" results --by model
grep -q '1 result of steps that must not be used (void) left out' out.txt || fail "$(cat out.txt)"
expect 0 '4 cells, after 0.9 to 1.0 cycles, 1 of them with a gap' "$PERDURE" rank --by capacity
charged A-2 10
discharged A-2 52 1.8 0.4 --result remaining=discharge
expect 0 '1 of the values has a gap' "$PERDURE" results --retention
"$PERDURE" report -o gap.html >/dev/null
grep -q '1 of them with a gap' gap.html && grep -q 'of the values have a gap' gap.html || fail "the report does not say it"

# 9. Pictures say the same. What flowed in a gap is in no result, and in no curve: of a discharge of 2 Ah at 0.4 A an
# hour, 0.4 Ah, is not in the file.
new pictures
cells_of Kept K-1,K-2
cells_of Lost L-1,L-2
stretch 0 2 -0.4 | awk -F, 'BEGIN { print "t,U,I" } NR != 6 { print }' >curve.csv
taken K-1 1 --gap-after '40 min' --result capacity=discharge
near "without the gap" "$("$PERDURE" results --json >out.json; ask out.json '$[0].value')" 1.6 1e-6
expect 0 '' "$PERDURE" plot discharge --cells K-1 -o gap.svg
grep -q 'Kept gives 1600' gap.svg || fail "the picture has what flowed in the gap: $(grep -o '[^>]*gives[^<]*' gap.svg)"
# Cells that were last checked after the very same cycles, of a number that rounding puts beyond itself:
# 0.95 + (32.45 - 0.95) x 39 / 39 > 32.45. The line of the model has an end all the same.
ask_logbook "DELETE FROM result; DELETE FROM outcome"
for cell in K-1:1.8 K-2:1.81 L-1:1.4 L-2:1.41; do
    discharged "${cell%:*}" 10 1.9 0.4 --result capacity=discharge
    ask_logbook "UPDATE outcome SET charge = 1.9 * 3600 WHERE step = (SELECT max(id) FROM step)"
    discharged "${cell%:*}" 20 "${cell#*:}" 0.4 --result capacity=discharge
    ask_logbook "UPDATE outcome SET charge = (1.9 * 3600 + 63 * 3600) - 1.9 * 3600 WHERE step = (SELECT max(id) FROM step)"
done
expect 0 '' "$PERDURE" plot fade -o fade.svg
grep -q 'After 32.cycles Kept keeps 95' fade.svg || fail "the best is another: $(grep -o '>After[^<]*' fade.svg)"

# Of 20 cells of a model 17 curves are drawn: the least, the greatest, and the median, the lower of the middle two.
new many
cells_of Alpha "$(seq -f A-%g -s , 20)"
for cell in $(seq 20); do
    discharged "A-$cell" 1 "$(awk "BEGIN { print 1.80 + 0.01 * $((cell * 7 % 20)) }")" 0.4 --result capacity=discharge
done
expect 0 '' "$PERDURE" plot discharge -o many.svg
grep -q 'Of many cells of a model 17 are drawn' many.svg || fail "nothing is said of those left out"
grep -q '1890.mAh.*in its middle cell' many.svg || fail "the median is another: $(grep -o '>Alpha gives[^<]*' many.svg)"
grep -q '; 20 cells' many.svg || fail "the conditions are not of all cells"
finish
