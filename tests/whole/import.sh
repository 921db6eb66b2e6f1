#!/bin/sh
# Curves logged elsewhere: columns, units, signs, times; what is refused, by line and reason; gaps, steps,
# results; the same file twice; all or nothing; while an engine is at work; a million rows. Charges are
# worked out by hand: trapezoids over a few rows.
. "$(dirname "$0")/../support/whole.sh"
. "$top/tests/support/engine.sh"

PERDURE_LOGBOOK=$work/import.perdure
export PERDURE_LOGBOOK
"$PERDURE" new >/dev/null
"$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --size AA \
    --labels T-01,T-02,T-03,T-04,T-05,T-06 >/dev/null

columns="--time Time:s --voltage U:V --current I:A"
began="--began 2026-03-03T08:00Z"

# import STATUS WORDS FILE OPTIONS...: of cell T-01.
import() {
    status=$1
    words=$2
    file=$3
    shift 3
    expect "$status" "$words" "$PERDURE" import "$file" --cell T-01 "$@"
}
runs() {
    ask_logbook "SELECT count(*) FROM run"
}

# 1. A rest, an hour at 0.4 A and half an hour at a falling current, a rest; signs as a discharge tester
# writes them. 0.4 A x 1 h + (0.4 A + 0.2 A)/2 x 0.5 h = 0.55 Ah; energy by the trapezoid over U x I:
# (1.25 x 0.4 + 1.20 x 0.4)/2 x 1 h + (1.20 x 0.4 + 1.0 x 0.2)/2 x 0.5 h = 0.49 + 0.17 = 0.66 Wh.
cat >plain.csv <<'C'
Time,U,I,Ah,T
0,1.30,0.0,0,20.5
60,1.31,0.0,0,20.5
120,1.25,0.4,0,20.6
3720,1.20,0.4,0.4,
5520,1.00,0.2,0.56,23.1
5530,1.10,0,0.56,23.0
5600,1.20,0,0.56,22.9
C
import 0 "run 1: 7 rows imported" plain.csv $columns $began --sign discharge-positive --charge Ah:Ah \
    --temperature T:degC --result capacity=discharge --result energy=discharge.energy --result third=3.duration
[ "$(ask_logbook "SELECT group_concat(kind || ' ' || samples) FROM (SELECT kind, samples FROM step JOIN outcome
    ON step = step.id ORDER BY step.id)")" = "rest 2,discharge 3,rest 2" ] || fail "steps of plain.csv"
[ "$(ask_logbook "SELECT group_concat(name || ' ' || round(value, 9) || ' ' || unit || ' ' || how)
    FROM (SELECT * FROM result ORDER BY n)")" = \
    "capacity 0.55 Ah imported,energy 0.66 Wh imported,third 70.0 s imported" ] || fail "results of plain.csv"
[ "$(ask_logbook "SELECT strftime('%Y-%m-%dT%H:%M:%SZ', started_at/1000000, 'unixepoch') FROM step WHERE kind = 'discharge'")" = \
    2026-03-03T08:02:00Z ] || fail "when the discharge began"
[ "$(ask_logbook "SELECT kind || state || (ended_at - started_at) FROM run")" = importdone5600000000 ] || fail "the run"
[ "$(ask_logbook "SELECT json_extract(args, '\$.sha256') FROM journal WHERE n = 1")" = \
    "$(sha256sum plain.csv | cut -d' ' -f1)" ] || fail "the file's hash is not on record"
ask_logbook "SELECT text FROM event" | grep -q "the file's own charge is 0.56 Ah, the trapezoids over its rows come to 0.55 Ah (+1.82 %)" ||
    fail "the file's charge was not compared"
ask_logbook "SELECT count(*) FROM event WHERE level = 'warning'" | grep -qx 1 || fail "no warning of the difference"
expect 0 "imported" "$PERDURE" runs 1
expect 0 "imported" "$PERDURE" results
expect 0 "0 findings" "$PERDURE" audit

# 2. The same bytes for the same cell: only when asked for; for another cell: at once.
import 1 "run 1; say --again" plain.csv $columns $began
import 0 "run 2" plain.csv $columns $began --again
expect 0 "run 3" "$PERDURE" import plain.csv --cell T-02 $columns $began --sign discharge-positive

