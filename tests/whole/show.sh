#!/bin/sh
# Showing what is on record: labels, plot, report, export; twice the same; names that would break a page; and
# clear refusals where there is nothing to show.
. "$(dirname "$0")/../support/whole.sh"

cat >bench.lua <<'L'
local channels = {}
for i = 1, 8 do channels["S" .. i] = simulated {} end
return bench { title = "Eight", channels = channels }
L
# Stored, and then worn: data for all five charts.
cat >both.lua <<'L'
return study {
  title = "Shelf and wear",
  params = {},
  run = function(s)
    note(("\u{1F50B}"):rep(700))
    s:perform("break-in", s.cells, { most = 1 }) -- a capacity whose last step is a rest
    s:perform("capacity", s.cells, { again = 1 })
    local arms = s:split { shelf = 2, work = 2 } -- of each model
    for _, age in ipairs { "P7D", "P14D", "P28D", "P56D" } do
      s:wait(age)
      s:perform("storage-check", arms.shelf)
    end
    for _ = 1, 2 do
      s:perform("resistance", arms.work)
      s:perform("capacity", arms.work)
      s:perform("cycles", arms.work, { count = 12 })
    end
    s:perform("resistance", arms.work)
    s:perform("capacity", arms.work)
    s:withdraw(arms.shelf, "given <b>away</b>")
  end,
}
L

charts="discharge retention resistance fade ranking"
script='<script>alert("1")</script> & '"'x'"
# Two of 200 letters, the same but for the last.
long=LLLL$(for _ in 1 2 3 4 5 6 7 8 9 10 11 12 13; do
    printf '%s\327\251\327\234\351\233\273\360\237\224\213 ' "<script>&'"
done)
right=$(printf '\327\251\327\234\327\225\327\235 2000')

# well_formed FILE...: an XML parser takes it, and no markup came in with a name.
well_formed() {
    for file in "$@"; do
        xmllint --noout --nonet "$file" || fail "$file is not well-formed"
        ! grep -q '<script\|<b>' "$file" || fail "$file took markup from a text"
    done
}

# 1. Nothing on record.
PERDURE_LOGBOOK=$work/empty.perdure
export PERDURE_LOGBOOK
"$PERDURE" new --clock virtual --from 2026-03-02 --seed 7 >/dev/null
expect 1 'no cells on record' "$PERDURE" labels -o none.pdf
expect 1 'no cells on record' "$PERDURE" report -o none.html
expect 1 'no cells on record' "$PERDURE" export none
for chart in $charts; do
    expect 1 'no cells on record' "$PERDURE" plot $chart -o none.svg
done
[ -z "$(ls -d none* 2>/dev/null)" ] || fail "a refusal left files: $(ls)"

# 2. Cells without a result: labels and a report can be had, charts say what is missing.
new_logbook bare
expect 0 '4 labels' "$PERDURE" labels -o bare.pdf
expect 1 'run capacity' "$PERDURE" plot discharge -o none.svg
expect 1 'study-shelf' "$PERDURE" plot retention -o none.svg
expect 1 'no resistance is on record' "$PERDURE" plot resistance -o none.svg
expect 1 'two capacity checks' "$PERDURE" plot fade -o none.svg
expect 1 'capacity' "$PERDURE" plot ranking -o none.svg
expect 0 'bare.html: report from 4 cells of 1 model' "$PERDURE" report -o bare.html
well_formed bare.html
grep -q 'Not drawn: ' bare.html || fail "a report names the charts that it lacks"
grep -q 'No result is on record' bare.html || fail "a report without results says so"
expect 0 'readings.csv: 0 rows' "$PERDURE" export bare
[ -z "$(ls none* 2>/dev/null)" ] || fail "a refusal left files: $(ls)"

