#!/bin/sh
# Which channel a run is given, and when: one that cannot do what a protocol asks for is set aside, and a
# cell that is in another run is waited for.
. "$(dirname "$0")/../support/whole.sh"

cat >one_weak.lua <<'L'
return bench { title = "One weak", channels = {
  S1 = simulated {},
  S2 = simulated { limits = { charge_current_most = "150 mA" } },
  S3 = simulated {},
} }
L
cat >weak.lua <<'L'
return bench { title = "Weak", channels = {
  S1 = simulated { limits = { charge_current_most = "150 mA" } },
  S2 = simulated { limits = { charge_current_most = "120 mA" } },
} }
L
cat >two.lua <<'L'
return bench { title = "Two", channels = { S1 = simulated {}, S2 = simulated {} } }
L
cat >four.lua <<'L'
return bench { title = "Four", channels = { S1 = simulated {}, S2 = simulated {}, S3 = simulated {}, S4 = simulated {} } }
L
# protocol NAME BODY; study NAME BODY
protocol() {
    printf 'return protocol {\n  title = "%s",\n  run = function(cell)\n%s\n  end,\n}\n' "$1" "$2" >"$1.lua"
}
study() {
    printf 'return study {\n  title = "%s",\n  run = function(s)\n%s\n  end,\n}\n' "$1" "$2" >"$1.lua"
}
engine() {
    "$PERDURE" engine --bench "$@" --until-idle >out.txt 2>err.txt || fail "the engine ended: $(cat err.txt)"
}
# same WORDS SQL: what the logbook says
same() {
    said=$(ask_logbook "$2")
    [ "$said" = "$1" ] || fail "\"$said\", not \"$1\": $2 ($("$PERDURE" runs))"
}
fill() {
    protocol "$1" "    cell:rest { time = '1 min' }
    local v = cell:read {}
    cell:charge { current = '$2', stop = { time = '1 h' } }"
}
fill slow '200 mA'
protocol late "    cell:discharge { current = '100 mA', stop = { time = '1 h' } }
    cell:charge { current = '200 mA', stop = { time = '1 h' } }"

# 1. Twelve runs, one weak channel of three: all are done, on the other two; told once, with what to change.
study many '    s:perform("slow", s.cells)'
new_logbook many
"$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --size AA \
    --labels T-05,T-06,T-07,T-08,T-09,T-10,T-11,T-12 >/dev/null
twelve=T-01,T-02,T-03,T-04,T-05,T-06,T-07,T-08,T-09,T-10,T-11,T-12
"$PERDURE" start many.lua --cells $twelve >/dev/null
engine one_weak.lua
same 12 "SELECT count(*) FROM run WHERE parent = 1 AND state = 'done'"
same S1,S3 "SELECT group_concat(DISTINCT channel) FROM (SELECT channel FROM run WHERE parent = 1 ORDER BY channel)"
same 0 "SELECT count(*) FROM step WHERE channel = 'S2' AND kind = 'charge'"
same 1 "SELECT count(*) FROM event WHERE level = 'warning'"
same 1 "SELECT count(*) FROM event WHERE level = 'warning' AND text LIKE 'channel S2 is set aside for slow%200 mA%150 mA%raise its charge_current_most (150 mA) in the bench file%'"
same 0 "SELECT count(*) FROM journal WHERE outcome LIKE '%error%'"
same 0 "SELECT count(*) FROM journal WHERE outcome IS NULL"
expect 0 '0 findings' "$PERDURE" audit
sound

# 2. The first step of a run: it has not begun, and its start is that on the channel that does it.
protocol plain "    note('from ' .. cell:charge { current = '200 mA', stop = { time = '2 h' } }.ended_by)"
new_logbook plain
"$PERDURE" start plain.lua --cells T-01,T-02,T-03 >/dev/null
engine one_weak.lua
same 3 "SELECT count(*) FROM run WHERE state = 'done'"
same 0 "SELECT count(*) FROM run WHERE channel = 'S2'"
same 1 "SELECT count(*) FROM run WHERE started_at >= (SELECT min(ended_at) FROM run)"
expect 0 '0 findings' "$PERDURE" audit

