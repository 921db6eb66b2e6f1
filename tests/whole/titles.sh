#!/bin/sh
# What the titles of charts and the report's summary claim: cells whose truth is known, so that it is known what their
# data can settle. The two cells of a model lie far apart, or close together; cycles are drawn here, or only said.
. "$(dirname "$0")/../support/whole.sh"

bench_of() { # NAME FIELD VALUE-OF-EACH-CHANNEL...
    name=$1 field=$2 i=0
    shift 2
    {
        echo 'return bench { title = "Known", channels = {'
        for value; do
            i=$((i + 1))
            echo "  S$i = simulated { capacity = 2, $field = $value, open_circuit = { { 0, \"0.5 V\" }, { 0.0001, \"1.2 V\" }, { 1, \"1.4 V\" } },"
            echo '    r0 = 0.03, efficiency = 1, knee = 0.999, soc_new = 0 },'
        done
        echo '} }'
    } >"$name.lua"
}
# wear MODEL LETTER STUDY FADE...: as many cells as fades, each on a channel of its own.
wear() {
    model=$1 letter=$2 study=$3
    shift 3
    bench_of known fade "$@"
    labels=$(seq -f "$letter-%g" -s , $#)
    "$PERDURE" enrol --model "$model" --chemistry NiMH --rated "2000 mAh" --size AA --labels "$labels" >/dev/null
    "$PERDURE" start "$study" --cells "$labels" >/dev/null
    expect 0 '' "$PERDURE" engine --bench known.lua --until-idle
}
# title CHART: its title in one line, with plain spaces.
title() {
    "$PERDURE" plot "$1" -o "$1.svg" >/dev/null || fail "plot $1"
    xmllint --xpath "string(//*[@id='$1-title'])" "$1.svg" | tr -s '\302\240\n' ' ' | sed 's/ $//'
}
is() { # NAME TITLE PATTERN
    echo "$2" | grep -qxE "$3" || fail "$1 says: $2"
}
cat >said.lua <<'L'
return study { title = "Said", run = function(s)
  s:perform("capacity", s.cells, { again = 1 })
  s:serve(s.cells, { cycles_a_day = 2 })
  s:wait("P24D")
  s:perform("capacity", s.cells, { again = 1 })
end }
L
cat >drawn.lua <<'L'
return study { title = "Drawn", run = function(s)
  s:perform("capacity", s.cells, { again = 1 })
  s:perform("cycles", s.cells, { count = 20 })
  s:perform("capacity", s.cells, { again = 1 })
end }
L

# 1. Fade. A simulated cell does not wear by cycles that are only said, but by the few of the checks.
new_logbook close
wear Kestrel K said.lua 0.004 0.02
wear Pipit P said.lua 0.007 0.021
close='After [0-9]+ cycles, as the study asserts, Kestrel keeps [0-9]+ % of its fresh charge; Pipit, [0-9]+ %, cannot be told apart from it'
is "two that lie in one another" "$(title fade)" "$close"
grep -q 'made elsewhere are as the study says' fade.svg || fail "the chart does not say whose cycles these are"
"$PERDURE" report -o close.html >/dev/null || fail "report"
xmllint --html --xpath "string(//*[@id='summary'])" close.html 2>/dev/null | tr -s '\302\240\n' ' ' >summary.txt
grep -qE "$close" summary.txt || fail "the summary of the report says another thing than the chart"
grep -qE 'after .*cycles, in part as a study asserts, 2 cells gave' summary.txt || fail "the summary counts cycles as drawn here: $(cat summary.txt)"
wear Linnet L drawn.lua 0.004 0.02
is "some counted" "$(title fade)" 'After [0-9]+ cycles, in part as a study asserts, .*'

new_logbook clear
wear Kestrel K drawn.lua 0.001 0.00101
wear Pipit P drawn.lua 0.004 0.00404
is "two far apart" "$(title fade)" 'After [0-9]+ cycles Kestrel keeps [0-9]+ % of its fresh charge, Pipit [0-9]+ %'
wear Linnet L drawn.lua 0.006 0.00606
is "three far apart" "$(title fade)" 'After [0-9]+ cycles Kestrel keeps [0-9]+ % of its fresh charge, the most; next is Pipit [0-9]+ %'
# A fourth that keeps less than Pipit, but of which nobody knows how much.
wear Wren W drawn.lua 0.0001 0.0095
is "one that is uncertain" "$(title fade)" 'After [0-9]+ cycles Kestrel keeps [0-9]+ % of its fresh charge; Wren, [0-9]+ %, cannot be told apart from it'

new_logbook single
wear Kestrel K drawn.lua 0.001
is "one alone" "$(title fade)" 'After [0-9]+ cycles Kestrel keeps [0-9]+ % of its fresh charge'
expect 1 'there is one model only' "$PERDURE" rank
wear Pipit P drawn.lua 0.004
is "one cell each" "$(title fade)" 'After [0-9]+ cycles Kestrel keeps [0-9]+ % of its fresh charge; Pipit, [0-9]+ %, may be as good: how sure this is cannot be said'

# One whose first check comes after the others' last is not spoken of, wherever it stands in the list.
cat >later.lua <<'L'
return study { title = "Later", run = function(s)
  s:serve(s.cells, { cycles_a_day = 2 })
  s:wait("P24D")
  s:perform("capacity", s.cells, { again = 1 })
  s:perform("cycles", s.cells, { count = 20 })
  s:perform("capacity", s.cells, { again = 1 })
end }
L
new_logbook later
wear Wren W later.lua 0.001 0.00101
wear Kestrel K drawn.lua 0.001 0.00101
is "one that came later" "$(title fade)" 'After [0-9]+ cycles, in part as a study asserts, Kestrel keeps [0-9]+ % of its fresh charge'
wear Pipit P drawn.lua 0.004 0.00404
is "two and one that came later" "$(title fade)" 'After [0-9]+ cycles, .* Kestrel keeps [0-9]+ % of its fresh charge, Pipit [0-9]+ %'

# 2. Retention: by the intervals at the age that all were checked at.
cat >shelf.lua <<'L'
return study { title = "Shelf", run = function(s)
  s:perform("capacity", s.cells, { again = 1 })
  s:store(s.cells, { temperature = "20 degC" })
  s:wait("P42D")
  s:perform("drain", s.cells)
end }
L
shelf() { # MODEL LETTER K...
    model=$1 letter=$2
    shift 2
    bench_of known self_discharge "$@"
    labels=$(seq -f "$letter-%g" -s , $#)
    "$PERDURE" enrol --model "$model" --chemistry NiMH --rated "2000 mAh" --size AA --labels "$labels" >/dev/null
    "$PERDURE" start shelf.lua --cells "$labels" >/dev/null
    expect 0 '' "$PERDURE" engine --bench known.lua --until-idle
}
new_logbook shelf
shelf Kestrel K 0.0020 0.0022 0.0021
shelf Pipit P 0.0060 0.0062 0.0061
is "kept, far apart" "$(title retention)" 'After 42 days Kestrel has kept the most, [0-9]+ %; the next [0-9]+ %'
# A third that kept less than both on average, of which nobody knows how much.
shelf Wren W 0.0005 0.0150 0.0110
is "kept, one uncertain" "$(title retention)" 'After 42 days [0-9]+ % is left at best, in Kestrel; Wren, [0-9]+ %, cannot be told apart from it'
new_logbook shelf-close
shelf Kestrel K 0.0020 0.0030 0.0040
shelf Pipit P 0.0025 0.0032 0.0038
is "kept, close" "$(title retention)" 'After 42 days [0-9]+ % is left at best, in (Kestrel; Pipit|Pipit; Kestrel), [0-9]+ %, cannot be told apart from it'
new_logbook shelf-single
shelf Kestrel K 0.0020
shelf Pipit P 0.0060
is "kept, one cell each" "$(title retention)" 'After 42 days [0-9]+ % is left at best, in Kestrel; Pipit, [0-9]+ %, may be as good: how sure this is cannot be said'
finish