# 3. Names that would break a page or a table.
PERDURE_LOGBOOK=$work/names.perdure
"$PERDURE" new --clock virtual --from 2026-03-02 --seed 7 >/dev/null
"$PERDURE" enrol --model "$script" --chemistry NiMH --rated "2000 mAh" --size AA --labels S-1,S-2,S-3,S-4 >/dev/null
"$PERDURE" enrol --model "${long}A" --maker "$long" --chemistry NiMH --rated "1900 mAh" --size AA --labels L-1,L-2,L-3,L-4 >/dev/null
"$PERDURE" enrol --model "${long}B" --chemistry NiMH --rated "1900 mAh" --size AA --labels L-5,L-6,L-7,L-8 >/dev/null
"$PERDURE" enrol --model "$right" --chemistry NiMH --rated "2100 mAh" --size AA --labels R-1,R-2,R-3,R-4 >/dev/null
"$PERDURE" enrol --model '=1+1, "x"' --chemistry NiMH --rated "750 mAh" --size AAA --labels E-1 >/dev/null
cells=S-1,S-2,S-3,S-4,L-1,L-2,L-3,L-4,L-5,L-6,L-7,L-8,R-1,R-2,R-3,R-4
"$PERDURE" start both.lua --cells $cells >/dev/null
"$PERDURE" start endurance --cells E-1 >/dev/null
# Before the end: runs that wait, then runs cut off in the middle of a step.
expect 0 '' "$PERDURE" report -o early.html
grep -q 'The work is not finished' early.html || fail "an early report does not say that it is one"
timeout -s KILL 0.1 "$PERDURE" engine --bench bench.lua --until-idle 2>/dev/null || true
expect 0 '' "$PERDURE" report -o early.html
well_formed early.html
expect 0 '' "$PERDURE" export early
[ "$(ask_logbook "SELECT count(*) FROM run WHERE ended_at IS NULL")" = 0 ] ||
    grep -q 'The work is not finished' early.html || fail "an early report does not say that it is one"
expect 0 '' "$PERDURE" engine --bench bench.lua --until-idle

# Each verb, twice: the same bytes.
for turn in 1 2; do
    mkdir $turn
    for chart in $charts; do
        expect 0 "$turn/$chart.svg: chart $chart from 17 cells of 5 models" "$PERDURE" plot $chart -o $turn/$chart.svg
    done
    expect 0 '' "$PERDURE" plot ranking -o $turn/left.svg --by remaining --preset article
    expect 0 '' "$PERDURE" plot fade -o $turn/fade.png --preset video
    expect 0 '17 labels' "$PERDURE" labels -o $turn/labels.svg
    cp out.txt labels.txt
    expect 0 '' "$PERDURE" labels -o $turn/labels.pdf --paper letter
    expect 0 '' "$PERDURE" report -o $turn/report.html
    expect 0 'readings.csv' "$PERDURE" export $turn/data
