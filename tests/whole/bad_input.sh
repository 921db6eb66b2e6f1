#!/bin/sh
# Bad input, each with one clear error, the documented exit status, nothing energised, nothing lost, and
# other runs going on.
. "$(dirname "$0")/../support/whole.sh"

cat >bench.lua <<'L'
return bench { title = "Two", channels = { S1 = simulated {}, S2 = simulated {} } }
L
cat >twice.lua <<'L'
return bench {
  title = "Twice",
  channels = {
    S1 = simulated {},
    S1 = simulated {},
  },
}
L
new_logbook bad

# script NAME BODY: a protocol with this run function.
script() {
    printf 'return protocol {\n  title = "%s",\n  results = { x = "Ah" },\n  run = function(cell, p)\n%s\n  end,\n}\n' "$1" "$2" >"$1.lua"
}

printf 'return protocol {\n  title = "syntax"\n  run = function(cell) end,\n}\n' >syntax.lua
script unit 'cell:rest { time = "1 fortnight" }'
script no_end 'cell:discharge { current = "500 mA" }'
script endless 'while true do end'
script big 'local s = "x" while true do s = s .. s end'
script repeated 'local s = ("x"):rep(10 * 1024 * 1024 * 1024)'
script caught 'while true do pcall(function() while true do end end) end'
script deep 'local function f(n) return 1 + f(n + 1) end f(1)'
script unknown 'cell:charge { curent = "200 mA", stop = { time = "1 h" } }'

# 1. Found by check, without a logbook, with the line where there is one.
expect 1 'syntax.lua:3' "$PERDURE" check syntax.lua
expect 1 'unit.lua:5' "$PERDURE" check unit.lua
expect 1 'no_end.lua:5' "$PERDURE" check no_end.lua
expect 1 'endless.lua' "$PERDURE" check endless.lua
expect 1 'big.lua' "$PERDURE" check big.lua
expect 1 'repeated.lua' "$PERDURE" check repeated.lua
expect 1 'caught.lua' "$PERDURE" check caught.lua
expect 1 'deep.lua' "$PERDURE" check deep.lua
expect 1 "did you mean 'current'" "$PERDURE" check unknown.lua
expect 1 'no file and no shipped protocol' "$PERDURE" check nowhere
expect 0 'nothing wrong' "$PERDURE" check capacity

# 2. The same while another run goes on: it fails alone.
"$PERDURE" start drain --cells T-01 >/dev/null
"$PERDURE" start endless.lua --cells T-02 >/dev/null
expect 0 '' "$PERDURE" engine --bench bench.lua --until-idle
[ "$(ask_logbook "SELECT state FROM run ORDER BY id" | paste -sd' ')" = "done failed" ] ||
    fail "states: $(ask_logbook 'SELECT id, state, why FROM run')"
expect 2 'twice' "$PERDURE" start drain --cells T-03 --cells T-03
expect 1 'T-09' "$PERDURE" start drain --cells T-09
expect 1 'endless.lua' "$PERDURE" run endless.lua --cells T-02 --bench bench.lua
expect 1 'no_end.lua:5' "$PERDURE" run no_end.lua --cells T-02 --bench bench.lua
[ "$(ask_logbook "SELECT count(*) FROM step WHERE kind = 'discharge' AND run > 2")" = 0 ] ||
    fail "a step without an end reached the bench"

# Help is had by either word.
for word in -h --help; do
    expect 0 'usage: perdure [--logbook FILE]' "$PERDURE" $word
    expect 0 'usage: perdure start SCRIPT --cells A,B' "$PERDURE" start $word
done

# 3. Cells and benches.
expect 4 'S1' "$PERDURE" bench twice.lua
expect 4 'twice.lua:5' "$PERDURE" engine --bench twice.lua --until-idle
expect 4 'nowhere.lua' "$PERDURE" bench nowhere.lua
expect 1 'T-01' "$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --size AA --labels T-01
expect 1 'Mystery' "$PERDURE" enrol --model Odd --chemistry Mystery --rated "1 Ah" --labels O-1
# A file of another kind: which, and what takes it.
echo 'return evaluation { title = "E", run = function(record) say("x") end }' >evaluation.lua
echo 'return protocol { title = "P", run = function(cell) cell:rest { time = "1 h" } end }' >protocol.lua
echo 'return import { title = "M", time = column(1, "s") }' >map.lua
expect 1 "it is a word of bench files; perdure bench FILE and perdure engine --bench FILE take one" \
    "$PERDURE" evaluate bench.lua