# 3. Other parameters, or cells of another rating, are another matter: the channel is set aside for its kind.
new_logbook kinds
protocol fine "    cell:charge { current = '100 mA', stop = { time = '1 h' } }"
"$PERDURE" start plain.lua --cells T-01,T-02 >/dev/null
"$PERDURE" start fine.lua --cells T-03,T-04 >/dev/null
engine one_weak.lua
same 4 "SELECT count(*) FROM run WHERE state = 'done'"
same 1 "SELECT count(*) > 0 FROM run WHERE channel = 'S2' AND script_name LIKE 'fine%'"

# 4. No channel can do it: each is named with its limit.
new_logbook none
"$PERDURE" start plain.lua --cells T-01,T-02,T-03 >/dev/null
engine weak.lua
same 3 "SELECT count(*) FROM run WHERE state = 'failed' AND why LIKE '%no channel of this bench can do it: S1: charge: 200 mA%150 mA%S2: charge: 200 mA%120 mA%raise its charge_current_most%in the bench file%'"
same 0 "SELECT count(*) FROM step"

# 4a. A script that copes with less is not failed for it, however many come after it.
protocol copes "    if not pcall(cell.charge, cell, { current = '200 mA', stop = { time = '1 h' } }) then
      cell:charge { current = '100 mA', stop = { time = '1 h' } }
    end"
new_logbook copes
"$PERDURE" start copes.lua --cells T-01,T-02,T-03,T-04 >/dev/null
engine weak.lua
same 4 "SELECT count(*) FROM run WHERE state = 'done'"
same 4 "SELECT count(*) FROM step WHERE kind = 'charge'"
expect 0 '0 findings' "$PERDURE" audit

# 5. One that names its channel stays there, and so does one that has driven something; both say which.
new_logbook named
"$PERDURE" start plain.lua --cells T-01 --channel S2 >/dev/null
engine one_weak.lua
same 1 "SELECT count(*) FROM run WHERE state = 'failed' AND why LIKE '%charge on channel S2: 200 mA%raise its charge_current_most (150 mA)%'"
"$PERDURE" start late.lua --cells T-01,T-02,T-03,T-04 >/dev/null
engine one_weak.lua
same 1 "SELECT count(*) FROM run WHERE state = 'failed' AND script_name LIKE 'late%' AND channel = 'S2' AND why LIKE '%charge on channel S2%'"
same 3 "SELECT count(*) FROM run WHERE state = 'done' AND script_name LIKE 'late%'"
study names '    s:perform("slow", s.cells, {}, { channel = "S2" })'
"$PERDURE" start names.lua --cells T-04 >/dev/null
engine one_weak.lua
same 1 "SELECT count(*) FROM run WHERE parent AND state = 'failed' AND why LIKE '%charge on channel S2%'"

# 6. What the cell cannot bear is no channel's fault.
protocol wild "    cell:charge { current = '20 A', stop = { time = '1 min' } }"
new_logbook wild
"$PERDURE" start wild.lua --cells T-01,T-02 >/dev/null
engine two.lua
same 2 "SELECT count(*) FROM run WHERE state = 'failed' AND why NOT LIKE '%channel S%'"
same 0 "SELECT count(*) FROM event WHERE text LIKE '%set aside%'"

# 7. Killed while runs queue: what is taken up goes to the end the same way.
new_logbook killed
"$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --size AA \
    --labels T-05,T-06,T-07,T-08,T-09,T-10,T-11,T-12 >/dev/null
"$PERDURE" start many.lua --cells $twelve >/dev/null
for delay in 0.03 0.04 0.05; do
    timeout -s KILL $delay "$PERDURE" engine --bench one_weak.lua --until-idle --commit-every 0.01s >/dev/null 2>&1 || true
done
engine one_weak.lua
same 12 "SELECT count(*) FROM run WHERE parent = 1 AND state = 'done'"
expect 0 '0 findings' "$PERDURE" audit
sound

