#!/bin/sh
# The three uses from end to end: a storage study written from scratch, a standard capacity protocol rerun,
# periodic checks over a year; the agenda and its calendar file; the study cut at random points; bad input.
. "$(dirname "$0")/../support/whole.sh"

cat >bench.lua <<'L'
local channels = {}
for i = 1, 4 do channels["S" .. i] = simulated {} end
return bench { title = "Four", channels = channels }
L
# A custom storage study, written as a newcomer would.
cat >mine.lua <<'L'
return study {
  title = "Two summers in the shed",
  params = { each = { unit = "", default = 1, about = "cells of each model opened each time" } },
  run = function(s, p)
    local arms = s:split { shed = 3, kitchen = 1 }
    s:perform("capacity", s.cells, { again = 1 })
    s:store(arms.shed, { temperature = "30 degC" })
    s:serve(arms.kitchen, { cycles_a_day = 1 })
    for _, age in ipairs { "P28D", "P42D", "P6M" } do
      local when = s:wait(age, { early = "P0D", late = "P2D" })
      for _, run in ipairs(s:perform("drain", arms.shed:draw(p.each))) do
        note(age, when, run.cell, math.floor(run.age / 86400), run.timing, run.results.remaining > 0.5)
      end
    end
    s:withdraw(arms.kitchen, "given away")
  end,
}
L
[ "$(wc -l <mine.lua)" -le 30 ] || fail "the study has grown"

cells() {
    "$PERDURE" enrol --model "Shed A" --chemistry NiMH --rated "2000 mAh" --labels A-1,A-2,A-3,A-4 >/dev/null
    "$PERDURE" enrol --model "Shed B" --chemistry NiMH --rated "1900 mAh" --labels B-1,B-2,B-3,B-4 >/dev/null
}
all=A-1,A-2,A-3,A-4,B-1,B-2,B-3,B-4

# 1. Seen whole before it begins.
expect 0 'channel-hours' "$PERDURE" rehearse mine.lua --from 2026-03-02
expect 0 'drain' "$PERDURE" rehearse study-shelf --from 2026-03-02 --count 10

# 2. Begun; told what is due; run to its end.
new_logbook year
cells
"$PERDURE" start mine.lua --cells $all >/dev/null
expect 0 'capacity' "$PERDURE" agenda --weeks 60 --ics plan.ics
[ "$(grep -c drain out.txt)" = 3 ] || fail "three openings in the agenda: $(cat out.txt)"
[ "$(grep -c '^BEGIN:VEVENT' plan.ics)" = 4 ] || fail "four appointments: $(cat plan.ics)"
expect 0 '' "$PERDURE" engine --bench bench.lua --until-idle
[ "$(ask_logbook "SELECT state FROM run WHERE kind = 'study'")" = done ] || fail "$("$PERDURE" runs 1)"
[ "$(ask_logbook "SELECT count(*) FROM run WHERE parent = 1")" = 14 ] || fail "eight fillings and six openings"
[ "$(ask_logbook "SELECT count(DISTINCT cell) FROM run WHERE parent = 1 AND script_name = 'drain'")" = 6 ] ||
    fail "each cell is opened once"
[ "$(ask_logbook "SELECT count(*) FROM event WHERE level = 'note' AND text LIKE '%in time%in time%'")" = 6 ] ||
    fail "checks in time: $(ask_logbook "SELECT text FROM event WHERE level = 'note'")"
[ "$(ask_logbook "SELECT group_concat(DISTINCT kind) FROM (SELECT kind FROM placement ORDER BY kind)")" = "arm,service,shelf,withdrawn" ] ||
    fail "placements"
stored=$(ask_logbook "SELECT min(cell.label) FROM placement JOIN cell ON cell.id = cell WHERE kind = 'shelf'")
expect 0 '' "$PERDURE" cells "$stored"
grep -q ' shelf *temperature 30 degC$' out.txt || fail "cells does not say how $stored is stored: $(cat out.txt)"
expect 0 'nothing is due' "$PERDURE" agenda
expect 0 'mine.lua, a study: done' "$PERDURE" runs 1 # with the runs that it started
[ "$(grep -c ' drain ' out.txt)" = 6 ] || fail "the runs of the study: $(cat out.txt)"
kitchen=$(ask_logbook "SELECT min(cell.label) FROM placement JOIN cell ON cell.id = cell WHERE kind = 'service'")
expect 0 'kitchen' "$PERDURE" cells "$kitchen" # where it was put, above what was done to it
expect 0 '0 findings' "$PERDURE" audit
sound
# What is drawn is the same again; ask_order: which cell was opened at which age.
opened() {
    ask_logbook "SELECT label, parent_n FROM run JOIN cell ON cell.id = run.cell WHERE script_name = 'drain' ORDER BY parent_n, label"
}
opened >first.txt

