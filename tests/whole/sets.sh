#!/bin/sh
# A study that makes a set of its own for each age: the sets were stored alike, so they are one course, and a check
# has one name though its cells come late one after the other. Sets that were stored otherwise stay apart.
. "$(dirname "$0")/../support/whole.sh"

cat >known.lua <<'L'
local channels = {}
for i = 1, 3 do
  channels["S" .. i] = simulated { chemistry = "NiMH", self_discharge = 0.002 }
end
return bench { title = "Three", channels = channels }
L
study() { # NAME STORAGE-OF-THE-YEAR
    cat >"$1.lua" <<L
return study { title = "Sets", run = function(s)
  local sets = s:split { six_weeks = 3, year = 3 }
  s:perform("capacity", s.cells, { again = 1 })
  s:store(sets.six_weeks, { temperature = "20 degC" })
  s:store(sets.year, $2)
  s:wait("P42D")
  s:perform("drain", sets.six_weeks, { rate = "0.011 It" }, { channel = "S1" }) -- four days each
  s:wait("P1Y")
  s:perform("drain", sets.year)
end }
L
    PERDURE_LOGBOOK=$work/$1.perdure
    export PERDURE_LOGBOOK
    "$PERDURE" new --clock virtual --from 2026-03-02 --seed 7 >/dev/null
    "$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" \
        --labels T-01,T-02,T-03,T-04,T-05,T-06 >/dev/null
    "$PERDURE" start "$1.lua" --cells T-01,T-02,T-03,T-04,T-05,T-06 >/dev/null
    expect 0 '' "$PERDURE" engine --bench known.lua --until-idle
    "$PERDURE" --json results --retention >"$1.json"
}
arms() {
    grep -o '"arm": *"[^"]*"' "$1.json" | cut -d'"' -f4 | sort | paste -sd,
}

study alike '{ temperature = "20 degC" }'
[ "$(arms alike)" = "six_weeks and year" ] || fail "two sets that were stored alike: $(arms alike)"
expect 0 '2 years' "$PERDURE" results --retention
expect 0 '' "$PERDURE" plot retention -o alike.svg
grep -q 'six_weeks' alike.svg && fail "the only course of a model is named by its sets"
"$PERDURE" results --by model >by.txt
[ "$(grep -c 'remaining@4[0-9]d  *%' by.txt)" = 1 ] || fail "one check under two names: $(grep remaining by.txt)"
grep -q 'remaining@4[0-9]d  *%  *3 ' by.txt || fail "a check without all of its cells: $(grep remaining by.txt)"

study warmer '{ temperature = "30 degC" }'
[ "$(arms warmer)" = "six_weeks,year" ] || fail "two sets that were stored otherwise: $(arms warmer)"
# Where a course ends far from its name, no line across the chart ties the two: it would pass for a curve.
expect 0 '' "$PERDURE" plot retention -o warmer.svg
[ "$(grep -c 'class="tie"' warmer.svg)" = 1 ] || fail "ties: $(grep 'class="tie"' warmer.svg)"
study emptier '{ temperature = "20 degC", charge = "40 %" }'
[ "$(arms emptier)" = "six_weeks,year" ] || fail "one set was stored less full: $(arms emptier)"
study unsaid '{}'
[ "$(arms unsaid)" = "six_weeks,year" ] || fail "of one set the storage is not known: $(arms unsaid)"
finish