done
expect 0 '' "$PERDURE" --json plot fade -o $turn/fade.svg
[ "$(sqlite3 :memory: "SELECT json_extract(readfile('out.txt'), '\$.file')")" = $turn/fade.svg ] || fail "JSON of plot: $(cat out.txt)"
expect 0 '' "$PERDURE" --json report -o $turn/report.html
[ "$(sqlite3 :memory: "SELECT json_extract(readfile('out.txt'), '\$.cells')")" = 17 ] || fail "JSON of report: $(cat out.txt)"
diff -r 1 2 || fail "not the same twice"
well_formed 1/*.svg 1/report.html

# The history of a worn cell: the latest steps, and how many there are before them; as JSON always all.
steps=$(ask_logbook "SELECT count(*) FROM step WHERE cell = (SELECT id FROM cell WHERE label = 'E-1')")
[ "$steps" -gt 60 ] || fail "E-1 has only $steps steps"
expect 0 "$((steps - 50)) earlier steps are left out: --all shows them" "$PERDURE" cells E-1
[ "$(grep -c '^20' out.txt)" = 50 ] || fail "not the latest 50 steps: $(grep -c '^20' out.txt)"
tail -1 out.txt | tr -s ' ' | cut -d' ' -f1-5 >latest.txt
expect 0 '' "$PERDURE" cells E-1 --all
[ "$(grep -c '^20' out.txt)" = "$steps" ] || fail "--all shows $(grep -c '^20' out.txt) of $steps steps"
! grep -q 'left out' out.txt || fail "--all leaves steps out"
tail -1 out.txt | tr -s ' ' | cut -d' ' -f1-5 | diff - latest.txt || fail "the latest step is not the last one shown"
expect 0 "$((steps - 3)) earlier steps are left out" "$PERDURE" cells e-1 --last 3
[ "$(grep -c '^20' out.txt)" = 3 ] || fail "not the latest 3 steps"
expect 0 '1 earlier step is left out' "$PERDURE" cells E-1 --last $((steps - 1))
expect 0 '' "$PERDURE" cells E-1 --last "$steps"
! grep -q 'left out' out.txt || fail "steps are left out where none has to be"
expect 0 '' "$PERDURE" cells E-1 --last 3 --json
[ "$(grep -c '"started_at":' out.txt)" = "$steps" ] || fail "JSON does not have all steps"
expect 2 'name the cell' "$PERDURE" cells --all
expect 2 'no such number' "$PERDURE" cells E-1 --last 0

# What they hold, counted against the logbook.
[ "$(ls 1/labels*.svg | wc -l)" = 2 ] || fail "one sheet for AA, one for AAA"
[ "$(head -c 5 1/labels.pdf)" = %PDF- ] || fail "labels.pdf is no PDF"
[ "$(head -c 4 1/fade.png | tail -c 3)" = PNG ] || fail "fade.png is no PNG"
for chart in $charts; do
    grep -q "id=\"$chart-title\"" 1/report.html || fail "$chart is not in the report"
    grep -q 'Simulated' 1/$chart.svg || fail "$chart does not say that its cells are simulated"
done
grep -q 'These cells are simulated' 1/report.html || fail "the report does not say that its cells are simulated"
grep -q 'given &lt;b&gt;away&lt;/b&gt;' 1/report.html || fail "withdrawn cells are not told"
! grep -q 'https\?://' 1/report.html || [ -z "$(grep -o 'https\?://[^"]*' 1/report.html | grep -v '^http://www.w3.org/')" ] ||
    fail "the report names an address"
[ "$(grep -o 'id="[^"]*"' 1/report.html | sort | uniq -d | wc -l)" = 0 ] || fail "an id is there twice"
[ "$(grep -c '^<tr><td>' 1/report.html)" -ge "$(ask_logbook 'SELECT count(*) FROM result')" ] ||
    fail "results are missing from the report"
grep -q 'return study {' 1/report.html || fail "the text of the study is not in the report"

# A name written from right to left turns round itself, not the sentence that it stands in.
mark=$(printf '\342\200\216')
grep -q "$mark$right$mark promises 2100 mAh" 1/report.html || fail "a sentence is turned round"
[ "$("$PERDURE" rank --by capacity --json | grep -c '"model": "LLL')" = 2 ] || fail "each long name is ranked once"

# Long names: shortened where room is short, so that they can be told apart; whole once on the page; no letter torn.
[ "$(ask_logbook "SELECT group_concat(length(name)) FROM model WHERE name LIKE 'LLLL%'")" = 200,200 ] || fail "a name was cut"
said=$(xmllint --xpath '//*[@id="ranking"]//*[local-name()="td"][2]/text()' 1/report.html | grep LLLL | sort -u)
[ "$(echo "$said" | wc -l)" = 2 ] || fail "the ranking does not tell long names apart: $said"
[ "$(echo "$said" | grep -c "$(printf '\342\200\246')")" = 2 ] || fail "the ranking does not show that names are shortened: $said"
for end in A B; do
    xmllint --xpath 'string(//*[@id="method"])' 1/report.html | grep -qF "in full: $long$end" || fail "the report has no whole name"
    for chart in $charts; do
        xmllint --xpath "//*[local-name()='text']/*[local-name()='title']/text()" 1/$chart.svg |
            sed 's/&lt;/</g; s/&gt;/>/g; s/&amp;/\&/g' | grep -qF "$long$end" || fail "$chart has no whole name"
    done
    [ "$(grep -cF "$long$end" 1/data/models.csv)" = 1 ] || fail "the export has no whole name"
    expect 0 "$long$end, NiMH" "$PERDURE" cells "L-$([ $end = A ] && echo 1 || echo 5)"
    for verb in cells rank results "results --by model" "results --retention" "results --wear"; do
        # shellcheck disable=SC2086
        expect 0 ": $long$end" "$PERDURE" $verb
        iconv -f utf-8 -t utf-8 <out.txt >/dev/null || fail "$verb tears a letter in two"
        [ "$(grep -c '^in full:$' out.txt)" = 1 ] || fail "$verb has names in full $(grep -c '^in full:$' out.txt) times"
        sed '1,/^in full:$/d' out.txt | grep -F ": $long" | sort -u | sed 's/: LLLL.*//' >forms.txt
        [ "$(wc -l <forms.txt)" -ge 2 ] || fail "$verb shows fewer than two long names: $(cat forms.txt)"
        [ -z "$(sort forms.txt | uniq -d)" ] || fail "$verb does not tell long names apart: $(cat forms.txt)"
        [ "$(grep -c "$(printf '\342\200\246')" forms.txt)" = "$(wc -l <forms.txt)" ] || fail "$verb does not show that names are shortened"
        ! sed '/^in full:$/,$d' out.txt | grep '^L-' | grep -qF "$long" || fail "$verb has lines as long as names"
    done
