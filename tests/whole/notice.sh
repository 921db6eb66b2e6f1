#!/bin/sh
# Telling people what is due: each thing once, again after a kill in between, and never in the way of the
# work: a command that fails or hangs costs a warning.
. "$(dirname "$0")/../support/whole.sh"

cat >bench.lua <<'L'
return bench { title = "Three", channels = { S1 = simulated {}, S2 = simulated {}, S3 = simulated {} } }
L
cat >hand.lua <<'L'
return bench { title = "By hand too", channels = { S1 = simulated {}, S2 = simulated {}, H1 = by_hand {} } }
L
cat >ask.lua <<'L'
return protocol {
  title = "Ask",
  run = function()
    ask { text = "Is it\nwarm; $(touch pasted) `touch pasted`?", choices = { "yes", "no" } }
  end,
}
L
cat >pass.lua <<'L'
return protocol { title = "Time passes", run = function() wait("20 d") end }
L
cat >tell.sh <<'L'
echo "$PERDURE_NOTICE run $PERDURE_RUN: $PERDURE_SUMMARY ($PERDURE_CELLS)" >>told.txt
cat >said.txt
find /proc/self/fd -lname '*' -printf '%f %l\n' | grep -v ' /proc/' >files.txt
L
bench=bench.lua
engine() {
    "$PERDURE" engine --bench $bench --until-idle "$@" 2>err.txt
}
told() {
    ask_logbook "SELECT run, n, what, came_of FROM notice ORDER BY at, run, n, what" | paste -sd' '
}

# 1. A study's appointments and a question, each once; what is said reaches the command as data alone.
new_logbook once
"$PERDURE" start study-drawer --set checks=2 --cells T-01,T-02 >/dev/null
"$PERDURE" start ask.lua --cells T-03 >/dev/null
engine --on-due "sh tell.sh" || fail "$(cat err.txt)"
[ "$(grep -c '^due run 1: due: ' told.txt)" = 3 ] || fail "three appointments: $(cat told.txt)"
grep -q '^due run 1: due: storage-check on 2 cells (study 1, study-drawer.lua) (T-0. T-0.)$' told.txt || fail "$(cat told.txt)"
grep -qF 'question run 2: question 1: Is it warm; $(touch pasted) `touch pasted`? (T-03)' told.txt || fail "the question: $(cat told.txt)"
[ "$(wc -l <told.txt)" = 4 ] || fail "four things, each once: $(cat told.txt)"
[ ! -e pasted ] || fail "a text was run as a command"
grep -q '^At the latest: 20' said.txt || fail "standard input: $(cat said.txt)"
# Nothing of the engine's: no logbook, no world of cells, no loop.
[ "$(grep -cE '\.perdure|-world|anon_inode' files.txt)" = 0 ] || fail "open in the command: $(cat files.txt)"
[ "$(told)" = "1|1|due|exit 0 2|1|question|exit 0 1|4|due|exit 0 1|8|due|exit 0" ] || fail "on record: $(told)"
engine --on-due "sh tell.sh" || fail "$(cat err.txt)"
[ "$(wc -l <told.txt)" = 4 ] || fail "told again: $(cat told.txt)"
[ "$(ask_logbook "SELECT count(*) FROM event WHERE level = 'warning'")" = 0 ] || fail "warnings: $("$PERDURE" runs 1)"
expect 0 '0 findings' "$PERDURE" audit
sound

# 2. What an engine that tells nobody left open is told by the next that does.
new_logbook later
rm told.txt
"$PERDURE" start ask.lua --cells T-03 >/dev/null
engine || fail "$(cat err.txt)"
[ "$(told)" = "" ] || fail "told nobody: $(told)"
engine --on-due "sh tell.sh" || fail "$(cat err.txt)"
[ "$(cat told.txt | wc -l)" = 1 ] || fail "told late: $(cat told.txt)"

# 3. Killed while the command runs: on record before it started, and told again. Killed and answered
# meanwhile: not told again.
printf 'sh tell.sh\necho >started\nsleep 30\n' >slow.sh
for case in open over; do
    new_logbook killed-$case
    rm -f told.txt started
    "$PERDURE" start ask.lua --cells T-03 >/dev/null
    "$PERDURE" engine --bench bench.lua --until-idle --on-due "sh slow.sh" 2>/dev/null &
    engine=$!
    eventually [ -s started ] || fail "the command is not started"
    kill -KILL $engine
    wait $engine 2>/dev/null || true
    [ "$(told)" = "1|1|question|" ] || fail "on record before it is told: $(told)"
    if [ $case = over ]; then
        "$PERDURE" answer 1 yes >/dev/null
        engine || fail "$(cat err.txt)"
    fi
    engine --on-due "sh tell.sh" || fail "$(cat err.txt)"
    if [ $case = open ]; then
        [ "$(wc -l <told.txt)" = 2 ] || fail "told again: $(cat told.txt)"
        [ "$(told)" = "1|1|question|exit 0" ] || fail "$(told)"
    else
        [ "$(wc -l <told.txt)" = 1 ] || fail "over, and told again: $(cat told.txt)"
        [ "$(told)" = "1|1|question|over before it was told" ] || fail "$(told)"
    fi
done

