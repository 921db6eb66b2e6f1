#!/bin/sh
# An engine that is to work for months begins though an instrument is missing: what needs it waits, the rest goes on,
# and so does what waited when the instrument is there. One that somebody waits for says what is missing, and ends.
. "$(dirname "$0")/../support/whole.sh"
. "$top/tests/support/emulator.sh"

PERDURE_LOGBOOK=$work/missing.perdure
export PERDURE_LOGBOOK
serve bench --sets 2 --speed 10 --truth "capacity=2 Ah" --truth "open_circuit=1.25 V" --truth "r0=50 mohm" --soc "50 %" \
    --log truth.log "supply=pty:$work/supply-%" "load=pty:$work/load-%" "meter=pty:$work/meter-%"
"$PERDURE" new --clock x10 --seed 7 >/dev/null
"$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --labels T-01,T-02,T-03,T-04,T-05 >/dev/null
cat >short.lua <<'L'
return protocol { title = "Short", run = function(cell) cell:discharge { current = "1 A", stop = { time = "30 s" }, every = "2 s" } end }
L
sed 's/Short/Long/; s/30 s/60 s/' short.lua >long.lua
echo 'echo "$PERDURE_NOTICE: $PERDURE_SUMMARY" >>told.txt' >tell.sh
begin_engine() {
    "$PERDURE" engine --bench bench.lua --on-due "sh tell.sh" >>engine.txt 2>&1 &
    engine=$!
}
state_of() {
    ask_logbook "SELECT state || ' ' || channel FROM run WHERE id = $1"
}
is() {
    [ "$(state_of "$1")" = "$2" ]
}
# until_is RUN STATE
until_is() {
    eventually is "$1" "$2" || fail "run $1 is \"$(state_of "$1")\" and not \"$2\" ($(cat engine.txt))"
}

tell meter-2 hangup
"$PERDURE" start short.lua --cells T-01 >/dev/null
"$PERDURE" start short.lua --cells T-02 >/dev/null
"$PERDURE" start short.lua --cells T-03 --channel E2 >/dev/null
expect 4 'meter-2' "$PERDURE" engine --bench bench.lua --until-idle
[ "$(ask_logbook 'SELECT count(*) FROM step')" = 0 ] || fail "something was begun by an engine that ended"

# 1. Both that name no channel go through E1, one after the other; the third waits for E2.
begin_engine
until_is 1 'done E1'
until_is 2 'done E1'
"$PERDURE" runs | grep -q 'E2 .*queued .*waits: meter-2 of channel E2 does not answer' || fail "runs does not say why run 3 waits: $("$PERDURE" runs)"
eventually [ -s told.txt ]
[ "$(cat told.txt)" = 'lost: run 3 waits: meter-2 of channel E2 does not answer' ] || fail "told: $(cat told.txt)"
[ "$(state_of 3)" = 'queued E2' ] || fail "on a channel that is not there: $(state_of 3)"
[ "$(ask_logbook "SELECT count(*) FROM event WHERE level = 'warning' AND text LIKE 'channel E2 is not used until meter-2 answers: %'")" = 1 ] ||
    fail "not on record: $(ask_logbook 'SELECT text FROM event')"
tell meter-2 return
until_is 3 'done E2'
grep -q 'channel E2 is used again' engine.txt || fail "the log does not say that E2 is used again: $(cat engine.txt)"
[ "$(ask_logbook "SELECT count(*) FROM event WHERE text LIKE 'channel E2 is used again%'")" = 1 ] || fail "not on record, once, that E2 is used again"
grep -q 'meter-2 .*output\|load-1 output on' truth.log || fail "nothing was driven: $(tail -3 truth.log)"

# 2. Killed in the middle; the meter is gone when the next engine begins. Its run waits, the other's goes on.
"$PERDURE" start long.lua --cells T-04 --channel E1 >/dev/null
"$PERDURE" start long.lua --cells T-05 --channel E2 >/dev/null
eventually on_record 2 "SELECT count(*) FROM step WHERE run IN (4, 5)" || fail "not begun: $(ask_logbook 'SELECT * FROM runs')"
sleep 1
kill -KILL "$engine"
wait "$engine" 2>/dev/null || true
rm -f "$PERDURE_LOGBOOK-socket"
tell meter-2 hangup
begin_engine
until_is 4 'done E1'
[ "$(state_of 5)" = 'running E2' ] || fail "run 5 is $(state_of 5)"
"$PERDURE" runs | grep -q 'waits for meter-2: ' || fail "runs does not say what run 5 waits for: $("$PERDURE" runs)"
takes_longer() {
    "$PERDURE" overview >overview.txt
    grep -q ' long.lua .* longer than expected .*waits for meter-2: ' overview.txt
}
eventually takes_longer || fail "overview does not say that run 5 takes longer: $(cat overview.txt)"
tell meter-2 return
until_is 5 'done E2'
grep -q 'meter-2 answers again: run 5 goes on, .* were not observed' engine.txt ||
    fail "the log does not say that run 5 went on: $(cat engine.txt)"
[ "$(ask_logbook "SELECT group_concat(why, '; ') FROM (SELECT why FROM gap JOIN step ON step = step.id WHERE run = 5 ORDER BY from_at)")" = \
    'no engine at work; an instrument did not answer' ] || fail "gaps: $(ask_logbook 'SELECT * FROM gap')"
end_engine TERM
sound
expect 0 '0 findings' "$PERDURE" audit
finish
