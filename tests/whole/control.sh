#!/bin/sh
# A second terminal: pause, resume, stop, start, answer and adopt while the engine runs; a second engine;
# signals. Real processes on a scaled clock.
. "$(dirname "$0")/../support/whole.sh"
. "$top/tests/support/engine.sh"

echo 'return bench { title = "Two", channels = { S1 = simulated {}, S2 = simulated {} } }' >bench.lua
cat >long.lua <<'L'
return protocol {
  title = "Long",
  run = function(cell)
    for i = 1, 20 do
      cell:charge { current = "0.5 It", stop = { time = "10 min" } }
      cell:discharge { current = "0.5 It", stop = { time = "9 min" } }
    end
  end,
}
L
sed 's/20 do/20 do -- edited/' long.lua >edited.lua
sed 's/"0.5 It", stop = { time = "10 min"/"0.4 It", stop = { time = "10 min"/' long.lua >other.lua
cat >asking.lua <<'L'
return protocol {
  title = "Asking",
  results = { typed = "Ah" },
  run = function(cell)
    record("typed", ask { text = "What does the display say?", kind = "number", unit = "mAh" }, "mAh")
  end,
}
L
PERDURE_LOGBOOK=$work/control.perdure
export PERDURE_LOGBOOK
"$PERDURE" new --clock x100 --seed 7 >/dev/null
"$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --labels T-01,T-02,T-03 >/dev/null

state() {
    "$PERDURE" --json runs "$1" | sed -n 's/^  "state": "\(.*\)",*/\1/p'
}

is() {
    [ "$(state "$1")" = "$2" ]
}
# The state of run $1 becomes $2 within two seconds.
becomes() {
    within 2 is "$1" "$2" || fail "run $1 is $(state "$1"), not $2"
}

begin_engine bench.lua --commit-every 0.05s
[ "$(stat -c %a "$PERDURE_LOGBOOK-socket")" = 600 ] || fail "the socket is not private"

# 1. Work arrives over the socket, and is refused there as it would be without an engine.
expect 0 'T-01' "$PERDURE" start long.lua --cells T-01
becomes 1 running
expect 1 'T-01' "$PERDURE" start long.lua --cells T-01
expect 1 'T-99' "$PERDURE" start long.lua --cells T-99
expect 0 '' "$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --labels T-04

# 2. A second engine is refused with the first one's process id and start.
expect 3 "$engine" "$PERDURE" engine --bench bench.lua --until-idle
grep -q '20[0-9][0-9]-' err.txt || fail "the first engine's start is not told: $(cat err.txt)"

# 3. Pause and resume; adopt only while paused, only what fits.
expect 1 'running' "$PERDURE" resume 1
sleep 1
expect 0 '1 paused' "$PERDURE" pause 1
[ "$(state 1)" = paused ] || fail "not paused when the command returned"
expect 1 'paused' "$PERDURE" pause 1
expect 1 'nothing was changed' "$PERDURE" adopt 1 edited.lua
expect 1 'charge' "$PERDURE" adopt 1 other.lua --yes
expect 0 'moved' "$PERDURE" adopt 1 edited.lua --yes
expect 0 '' "$PERDURE" resume 1
becomes 1 running
expect 1 'pause' "$PERDURE" adopt 1 long.lua --yes

# 4. A question, answered.
expect 0 '' "$PERDURE" start asking.lua --cells T-02
becomes 2 running
eventually on_record 1 "SELECT count(*) FROM question" || fail "nothing is asked"
expect 0 'answered' "$PERDURE" answer 1 1875 --who Ada
becomes 2 done
[ "$(ask_logbook "SELECT value FROM result WHERE name = 'typed'")" = 1.875 ] || fail "the answer's unit"
expect 0 'question 1 corrected; run 2 keeps the old figures as events' "$PERDURE" answer 1 1900 --who Ada
[ "$(ask_logbook 'SELECT count(*) FROM answer')" = 2 ] || fail "a correction is an entry of its own"
[ "$(ask_logbook "SELECT value, flags FROM result WHERE name = 'typed'")" = '1.9|corrected' ] || fail "a correction does not hold"
expect 0 'typed was 1.875 Ah and is 1.9 Ah: question 1 was corrected by Ada' "$PERDURE" runs 2
expect 1 '' "$PERDURE" answer 7 1900
expect 2 'a question is named by its number' "$PERDURE" answer seven 1900

# 5. SIGTERM: over within two seconds, outputs safe, the run left to be taken up.
end_engine TERM
[ -e "$PERDURE_LOGBOOK-socket" ] && fail "the socket was left"
[ "$(state 1)" = running ] || fail "after SIGTERM the run is $(state 1)"
[ "$(ask_logbook 'SELECT ended_why FROM session ORDER BY id DESC LIMIT 1')" = "told to terminate" ] ||
    fail "why the session ended"

# 6. The same without an engine, then with another.
expect 0 'no engine is at work' "$PERDURE" pause 1
expect 0 '' "$PERDURE" resume 1
begin_engine bench.lua --commit-every 0.05s
becomes 1 running
sleep 0.5
expect 0 'stopped' "$PERDURE" stop 1
[ "$(state 1)" = stopped ] || fail "not stopped when the command returned"
[ "$(ask_logbook "SELECT count(*) FROM outcome JOIN step ON step.id = outcome.step WHERE run = 1 AND outcome.ended_at IS NULL")" = 0 ] ||
    fail "a step of a stopped run is open"
expect 1 'stopped' "$PERDURE" resume 1
[ "$(ask_logbook "SELECT count(*) FROM gap JOIN step ON step.id = gap.step WHERE run = 1")" -ge 2 ] ||
    fail "gaps of the pause and of the stop of the engine"

# 7. A backup while it works, sound by itself.
expect 0 'copied' "$PERDURE" backup copy.perdure
[ "$(sqlite3 copy.perdure 'PRAGMA integrity_check')" = ok ] || fail "the copy is not sound"
end_engine INT

sound
expect 0 '0 findings' "$PERDURE" audit
finish