# 4. A command that fails, cannot be read from, or is killed: a warning each, and the study goes on.
new_logbook failing
printf 'exec <&-\nexit 3\n' >fails.sh
"$PERDURE" start study-drawer --set checks=2 --cells T-01 >/dev/null
engine --on-due "sh fails.sh" || fail "$(cat err.txt)"
[ "$(told)" = "1|1|due|exit 3 1|4|due|exit 3 1|8|due|exit 3" ] || fail "$(told)"
[ "$(ask_logbook "SELECT count(*) FROM event WHERE level = 'warning' AND text LIKE '%(exit 3), telling: due: %'")" = 3 ] ||
    fail "warnings: $(ask_logbook "SELECT text FROM event WHERE level = 'warning'")"
[ "$(ask_logbook "SELECT DISTINCT state FROM run")" = done ] || fail "the study did not go on"

# 5. A command that hangs is killed with all that it started; readings go on meanwhile.
PERDURE_LOGBOOK=$work/hanging.perdure
"$PERDURE" new --clock real >/dev/null
"$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --labels T-01,T-02 >/dev/null
cat >rest.lua <<'L'
return protocol { title = "Rest", run = function(cell) cell:rest { time = "3 s", every = "1 s" } end }
L
printf 'sleep 97 &\necho $! >child.txt\nsleep 97\n' >hangs.sh
"$PERDURE" start ask.lua --cells T-02 >/dev/null
"$PERDURE" start rest.lua --cells T-01 >/dev/null
engine --on-due "sh hangs.sh" --on-due-limit 1.5s || fail "$(cat err.txt)"
[ "$(told)" = "1|1|question|killed after 1.5 s" ] || fail "$(told)"
within 2 is_gone "$(cat child.txt)" || fail "what it started lives on"
grep -q 'killed after 1.5 s' err.txt || fail "no warning: $(cat err.txt)"
[ "$(ask_logbook "SELECT gaps, samples >= 4, duration >= 2.9 FROM outcome")" = "0|1|1" ] ||
    fail "readings: $(ask_logbook "SELECT gaps, samples, duration FROM outcome")"
# None of them had to wait until the command was killed.
apart=$(ask_logbook "SELECT max(apart) FROM (SELECT seconds - lag(seconds) OVER (ORDER BY k) AS apart FROM reading)")
echo "$apart" | awk '{ exit !($1 >= 0.9 && $1 < 1.5) }' || fail "readings are $apart s apart"

# 6. A window that passes with nobody there: overdue, in time for a channel that is missing and for a person
# who has not come.
cat >window.lua <<'L'
return study {
  title = "Window",
  params = { on = { unit = "text", default = "X9", about = "channel" } },
  run = function(s, p)
    s:perform("capacity", s.cells, { again = 1 }, { channel = "S1" })
    s:wait("P3D", { late = "P2D" })
    s:perform("drain", s.cells, {}, { channel = p.on })
  end,
}
L
bench=hand.lua
for on in X9 H1; do
    new_logbook window-$on
    rm -f told.txt
    "$PERDURE" start window.lua --set on=$on --cells T-01 >/dev/null
    "$PERDURE" start pass.lua --cells T-02 --channel S2 >/dev/null
    engine --on-due "sh tell.sh" || fail "$(cat err.txt)"
    [ "$(grep -c '^due run 1: due: drain' told.txt)" = 1 ] || fail "$on: due: $(cat told.txt)"
    [ "$(grep -c '^overdue run 1: overdue: drain on 1 cell (study 1' told.txt)" = 1 ] || fail "$on: overdue: $(cat told.txt)"
done
grep -q '^question run' told.txt || fail "a step by hand: $(cat told.txt)"
# In time: nothing is overdue.
bench=bench.lua
new_logbook window-S1
rm -f told.txt
"$PERDURE" start window.lua --set on=S1 --cells T-01 >/dev/null
engine --on-due "sh tell.sh" || fail "$(cat err.txt)"
grep -q due told.txt || fail "nothing was told"
! grep -q overdue told.txt || fail "overdue in time: $(cat told.txt)"

# 7. More than can be told is bounded, and said once. Each command waits until that is said.
new_logbook many
cat >many.lua <<'L'
return study {
  title = "Many",
  run = function(s)
    for _ = 1, 600 do
      s:perform("drain", s.cells)
    end
  end,
}
L
"$PERDURE" start many.lua --cells T-01 >/dev/null
echo 'until [ -e said ]; do sleep 0.05; done' >waits.sh
engine --on-due "sh waits.sh" --on-due-limit 300s &
engine=$!
eventually on_record 1 "SELECT count(*) FROM event WHERE text LIKE 'more falls due than%'" || fail "not said: $(cat err.txt)"
touch said
wait "$engine" || fail "$(cat err.txt)"
[ "$(ask_logbook "SELECT count(*) FROM notice")" = 600 ] || fail "600 on record: $(ask_logbook "SELECT count(*) FROM notice")"
[ "$(ask_logbook "SELECT count(*) FROM notice WHERE came_of LIKE 'not told: 256%'")" -gt 0 ] || fail "not bounded"
[ "$(ask_logbook "SELECT count(*) FROM event WHERE text LIKE 'more falls due than%'")" = 1 ] || fail "said once"

# 8. Bad words.
expect 2 'no program' "$PERDURE" engine --bench bench.lua --until-idle --on-due "nosuch-program now"
expect 2 'no program' "$PERDURE" engine --bench bench.lua --until-idle --on-due " "
expect 2 'on-due-limit' "$PERDURE" engine --bench bench.lua --until-idle --on-due "sh tell.sh" --on-due-limit 0s
finish
