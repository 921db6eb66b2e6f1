#!/bin/sh
# Pages and tables as others see them: reports in a real browser with an accessibility checker, an exported data
# package before a validator. What looks is proved to see: a broken copy of each has to be found.
. "$(dirname "$0")/../support/whole.sh"
. "$top/tests/support/setup.sh"
browser_is_there || { echo "skipped: no node, chromium or the modules of tests/browser (tests/run.sh installs them)"; exit 0; }
look() {
    node "$top/tests/browser/$1.mjs" "$2" $3
}

cat >bench.lua <<'L'
local channels = {}
for i = 1, 8 do channels["S" .. i] = simulated {} end
return bench { title = "Eight", channels = channels }
L
cat >all.lua <<'L'
return study {
  title = "Shelf and wear",
  run = function(s)
    s:perform("capacity", s.cells, { again = 1 })
    local arms = s:split { shelf = 2, work = 2 } -- of each model
    for _, age in ipairs { "P7D", "P28D", "P56D" } do
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
  end,
}
L
charts="discharge retention resistance fade ranking"
drawn() {
    for chart in $charts; do
        printf '%s=%s ' "$chart" "$1"
    done
}

# 1. Cells without a result.
new_logbook bare
"$PERDURE" report -o bare.html >/dev/null
look report bare.html "" || fail "a report without results"

# 2. Names that would break a page; before the end, with runs cut off in the middle; at the end.
PERDURE_LOGBOOK=$work/names.perdure
"$PERDURE" new --clock virtual --from 2026-03-02 --seed 7 >/dev/null
enrol() {
    "$PERDURE" enrol --model "$1" --chemistry NiMH --rated "$2" --size AA --labels "$3-1,$3-2,$3-3,$3-4" >/dev/null
}
# The longest names that may be given, the same but for one letter in the middle.
half=$(for _ in 1 2 3 4 5 6 7; do printf '<script>alert("1")'; done)\'
enrol "${half}A$half" "2000 mAh" S
enrol "${half}B$half" "1900 mAh" L
enrol "$(printf '\327\251\327\234\327\225\327\235 2000')" "2100 mAh" R
"$PERDURE" start all.lua --cells "$(printf '%s-1,%s-2,%s-3,%s-4,' S S S S L L L L R R R R | sed 's/,$//')" >/dev/null
timeout -s KILL 0.1 "$PERDURE" engine --bench bench.lua --until-idle >/dev/null 2>&1 || true
"$PERDURE" report -o early.html >/dev/null
look report early.html "" || fail "an early report"
"$PERDURE" engine --bench bench.lua --until-idle >/dev/null
"$PERDURE" report -o full.html >/dev/null
look report full.html "$(drawn 3)" || fail "a full report"
"$PERDURE" export data >/dev/null
look package data "" || fail "the data package"

# 3. What looks, sees.
sed 's|</main>|<img src="x.png"><p style="color:#ddd">faint</p></main>|' full.html >broken.html
look report broken.html "$(drawn 4)" >seen.txt 2>&1 && fail "a broken page passes"
for words in 'asks for' 'image-alt' 'color-contrast' 'has 3 series, not 4'; do
    grep -q "$words" seen.txt || fail "a broken page, and not seen: $words ($(cat seen.txt))"
done
sed -i '2s/[0-9][0-9]*/none/' data/steps.csv
look package data "" >seen.txt 2>&1 && fail "a broken package passes"
grep -q 'steps' seen.txt || fail "a broken table, and not seen"
finish
