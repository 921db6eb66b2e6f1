#!/bin/sh
# Emulated channels whose cells a person puts in: an empty slot, a reversed cell, a cell taken out while no
# engine was at work. Each time a question and no output; with the answer it is looked at again.
. "$(dirname "$0")/../support/whole.sh"
. "$top/tests/support/emulator.sh"

PERDURE_LOGBOOK=$work/cells.perdure
export PERDURE_LOGBOOK

serve served --sets 2 --speed 10 --truth "capacity=2 Ah" --truth "open_circuit=1.25 V" --truth "r0=50 mohm" \
    --soc "50 %" --log truth.log "supply=pty:$work/supply-%" "load=pty:$work/load-%" "meter=pty:$work/meter-%"
sed '/placed = true/d' served.lua >bench.lua
"$PERDURE" new --clock x10 --seed 7 >/dev/null
"$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --labels T-01,T-02 >/dev/null
cat >short.lua <<'L'
return protocol {
  title = "Short",
  run = function(cell)
    cell:discharge { current = "1 A", stop = { time = "120 s" }, every = "2 s" }
  end,
}
L
# reply WORDS ANSWER [STATUS WORDS]
reply() {
    for _ in $(seq 1200); do
        id=$(ask_logbook "SELECT id FROM question WHERE text LIKE '%$1%' AND NOT EXISTS
            (SELECT 1 FROM answer WHERE question = question.id) LIMIT 1")
        [ -z "$id" ] || break
        sleep 0.05
    done
    [ -n "$id" ] || fail "never asked: $1 ($(ask_logbook 'SELECT text FROM question'))"
    expect "${3:-0}" "${4:-answered}" "$PERDURE" answer "$id" "$2" --who Ada
}
# until_true SQL
until_true() {
    eventually on_record 1 "SELECT $1" || fail "never came: $1"
}
energised='(output|input) on'
quiet() {
    if grep -E "$energised" truth.log; then
        fail "something was energised: $1"
    fi
}

tell cell-1 out
tell cell-2 reversed
"$PERDURE" start short.lua --cells T-01 --channel E1 >/dev/null
"$PERDURE" start short.lua --cells T-02 --channel E2 >/dev/null
begin_engine bench.lua --commit-every 0.1s
reply 'Put T-01 into E1' T-02 1 'T-02 was given, and T-01 belongs in E1; T-02 belongs in E2'
reply 'Put T-02 into E2' T-02
reply 'Put T-01 into E1' T-02 1 'T-02 is in E2 already'
reply 'Put T-01 into E1' T-01
reply 'E1 reads %the slot looks empty' yes
reply 'E2 reads -1.2% T-02 looks reversed' T-01 1 'T-01 was given, and T-02 belongs in E2'
quiet "with an empty slot and a reversed cell"
tell cell-1 in
tell cell-2 in
reply 'E1 reads %the slot looks empty' T-01
reply 'E2 reads -1.2% T-02 looks reversed' T-02
until_true "count(*) = 2 FROM outcome WHERE charge > 10"

# In mid-step: killed, a cell taken out, begun again.
watches=$(guardian)
[ -n "$watches" ] || fail "there is no guardian"
kill_engine
eventually is_gone "$watches" || fail "the guardian stays without its engine"
tell cell-1 out
begin_engine bench.lua --commit-every 0.1s
reply 'E1 reads %the slot looks empty' yes
until_true "count(*) = 1 FROM run WHERE state = 'done'"
tell cell-1 in
reply 'E1 reads %the slot looks empty' T-01
until_true "count(*) = 2 FROM run WHERE state = 'done'"
end_engine TERM
[ "$(ask_logbook "SELECT group_concat(quality) FROM outcome")" = 'gap,gap' ] || fail "$(ask_logbook 'SELECT * FROM outcomes')"
ask_logbook "SELECT channel, charge, gap_time FROM step JOIN outcome ON step = step.id ORDER BY channel"
[ "$(ask_logbook "SELECT count(*) FROM outcome WHERE abs(charge - 120) < 4")" = 2 ] || fail "charge"
[ "$(ask_logbook "SELECT count(*) FROM question WHERE NOT EXISTS (SELECT 1 FROM answer WHERE question = question.id)")" = 0 ] ||
    fail "something is still asked"
grep -qE "$energised" truth.log || fail "the truth does not tell what was energised"
sound
expect 0 '0 findings' "$PERDURE" audit
finish