done
for verb in overview runs agenda; do
    expect 0 '' "$PERDURE" $verb
    iconv -f utf-8 -t utf-8 <out.txt >/dev/null || fail "$verb tears a letter in two"
done
grep -q 'have no room for their model' labels.txt || fail "labels do not say that names are shortened"
# A script sees the whole name.
echo 'return protocol { title = "Named", run = function(cell) note(cell.model) end }' >named.lua
cp names.perdure named.perdure
expect 0 '' "$PERDURE" --logbook named.perdure run named.lua --cells L-5 --bench bench.lua
[ "$(sqlite3 named.perdure "SELECT count(*) FROM event WHERE level = 'note' AND text = (SELECT name FROM model WHERE name LIKE 'LLLL%B')")" = 1 ] ||
    fail "a script does not see the whole name"
# What a script notes is kept whole, however long it is.
[ "$(ask_logbook "SELECT max(length(text)) FROM event WHERE level = 'note'")" = 700 ] || fail "a note was cut"

# Numbers, worked out again by SQL. The charge under the drawn curve is the capacity on record, to the mAh.
expect 0 '' "$PERDURE" plot discharge -o one.svg --cells E-1
capacity=$(ask_logbook "SELECT round(1000 * value) FROM result JOIN cell ON cell.id = result.cell
    WHERE label = 'E-1' AND name = 'capacity' ORDER BY at LIMIT 1")
shown=$(grep -o '[0-9]*.mAh</tspan>\|[0-9]* mAh<' one.svg | head -1 | tr -cd '0-9')
[ "$shown" -ge "$((${capacity%.*} - 1))" ] && [ "$shown" -le "$((${capacity%.*} + 1))" ] || fail "$shown mAh drawn, $capacity on record"
# A fresh capacity was read from the discharge before, not from the rest that came after it.
grep -q 'the most charge: 2[0-9][0-9][0-9][^0-9]*mAh' 1/discharge.svg || fail "$(grep -o '[^>]*the most charge[^<]*' 1/discharge.svg)"
# Ages count from the end of the charge before, not from when the wait began.
ages=$(ask_logbook "SELECT DISTINCT (began - charged) / 86400000000 FROM (SELECT step.started_at AS began,
    (SELECT max(outcome.ended_at) FROM step AS s JOIN outcome ON outcome.step = s.id
      WHERE s.cell = step.cell AND s.kind = 'charge' AND outcome.ended_at <= step.started_at) AS charged
    FROM result JOIN step ON step.id = result.step WHERE result.name = 'remaining')" | sort -n | tr '\n' ' ')
for age in $ages; do
    grep -q ", day $age:" 1/retention.svg || fail "no check at $age days ($ages)"
done

# A reader of tables that is not ours: as many rows, and the names as they were.
for table in models cells runs steps results channels readings results-flat; do
    sqlite3 tables.db ".import --csv 1/data/$table.csv $table"
done
count() {
    [ "$(sqlite3 tables.db "SELECT count(*) FROM \"$1\"")" = "$(ask_logbook "SELECT count(*) FROM $2")" ] ||
        fail "rows of $1"
}
count models model
count cells cell
count runs run
count steps step
count results result
count results-flat result
count channels session_channel
count readings reading
sqlite3 -noheader tables.db "SELECT name FROM models" >names.txt
ask_logbook "SELECT name FROM model ORDER BY id" | cmp - names.txt || fail "names changed: $(cat names.txt)"
[ "$(sqlite3 tables.db 'SELECT count(*) FROM readings WHERE voltage_V < 0.5 OR voltage_V > 2')" = 0 ] ||
    fail "voltages are not in volts"
[ "$(tr -d '\n' <1/data/cells.csv | tr '\r' '\n' | wc -l)" = 18 ] || fail "rows do not end with CR LF"
# The tables have the columns that their description says, in its order.
for table in models cells runs steps results channels readings results-flat; do
    sqlite3 -noheader tables.db "SELECT group_concat(json_extract(value, '$.name')) FROM json_each(
        (SELECT json_extract(value, '$.schema.fields') FROM json_each(readfile('1/data/datapackage.json'), '$.resources')
         WHERE json_extract(value, '$.name') = '$table'))" >described.txt
    head -1 1/data/$table.csv | tr -d '\r' | cmp - described.txt || fail "columns of $table"
