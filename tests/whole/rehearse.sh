#!/bin/sh
# What a rehearsal of a study says: its calendar, its busiest day, the days that want a person, and what to
# be warned of.
. "$(dirname "$0")/../support/whole.sh"

# study NAME BODY
study() {
    printf 'return study {\n  title = "%s",\n  run = function(s)\n%s\n  end,\n}\n' "$1" "$2" >"$1.lua"
}
# said WORDS: in the last output. unsaid WORDS: not in it.
said() {
    grep -qF -- "$1" out.txt || fail "not said: $1: $(cat out.txt)"
}
unsaid() {
    ! grep -qF -- "$1" out.txt || fail "said: $1: $(cat out.txt)"
}
from="--from 2026-03-02"

# 1. All in time, on channels enough: nothing to be warned of. A capacity of 16 h + 1 h + 5 h + 1 h + 16 h
# begins on the first day; the drain, eight days after the end of the charge, on the eleventh or twelfth.
study calm '    s:perform("capacity", s.cells, { again = 1 })
    s:wait("P8D", { late = "P1D" })
    s:perform("drain", s.cells)'
expect 0 'lasts' "$PERDURE" rehearse calm.lua $from --count 2 --channels 4
unsaid warning
said 'a person is needed on 2 days: 2026-03-02, 2026-03-11'
said 'busiest day 2026-03-02 with 96 of 96 channel-hours'
said 'the study itself asks a person 0 times'
unsaid waits

cat >read.lua <<'L'
return protocol { title = "Read", run = function(cell) cell:read {} end }
L

# 2. For want of channels: the second four cells are due some 40 h after the first, whose slow drain takes
# 50 h. A window of a day is wide enough, one of 6 h is not; more channels would do.
for late in P1D PT6H; do
    study narrow "    s:perform('capacity', s.cells, { again = 1 })
    s:wait('P8D', { late = '$late' })
    s:perform('drain', s.cells, { rate = '0.02 It' })"
    expect 0 'rehearsed' "$PERDURE" rehearse narrow.lua $from --count 4 --channels 4
    said 'waits'
    if [ $late = P1D ]; then
        unsaid warning
    else
        said 'warning: drain, due 2026-03-11: 4 of 8 cells are late, the last begins '
        said 'with a channel for each cell, not 4, none would be'
        unsaid 'no channel can meet this window'
    fi
done
expect 0 'rehearsed' "$PERDURE" rehearse narrow.lua $from --count 4 --channels 8
unsaid warning

# 3. Late even in the best case: what comes before takes longer than the window is wide.
study never '    s:perform("capacity", s.cells, { again = 1 })
    local arms = s:split { early = 1 }
    s:wait("P8D", { late = "PT1H" })
    s:perform("drain", arms.early)
    s:perform("read", arms.rest)'
expect 0 'rehearsed' "$PERDURE" rehearse never.lua $from --count 2 --channels 4
said 'warning: read, due 2026-03-11: 2 of 2 cells are late, the last begins '
said 'no channel can meet this window'

# 4. Two checks on one day that exceed the channels.
study pair '    local arms = s:split { a = 2 }
    s:perform("read", arms.a)
    s:perform("drain", arms.rest)'
expect 0 'rehearsed' "$PERDURE" rehearse pair.lua $from --count 6 --channels 3
said 'warning: 2026-03-02: read and drain fall on one day and exceed the 3 channels: '
expect 0 'rehearsed' "$PERDURE" rehearse pair.lua $from --count 6 --channels 12
unsaid warning

# 5. Questions are answered by themselves, counted, and their days want a person.
study asks '    if s:ask { text = "Go on?", choices = { "yes", "no" } } == "yes" then
      s:perform("drain", s.cells)
    end
    wait("10 d")
    s:ask { text = "How many leaked?", least = 0 }'
expect 0 'rehearsed' "$PERDURE" rehearse asks.lua $from --count 2
said 'the study itself asks a person 2 times'
said 'a person is needed on 2 days: 2026-03-02, 2026-03-12'
said 'drain'
expect 0 'nothing wrong' "$PERDURE" check asks.lua

# 6. For programs.
expect 0 '' "$PERDURE" --json rehearse never.lua $from --count 2 --channels 4
as_json() {
    [ "$(sqlite3 :memory: "SELECT $1 FROM (SELECT readfile('out.txt') AS d)")" = 1 ] || fail "as JSON, not $1: $(head -c 300 out.txt)"
}
as_json "json_array_length(d, '\$.person_days') >= 2 AND d ->> '\$.person_days[0]' < d ->> '\$.person_days[1]'"
as_json "json_array_length(d, '\$.warnings') = 1 AND d ->> '\$.warnings[0]' LIKE '%no channel can meet%'"
as_json "(SELECT group_concat(value ->> '\$.what') FROM json_each(d, '\$.calendar')) = 'capacity,drain,read'"
as_json "d ->> '\$.busiest_day' = '2026-03-02' AND d ->> '\$.questions' = 0"
finish