# 3. Another dialect: lines before the header, semicolons, decimal commas, mV and mA, a BOM, CRLF, quotes,
# hours:minutes:seconds, times that go on past 24 h, a step column. Charge positive. 600 mA x 2 h = 1.2 Ah.
printf '\357\273\277Logger 7\r\nNote;with; fields\r\n\r\n"Time";"Step";"U (mV)";"I"\r\n' >dialect.csv
printf '23:00:00;fill;"1350,5";600\r\n24:00:00,0;fill;1400;600\r\n25:00:00;fill;1450;600\r\n25:00:01;wait;1440;0\r\n26:00:00;wait;1400;-0,5\r\n' >>dialect.csv
import 0 "run 4: 5 rows" dialect.csv --skip 3 --delimiter ";" --decimal , --time Time:hms --step Step \
    --voltage "U (mV):mV" --current I:mA --began 2026-03-04T00:00+01:00 --result filled=charge
[ "$(ask_logbook "SELECT round(value, 9) FROM result WHERE name = 'filled'")" = 1.2 ] || fail "filled"
[ "$(ask_logbook "SELECT microvolt FROM sample WHERE step = (SELECT min(id) FROM step WHERE run = 4) AND k = 0
    UNION ALL SELECT microvolt FROM recent WHERE step = (SELECT min(id) FROM step WHERE run = 4) AND k = 0 LIMIT 1")" = 1350500 ] ||
    fail "1350,5 mV"

# 4. A map file, pinned; dates with a zone (ISO 8601); columns by number; no header.
cat >map.lua <<'L'
-- A meter that writes dates.
return import {
  time = column(1, "date"),
  voltage = column(3, "V"),
  current = column(2, "A"),
  header = false,
  delimiter = "tab",
  results = { capacity = "discharge" },
}
L
printf '2026-03-05T08:00:00+01:00\t-0.5\t1.3\n2026-03-05 07:30:00Z\t-0.5\t1.2\n2026-03-05T10:00:00+02:00\t-0.5\t1.1\n' >dates.tsv
import 0 "run 5: 3 rows" dates.tsv --map map.lua
[ "$(ask_logbook "SELECT round(value, 9) FROM result WHERE run = 5")" = 0.5 ] || fail "capacity by dates"
[ "$(ask_logbook "SELECT text FROM script JOIN run ON script_hash = hash WHERE run.id = 5")" = "$(cat map.lua)" ] ||
    fail "the map is not pinned"
import 2 "a map says everything" dates.tsv --map map.lua --sign discharge-positive --again
import 2 "leave it out" dates.tsv --map map.lua $began --again
# The other logger's accuracy, where its map states one: limits, rectangular (JCGM 100:2008, 4.3.7). 0.1 % of
# 0.55 Ah and 1 mA for 1.5 h are 2.05 mAh, a clock good to 100 ppm 0.055 mAh:
# sqrt(2.05^2 + 0.055^2) / sqrt(3) = 1.184 mAh. Without a statement a result has no uncertainty.
cat >known.lua <<'L'
return import {
  time = column("Time", "s"), voltage = column("U", "V"), current = column("I", "A"),
  sign = "discharge-positive", accuracy = { current = "0.1 % + 1 mA" }, results = { capacity = "discharge" },
}
L
expect 0 "run 6" "$PERDURE" import plain.csv --cell T-05 --map known.lua $began
[ "$(ask_logbook "SELECT round(uncertainty * 1000, 3) FROM result WHERE run = 6")" = 1.184 ] || fail "the uncertainty"
[ "$(ask_logbook "SELECT count(uncertainty) FROM result WHERE run < 6")" = 0 ] || fail "an uncertainty out of nothing"
# The map of the guide, as it stands there.
sed -n '/^    return import/,/^    }/s/^    //p' "$top/docs/imports.md" >guide.lua
printf 'a\nb\nc\nTime;Step;U (mV);I\n0:00:00;1;1300;0,6\n0:01:00;1;1290;0,6\n0:02:00;1;1280;0,6\n' >guide.csv
expect 0 "run 7: 3 rows" "$PERDURE" import guide.csv --cell T-06 --map guide.lua $began
[ "$(ask_logbook "SELECT round(value, 9) FROM result WHERE run = 7")" = 0.02 ] || fail "the map of the guide"
before=$(runs)