# 8. A rehearsal warns of the channel, whichever it takes.
expect 0 'rehearsed' "$PERDURE" rehearse late.lua --bench one_weak.lua
[ "$(grep -c '^warning: channel S2 is set aside for late' err.txt)" = 1 ] || fail "a protocol: $(cat err.txt)"
expect 0 'rehearsed' "$PERDURE" rehearse many.lua --bench one_weak.lua --count 4
[ "$(grep -c '^warning: channel S2 is set aside for slow' err.txt)" = 1 ] || fail "a study: $(cat err.txt)"
expect 0 'rehearsed' "$PERDURE" rehearse late.lua --bench two.lua
[ ! -s err.txt ] || fail "warned of nothing: $(cat err.txt)"
expect 1 'no channel of this bench can do it: S1' "$PERDURE" rehearse plain.lua --bench weak.lua

# 9. A study waits for a cell that is in another run, over a kill in between, then goes on with all its cells.
cat >asks.lua <<'L'
return protocol { title = "Asks", run = function(cell)
  cell:rest { time = "1 min" }
  ask { text = "Go on?", choices = { "yes", "no" } }
  cell:rest { time = "1 h" }
end }
L
study shelf '    s:wait("P1D")
    local runs = s:perform("plain", s.cells)
    note("performed on " .. #runs)'
new_logbook waits
"$PERDURE" start shelf.lua --cells T-01,T-02,T-03 >/dev/null
"$PERDURE" start asks.lua --cells T-02 --also >/dev/null
engine two.lua
same 1 "SELECT count(*) FROM event WHERE run = 1 AND level = 'info' AND text LIKE '%waits for T-02, which is in run 2'"
same 'running' "SELECT state FROM run WHERE id = 1"
same 0 "SELECT count(*) FROM run WHERE parent = 1"
same 1 "SELECT count(*) FROM journal WHERE run = 1 AND name = 'perform' AND outcome IS NULL"
expect 0 'plain' "$PERDURE" agenda
timeout -s KILL 0.3 "$PERDURE" engine --bench two.lua >/dev/null 2>&1 || true
same 0 "SELECT count(*) FROM run WHERE parent = 1"
"$PERDURE" answer 1 yes >/dev/null
for delay in 0.02 0.03; do
    timeout -s KILL $delay "$PERDURE" engine --bench two.lua --until-idle --commit-every 0.01s >/dev/null 2>&1 || true
done
engine two.lua
same done,done "SELECT group_concat(state) FROM (SELECT state FROM run WHERE parent IS NULL ORDER BY id)"
same 3 "SELECT count(*) FROM run WHERE parent = 1 AND state = 'done'"
same 1 "SELECT count(*) FROM event WHERE level = 'note' AND text LIKE '%performed on 3%'"
same 1 "SELECT min(queued_at) >= (SELECT ended_at FROM run WHERE id = 2) FROM run WHERE parent = 1"
expect 0 '0 findings' "$PERDURE" audit
sound

# 10. It ends by a stop meanwhile, and frees its cells; a stopped run frees the study.
new_logbook stopped
"$PERDURE" start asks.lua --cells T-02 >/dev/null
"$PERDURE" start plain.lua --cells T-04 >/dev/null
engine four.lua
"$PERDURE" start shelf.lua --cells T-01,T-03 >/dev/null
"$PERDURE" start asks.lua --cells T-03 --also >/dev/null
engine four.lua
"$PERDURE" stop 3 >/dev/null
expect 0 'T-01' "$PERDURE" start plain.lua --cells T-01
"$PERDURE" start shelf.lua --cells T-04 >/dev/null
"$PERDURE" start asks.lua --cells T-04 --also >/dev/null
engine four.lua
last=$(ask_logbook "SELECT max(id) FROM run WHERE script_name LIKE 'asks%'")
"$PERDURE" stop "$last" >/dev/null
engine four.lua
same 'done' "SELECT state FROM run WHERE script_name LIKE 'shelf%' ORDER BY id DESC LIMIT 1"
expect 0 '0 findings' "$PERDURE" audit
finish