# 2a. The window of a wait is for the first look: a cell charged since is not held back for another age.
cat >twice.lua <<'L'
return study {
  title = "Looked at twice",
  run = function(s)
    s:perform("capacity", s.cells, { again = 1 })
    s:wait("P42D", { late = "P1D" })
    for _, run in ipairs(s:perform("storage-check", s.cells)) do -- charges it again
      note("check", run.timing, run.age // 86400)
    end
    for _, run in ipairs(s:perform("resistance", s.cells, { fill = 0 })) do
      note("second", run.timing, run.age // 86400)
    end
  end,
}
L
new_logbook twice
"$PERDURE" start twice.lua --cells T-01,T-02 >/dev/null
expect 0 'resistance' "$PERDURE" agenda
late=$(awk '/resistance/ {print $2}' out.txt)
[ "$(printf '%s\n' 2026-04-20 "$late" | sort | head -1)" = "$late" ] || fail "foreseen for $late: $(cat out.txt)"
expect 0 '' "$PERDURE" engine --bench bench.lua --until-idle
[ "$(ask_logbook "SELECT count(*) FROM event WHERE text LIKE '%check%in time%42%'")" = 2 ] || fail "checks: $("$PERDURE" runs 1)"
[ "$(ask_logbook "SELECT count(*) FROM event WHERE text LIKE '%second%in time%0%'")" = 2 ] || fail "second looks: $("$PERDURE" runs 1)"
[ "$(ask_logbook "SELECT max(ended_at) < strftime('%s', '2026-04-20') * 1000000 FROM run")" = 1 ] || fail "held back: $("$PERDURE" runs)"

# 2b. What is withdrawn is neither drawn nor performed on, and drawing goes on where it was.
cat >gone.lua <<'L'
return study {
  title = "Gone",
  run = function(s)
    local arms = s:split { shelf = 4 }
    local first = arms.shelf:draw(1)
    local mine = s.cells:draw(1)
    s:withdraw("T-03", "leaked")
    local rest = arms.shelf:left()
    note("left", #rest, #s.cells:left(), first[1] == "T-03", mine[1] == "T-03")
    for _, label in ipairs(rest) do
      if label == "T-03" then error("drawn, though withdrawn") end
    end
    local out = s:perform("fails", arms.shelf)
    note("performed", #out)
    s:withdraw_failed(out)
    note("after", #s.cells, #s:perform("drain", arms.shelf))
  end,
}
L
cat >fails.lua <<'L'
return protocol { title = "Fails on one", run = function(cell) if cell.label == "T-02" then error("the contact is bad") end end }
L
new_logbook gone
"$PERDURE" start gone.lua --cells T-01,T-02,T-03,T-04 >/dev/null
expect 0 '' "$PERDURE" engine --bench bench.lua --until-idle
said() {
    [ "$(ask_logbook "SELECT count(*) FROM event WHERE level = 'note' AND text LIKE '$1'")" = 1 ] ||
        fail "not $1: $(ask_logbook "SELECT text FROM event WHERE level = 'note'")"
}
drawn=$(ask_logbook "SELECT text LIKE '%true%' FROM event WHERE text LIKE 'left%'")
[ "$drawn" = 1 ] || said 'left 2 2 %' # one drawn, one withdrawn of the four; the other set likewise
said 'performed 3'
said 'after 2 2'
[ "$(ask_logbook "SELECT json_extract(detail, '$.reason') LIKE '%contact is bad%' FROM placement WHERE kind = 'withdrawn' ORDER BY id DESC LIMIT 1")" = 1 ] ||
    fail "the reason: $(ask_logbook "SELECT detail FROM placement")"
expect 0 '' "$PERDURE" cells T-02
grep -q 'withdrawn .*fails:1: the contact is bad' out.txt || fail "cells does not say why: $(cat out.txt)"
expect 0 '' "$PERDURE" cells T-03
grep -q 'withdrawn *leaked$' out.txt || fail "cells does not say why: $(cat out.txt)"

# 3. The same study, cut at random points: the same draws, the same checks.
new_logbook cut
cells
"$PERDURE" start mine.lua --cells $all >/dev/null
for delay in 0.02 0.03 0.05 0.04 0.06 0.03; do
    timeout -s KILL $delay "$PERDURE" engine --bench bench.lua --until-idle --commit-every 0.01s 2>/dev/null || true
done
expect 0 '' "$PERDURE" engine --bench bench.lua --until-idle
opened >second.txt
cmp first.txt second.txt || fail "another draw: $(diff first.txt second.txt)"
[ "$(ask_logbook "SELECT count(*) FROM run WHERE state <> 'done'")" = 0 ] || fail "$("$PERDURE" runs)"
expect 0 '0 findings' "$PERDURE" audit
sound

# 4. A standard protocol rerun, and periodic checks over a year.
expect 0 'capacity' "$PERDURE" run capacity --cells A-4 --bench bench.lua
new_logbook drawer
"$PERDURE" start study-drawer --cells T-01,T-02 >/dev/null
expect 0 '' "$PERDURE" engine --bench bench.lua --until-idle
[ "$(ask_logbook "SELECT count(*) FROM result WHERE name = 'remaining'")" = 8 ] || fail "four checks of two cells"

# 5. A cell of a study that is going on is not started by the way; a withdrawn one is free.
cat >keeps.lua <<'L'
return study {
  title = "Keeps its cells",
  run = function(s)
    s:withdraw("T-03", "leaked")
    s:wait("P42D")
  end,
}
L
new_logbook keeps
"$PERDURE" start keeps.lua --cells T-01,T-02,T-03 >/dev/null
expect 1 'belongs to study 1 (keeps.lua)' "$PERDURE" start capacity --cells T-01
expect 1 'belongs to study 1 (keeps.lua)' "$PERDURE" run capacity --cells T-02 --bench bench.lua
expect 1 'belongs to study 1 (keeps.lua)' "$PERDURE" start study-drawer --cells T-02,T-04
[ "$(ask_logbook "SELECT count(*) FROM run")" = 1 ] || fail "a refused run was queued"
expect 0 'T-01' "$PERDURE" start capacity --cells T-01 --also
expect 1 'is in run 2' "$PERDURE" start capacity --cells T-01 --also
expect 0 'T-04' "$PERDURE" start capacity --cells T-04
expect 1 'is in run 3' "$PERDURE" start study-drawer --cells T-04
expect 0 '' "$PERDURE" engine --bench bench.lua --until-idle
expect 0 'T-01' "$PERDURE" start capacity --cells T-01 # the study is over
new_logbook withdrawn
cat >keeps.lua <<'L'
return study {
  title = "Keeps its cells",
  run = function(s)
    s:withdraw("T-03", "leaked")
    s:ask { text = "Go on?", kind = "text" }
  end,
}
L
"$PERDURE" start keeps.lua --cells T-02,T-03 >/dev/null
expect 0 '1 question is open' "$PERDURE" engine --bench bench.lua --until-idle
expect 0 'T-03' "$PERDURE" start capacity --cells T-03
expect 1 'belongs to study 1' "$PERDURE" start capacity --cells T-02
"$PERDURE" stop 1 >/dev/null
expect 0 'T-02' "$PERDURE" start capacity --cells T-02
expect 0 'did not end well' "$PERDURE" overview

# 6. Bad input.
study() {
    printf 'return study {\n  title = "bad",\n  run = function(s)\n%s\n  end,\n}\n' "$1" >bad.lua
}
study '    s:perform("nosuch", s.cells)'
expect 1 'no protocol of this name' "$PERDURE" check bad.lua --count 2
study '    s.cells:draw(99)'
expect 1 'bad.lua:4' "$PERDURE" check bad.lua --count 2
study '    s:split { shelf = 99 }'
expect 1 'are left' "$PERDURE" check bad.lua --count 2
study '    s:wait("P1D", { late = "-P1D" })'
expect 1 'bad.lua:4' "$PERDURE" check bad.lua --count 2
study '    s:perform("capacity", { "X-1" })'
expect 1 'X-1 is no cell of this study' "$PERDURE" check bad.lua --count 2
study '    s:perform("capacity", s.cells, { raet = 1 })'
expect 1 'raet' "$PERDURE" check bad.lua --count 2
expect 1 'T-77' "$PERDURE" start study-drawer --cells T-77
finish