done
! grep -q licenses 1/data/datapackage.json || fail "a licence that nobody gave"
expect 0 '' "$PERDURE" export 1/data --licence CC-BY-4.0
grep -q CC-BY-4.0 1/data/datapackage.json || fail "the licence is not named"

# 4. Some cells only.
expect 0 '' "$PERDURE" report -o some.html --cells s-1,S-2
! grep -q LLLL some.html || fail "a cell that was not asked for"
expect 0 '2 labels' "$PERDURE" labels -o some.pdf --cells S-1,S-2
expect 0 '1 labels' "$PERDURE" labels -o some.svg --cells E-1 --size AA

# 5. What went wrong is told, and marked in the curve.
step=$(ask_logbook "SELECT step FROM result JOIN cell ON cell.id = result.cell
    WHERE label = 'E-1' AND name = 'capacity' ORDER BY at LIMIT 1")
cp names.perdure wrong.perdure
PERDURE_LOGBOOK=$work/wrong.perdure
sqlite3 wrong.perdure "INSERT INTO gap SELECT id, started_at + 600000000, started_at + 660000000, 'the cat <b>sat</b> on it'
      FROM step WHERE id = $step;
    UPDATE outcome SET gaps = 1, gap_time = 60 WHERE step = $step;
    UPDATE result SET flags = 'gap' WHERE step = $step;
    INSERT INTO event (at, run, level, text) SELECT at, run, 'warning', 'E-1 was looked at late' FROM result WHERE step = $step LIMIT 1;
    UPDATE run SET state = 'failed', why = 'it leaked' WHERE id = (SELECT run FROM step WHERE id = $step);"
expect 0 '' "$PERDURE" report -o wrong.html
well_formed wrong.html
for words in 'gap in the readings: 1' '1 min of a discharge not observed: the cat &lt;b&gt;sat' 'looked at late' \
    'run failed: 1' 'it leaked' 'result capacity is flagged: gap' '1 curve was not observed'; do
    tr '\n' ' ' <wrong.html | grep -q "$words" || fail "not told: $words"
done
expect 0 '' "$PERDURE" plot discharge -o wrong.svg --cells E-1
[ "$(grep -c . wrong.svg)" -ge "$(grep -c . one.svg)" ] && ! cmp -s wrong.svg one.svg || fail "the gap is not in the curve"
PERDURE_LOGBOOK=$work/names.perdure

# 6. Bad input.
expect 2 'which file to write' "$PERDURE" labels
expect 2 'a value is missing' "$PERDURE" labels -o
expect 2 'given twice' "$PERDURE" labels -o a.pdf -o b.pdf
expect 2 'writes no file' "$PERDURE" results -o a.txt
expect 2 'no such kind of file' "$PERDURE" labels -o a.docx
expect 2 'no such kind of file' "$PERDURE" plot fade -o a.jpg
expect 2 'no such kind of file' "$PERDURE" report -o a.pdf
expect 2 'no chart of this name' "$PERDURE" plot pie -o a.svg
expect 2 'no preset of this name' "$PERDURE" plot fade -o a.svg --preset huge
expect 2 'for plot ranking only' "$PERDURE" plot fade -o a.svg --by capacity
expect 2 'no ranking is drawn by this' "$PERDURE" plot ranking -o a.svg --by colour
expect 2 'no labels are made' "$PERDURE" labels -o a.pdf --size D
expect 2 'no sheets are made' "$PERDURE" labels -o a.pdf --paper a0
expect 1 'X-9' "$PERDURE" labels -o a.pdf --cells X-9
expect 1 'no cell was named' "$PERDURE" labels -o a.pdf --cells ,
expect 1 'could not be written' "$PERDURE" report -o nowhere/a.html
mkdir full && touch full/mine
expect 1 'holds other files' "$PERDURE" export full
expect 1 'cannot be used' "$PERDURE" export full/mine
expect 3 '' "$PERDURE" --logbook missing.perdure report -o a.html
[ -z "$(ls a.* 2>/dev/null)" ] || fail "a refusal left files: $(ls a.*)"
finish