expect 1 "it is a word of bench files; perdure bench FILE" "$PERDURE" start bench.lua --cells T-01
expect 4 "it is a word of evaluation files; perdure evaluate FILE takes one" "$PERDURE" bench evaluation.lua
expect 4 "it is a word of protocol files; perdure check, rehearse and start FILE take one" "$PERDURE" bench protocol.lua
expect 1 "it is a word of map files; perdure import DATA --map FILE takes one" "$PERDURE" start map.lua --cells T-01
# Letters count, whatever bytes they take.
letters() {
    yes "$2" | head -n "$1" | tr -d '\n'
}
long=$(letters 256 "$(printf '\360\237\224\213')")
expect 1 "the model's name is 256 letters long, and 255 are the most; shorten it" \
    "$PERDURE" enrol --model "$long" --chemistry NiMH --rated "1 Ah" --labels O-1
iconv -f utf-8 -t utf-8 <err.txt >/dev/null || fail "a refusal tears a letter in two: $(cat err.txt)"
grep -qF "$(printf '\360\237\224\213\342\200\246: ')" err.txt || fail "a refusal cuts a name and does not show it"
expect 1 "the maker's name is 256 letters long" \
    "$PERDURE" enrol --model Odd --maker "$long" --chemistry NiMH --rated "1 Ah" --labels O-1
expect 1 "the size is 32 bytes long, and 31 are the most" \
    "$PERDURE" enrol --model Odd --size "$(printf '%032d' 0)" --chemistry NiMH --rated "1 Ah" --labels O-1
# A point for thousands, or another unit, is no rating; nor is an answer of attend a label.
expect 1 'a rated capacity of 2 mAh is not plausible; decimals stand behind a point: is it 2000 mAh?' \
    "$PERDURE" enrol --model Odd --chemistry NiMH --rated "2.000 mAh" --labels O-1
expect 1 'is it 2000 mAh?' "$PERDURE" enrol --model Odd --chemistry NiMH --rated "2000 Ah" --labels O-1
printf 'label,model,chemistry,rated\nO-1,Odd,NiMH,2.000 mAh\n' >odd.csv
expect 1 'is it 2000 mAh?' "$PERDURE" enrol odd.csv
for word in yes Y no q DONE ok; do
    expect 1 "$word: perdure attend takes this word as an answer" \
        "$PERDURE" enrol --model Odd --chemistry NiMH --rated "1 Ah" --labels "O-1,$word"
done
printf 'label,model,chemistry,rated,prize\nO-1,Odd,NiMH,1 Ah,2.40\n' >odd.csv
expect 2 'there is no column "prize"; the columns are label, model, chemistry, rated, maker, size, price, currency' \
    "$PERDURE" enrol odd.csv
expect 2 'reference is "maybe"' sh -c 'printf "label,model,chemistry,rated,reference\nO-1,Odd,NiMH,1 Ah,maybe\n" >odd.csv
    exec "$0" enrol odd.csv' "$PERDURE"
[ "$(ask_logbook "SELECT count(*) FROM model")" = 1 ] || fail "something was enrolled"
expect 2 'rated' "$PERDURE" enrol --model Odd --chemistry NiMH --labels O-1
"$PERDURE" start drain --cells T-04 >/dev/null
expect 1 'T-04' "$PERDURE" start drain --cells T-04
expect 0 '' "$PERDURE" engine --bench bench.lua --until-idle

# Files as spreadsheets write them: with a byte order mark; parted by semicolons; without a cell.
printf '\357\273\277label,model,chemistry,rated\r\nB-01,Marked,NiMH,1 Ah\r\n' >marked.csv
expect 0 'Marked' "$PERDURE" enrol marked.csv
printf 'label;model;chemistry;rated\nB-02;Parted;NiMH;1 Ah\n' >parted.csv
expect 2 'parted by commas' "$PERDURE" enrol parted.csv
printf 'label,model,chemistry,rated\n' >none.csv
expect 2 'no cell is in it' "$PERDURE" enrol none.csv