# 5. What is refused, whole: each bad row by its line and its reason.
bad() {
    words=$1
    row=$2
    printf 'Time,U,I\n0,1.3,-0.4\n60,1.3,-0.4\n%s\n180,1.3,-0.4\n' "$row" >bad.csv
    import 1 "line 4: $words" bad.csv $columns $began
}
bad "time: 30 is earlier than the row before" "30,1.3,-0.4"
bad "time: 60 is the same as that of the row before" "60,1.3,-0.4"
bad 'voltage is empty' "120,,-0.4"
bad 'current: "nan" is not a finite number' "120,1.3,nan"
bad 'current: "-inf" is not a finite number' "120,1.3,-inf"
bad 'voltage: "1,300.0" has a thousands separator' '120,"1,300.0",-0.4'
bad 'voltage: "1 300" has a thousands separator' '120,1 300,-0.4'
bad 'current: "0x10" is no number' "120,1.3,0x10"
bad 'current: "1-2" is no number' "120,1.3,1-2"
bad 'voltage: 1300 is not possible for a cell: look at the unit' "120,1300,-0.4"
bad '4 fields, but the header has 3 columns' "120,1,3,-0.4"
bad '2 fields only' "120,1.3"
bad 'a quotation mark is not closed on its line' '120,"1.3,-0.4'
bad 'a quotation mark stands inside a field' '120,"1".3,-0.4'
[ "$(runs)" = "$before" ] || fail "a bad file left a run behind"
import 1 'no column "Volt" in the header: it has "Time", "U", "I", "Ah", "T"' plain.csv --time Time:s --voltage Volt:V --current I:A $began --again
import 1 "mV' is a unit of voltage, not of current" plain.csv --time Time:s --voltage U:V --current I:mV $began --again
import 1 "there is no unit 'volt" plain.csv --time Time:s --voltage U:voltz --current I:A $began --again
import 1 "the unit of 'voltage' is missing" plain.csv --time Time:s --voltage U --current I:A $began --again
import 1 "which column is the current is not said" plain.csv --time Time:s --voltage U:V $began --again
import 1 "there is no column 9, only 5" plain.csv --time 1:s --voltage 9:V --current 3:A $began --again
import 1 "column 2 is both voltage and current" plain.csv --time 1:s --voltage 2:V --current 2:A $began --again
import 1 "decimal mark and the delimiter are both" plain.csv $columns $began --decimal , --again
import 1 "the sign 'up' is not known" plain.csv $columns $began --sign up --again
import 2 "its times do not tell the day" plain.csv $columns --again
import 1 "would end after now" plain.csv $columns --began 2999-01-01 --again
import 1 'has no step "charge"' plain.csv $columns $began --sign discharge-positive --result capacity=charge --again
import 2 'a step has no "amps"' plain.csv $columns $began --result capacity=charge.amps --again
expect 1 "" "$PERDURE" import plain.csv --cell T-99 $columns $began
expect 2 "whose curve it is" "$PERDURE" import plain.csv $columns $began
printf 'Time,U,I\n' >empty.csv
import 1 "there are no rows in it" empty.csv $columns $began
printf 'T\0i\0m\0e\0' >wide.csv
import 1 "UTF-16" wide.csv $columns $began
printf 'Time,U,U,I\n0,1,1,0\n' >twice.csv
import 1 'two columns are named "U"' twice.csv $columns $began
[ "$(runs)" = "$before" ] || fail "something refused left a run behind"

# 6. Bad rows left out on request are gaps: nothing is integrated over them. 0.4 A x 60 s on either side of a
# gap of 120 s: 48 A.s.
printf 'Time,U,I\n0,1.3,-0.4\n60,1.3,-0.4\n120,oops,-0.4\n180,1.3,-0.4\n240,1.3,-0.4\n' >holes.csv
import 1 "1 of its rows is bad" holes.csv $columns $began
import 0 "left out: line 4: voltage: \"oops\" is no number" holes.csv $columns $began --skip-bad --result capacity=discharge
last=$(ask_logbook "SELECT max(id) FROM run")
[ "$(ask_logbook "SELECT round(charge, 6) || ' ' || gaps || ' ' || gap_time || ' ' || quality || ' ' || duration
    FROM outcome JOIN step ON step.id = step WHERE run = $last")" = "48.0 1 120.0 gap 120.0" ] || fail "the gap"
[ "$(ask_logbook "SELECT flags FROM result WHERE run = $last")" = gap ] || fail "the result is not flagged"
ask_logbook "SELECT why FROM gap" | grep -q 'line 4: voltage: "oops" is no number' || fail "why there is a gap"
[ "$(ask_logbook "SELECT json_extract(args, '\$.bad_rows') || json_extract(args, '\$.bad[0].line') FROM journal
    WHERE run = $last AND n = 1")" = 14 ] || fail "bad rows are not on record"