# A chemistry that must not be charged: it may be enrolled and drained, never charged.
"$PERDURE" enrol --model "Primary" --chemistry alkaline --rated "2500 mAh" --labels P-01 >/dev/null
expect 1 'charge' "$PERDURE" run capacity --cells P-01 --bench bench.lua
[ "$(ask_logbook "SELECT count(*) FROM step JOIN cell ON cell.id = step.cell WHERE label = 'P-01'")" = 0 ] ||
    fail "a primary cell was put on charge"

# 4. The command line.
expect 2 'no such verb' "$PERDURE" charge
expect 2 'option' "$PERDURE" start capacity --sells T-01
expect 2 'number' "$PERDURE" runs first
expect 3 'already' "$PERDURE" new
# Help fits a terminal of 80 columns, every verb's.
for verb in '' $("$PERDURE" help | sed -n 's/^  \([a-z]*\) .*/\1/p'); do
    "$PERDURE" help $verb >out.txt || fail "help $verb"
    [ "$(wc -L <out.txt)" -le 80 ] || fail "help $verb is $(wc -L <out.txt) columns wide"
done
# What cannot be written down is no success; a reader that has seen enough is no failure.
if [ -e /dev/full ]; then
    status=0
    "$PERDURE" cells >/dev/full 2>err.txt || status=$?
    [ "$status" = 1 ] && grep -q 'perdure: output: it could not be written: .*; ' err.txt || fail "status $status on a full disk: $(cat err.txt)"
fi
expect 2 'there is no such clock' "$PERDURE" --logbook fast.perdure new --clock fast
[ ! -e fast.perdure ] || fail "a logbook with a clock that is none"
expect 3 'real' "$PERDURE" engine --bench bench.lua --clock real
expect 1 'fast' "$PERDURE" start capacity --cells T-03 --set rate=fast
expect 1 'raet' "$PERDURE" start capacity --cells T-03 --set raet="500 mA"

# What cannot run on such a cell is queued, with a warning, once for each model; one that never ends is not waited for.
PERDURE_LOGBOOK=$work/warned.perdure
"$PERDURE" new --clock virtual --from 2026-03-02 --seed 7 >/dev/null
"$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --labels T-01,T-02,T-03,T-04 >/dev/null
expect 0 'warning: rehearsed on a usual Test 2000 in a simulated channel, it fails: capacity.lua:' \
    "$PERDURE" --json start capacity --cells T-01,T-02 --set rate=500
grep -q '500 A is above the limit' err.txt && [ "$(grep -c warning err.txt)" = 1 ] || fail "warned of: $(cat err.txt)"
[ "$(sqlite3 :memory: "SELECT json_array_length(readfile('out.txt'))")" = 2 ] || fail "the runs as JSON: $(cat out.txt)"
expect 0 'T-03' "$PERDURE" start capacity --cells T-03
[ ! -s err.txt ] || fail "warned of what runs: $(cat err.txt)"
echo 'return protocol { title = "E", run = function(cell) while true do cell:rest { time = "1 s" } end end }' >for_ever.lua
expect 0 'T-04' timeout 60 "$PERDURE" start for_ever.lua --cells T-04
PERDURE_LOGBOOK=$work/bad.perdure

# 5. Files that are no logbook.
for what in missing text other newer; do
    file=$work/$what.perdure
    case $what in
    text) echo "these are notes of mine, and more than a header of SQLite is long: 0123456789" >"$file" ;;
    other) sqlite3 "$file" 'CREATE TABLE t (a)' ;;
    newer)
        "$PERDURE" --logbook "$file" new >/dev/null
        sqlite3 "$file" 'PRAGMA user_version = 999' >/dev/null
        ;;
    esac
    before=$(sha256sum "$file" 2>/dev/null || true)
    expect 3 "$what.perdure" "$PERDURE" --logbook "$file" runs
    expect 3 "$what.perdure" "$PERDURE" --logbook "$file" start capacity --cells T-01
    [ "$before" = "$(sha256sum "$file" 2>/dev/null || true)" ] || fail "$what was touched"
done

sound
expect 0 '0 findings' "$PERDURE" audit
finish