# 7. --gap-after: a logger that paused. 0.4 A x 60 s, then nothing for an hour, then 60 s.
printf 'Time,U,I\n0,1.3,-0.4\n60,1.3,-0.4\n3660,1.3,-0.4\n3720,1.3,-0.4\n' >pause.csv
import 0 "4 rows imported" pause.csv $columns $began --gap-after "5 min"
[ "$(ask_logbook "SELECT round(charge, 6) FROM outcome WHERE step = (SELECT max(id) FROM step)")" = 48.0 ] || fail "gap-after"
expect 0 "0 findings" "$PERDURE" audit
sound

# 8. Others show it: chart, export, report.
expect 0 "" "$PERDURE" plot discharge --cells T-01 -o d.svg
grep -q "imported" d.svg || fail "the chart does not say imported"
expect 0 "" "$PERDURE" report -o r.html
grep -q "imported" r.html || fail "the report does not say imported"
expect 0 "" "$PERDURE" export out
grep -q ",imported," out/steps.csv || fail "the export does not say imported"

# 9. An audit sees a sample, or a map, that was changed afterwards.
cp "$PERDURE_LOGBOOK" doctored.perdure
sqlite3 doctored.perdure "UPDATE sample SET microampere = microampere * 2 WHERE step = 2;
    UPDATE recent SET microampere = microampere * 2 WHERE step = 2"
expect 1 "step 2: 0.550000 Ah on record, but its samples come to 1.100000 Ah" "$PERDURE" --logbook doctored.perdure audit
cp "$PERDURE_LOGBOOK" doctored.perdure
sqlite3 doctored.perdure "UPDATE script SET text = replace(text, 'column(2', 'column(3') WHERE name = 'map.lua'"
expect 3 "has been changed" "$PERDURE" --logbook doctored.perdure audit

# 9b. Civil times, in the logbook's zone: 08:00 in Berlin is 07:00 UTC in winter, 06:00 in summer. Across
# the night of 2026-03-29 the clock leaves out an hour (EU summer time: last Sunday of March, 01:00 UTC),
# so 01:30 to 03:30 is one hour; across 2026-10-25 it goes back, and the file is refused.
"$PERDURE" --logbook berlin.perdure new --zone Europe/Berlin >/dev/null
"$PERDURE" --logbook berlin.perdure enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --labels B-01 >/dev/null
berlin() {
    status=$1
    words=$2
    shift 2
    expect "$status" "$words" "$PERDURE" --logbook berlin.perdure import "$@" --cell B-01 --voltage U:V --current I:A
}
printf 'T,U,I\n2026-03-29 01:30,1.3,-0.4\n2026-03-29T03:30,1.2,-0.4\n' >spring.csv
berlin 0 "run 1" spring.csv --time T:date --result capacity=discharge
printf 'T,U,I\n2026-10-25T02:50,1.3,-0.4\n2026-10-25T02:10,1.2,-0.4\n' >autumn.csv
berlin 1 "line 3: time: 2026-10-25T02:10 is earlier than the row before" autumn.csv --time T:date
berlin 0 "run 2" plain.csv --time Time:s --began 2026-06-03T08:00
[ "$(sqlite3 berlin.perdure "SELECT round(value, 9) FROM result")" = 0.4 ] || fail "an hour of summer time"
[ "$(sqlite3 berlin.perdure "SELECT strftime('%H:%M', started_at / 1000000, 'unixepoch') FROM run WHERE id = 2")" = 06:00 ] ||
    fail "--began in the zone"

# 10. While an engine is at work: through its socket; what would hold it up is refused.
awk 'BEGIN { print "Time,U,I"; for (k = 0; k < 300000; k++) printf "%d,1.%03d000,-0.4%05d\n", k, k % 400, k % 90000 }' >long.csv
echo 'return bench { title = "One", channels = { S1 = simulated {} } }' >bench.lua
begin_engine bench.lua
sed 's/1.30/1.29/' plain.csv >other.csv
expect 0 "rows imported" "$PERDURE" import other.csv --cell T-03 $columns $began
expect 1 "run " "$PERDURE" import other.csv --cell T-03 $columns $began
expect 3 "would hold up the engine" "$PERDURE" import long.csv --cell T-04 $columns $began
end_engine TERM
expect 0 "300000 rows imported" "$PERDURE" import long.csv --cell T-04 $columns $began
expect 0 "0 findings" "$PERDURE" audit
sound
finish
