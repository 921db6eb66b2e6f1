#!/bin/sh
# perdure runs --follow: a line for each change where the output is a pipe, a screen where it is a terminal
# (a real pseudo-terminal, by script of bsdutils), which is given back as it was.
. "$(dirname "$0")/../support/whole.sh"
. "$top/tests/support/engine.sh"
command -v script >/dev/null || { echo "skipped: no script (bsdutils)"; exit 0; }

esc=$(printf '\033')
echo 'return bench { title = "Three", channels = {
  S1 = simulated {}, S2 = simulated {}, H1 = by_hand { title = "slot 1" } } }' >bench.lua
cp "$top/protocols/capacity.lua" "$top/protocols/drain.lua" .
cat >asking.lua <<'L'
return protocol { title = "Asking", results = { typed = "Ah" }, run = function(cell)
  record("typed", ask { text = "What does \27[31mthe display\7 say?", kind = "number", unit = "mAh" }, "mAh")
end }
L
cat >shelf.lua <<'L'
return study { title = "Shelf", run = function(s) s:perform("drain", s.cells) s:wait("P2D") s:perform("drain", s.cells) end }
L
cat >short.lua <<'L'
return protocol { title = "Short", run = function(cell) cell:rest { time = "10 min" } error("no more") end }
L
PERDURE_LOGBOOK=$work/follow.perdure
export PERDURE_LOGBOOK
"$PERDURE" new --clock x7200 --seed 7 >/dev/null
"$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --size AA \
    --labels T-01,T-02,T-03,T-04,T-05 >/dev/null
# until_said WORDS FILE
until_said() {
    eventually grep -qF -- "$1" "$2" || fail "never said: $1 ($(cat "$2"))"
}

# 1. None is open: it waits until it is interrupted, and takes up what is queued meanwhile.
"$PERDURE" runs --follow >pipe.txt 2>pipe.err &
pipe=$!
expect 1 'there is no such run' "$PERDURE" runs 9 --follow
until_following "$pipe"
sleep 1.5
[ ! -s pipe.txt ] || fail "changes before there are any: $(cat pipe.txt)"
kill -0 "$pipe" || fail "ended by itself though none was open at the start"
"$PERDURE" start capacity.lua --cells T-01 --channel S1 >/dev/null
"$PERDURE" start asking.lua --cells T-02 --channel H1 >/dev/null
until_said 'run 2  T-02  queued: asking.lua' pipe.txt
kill -INT "$pipe"
wait "$pipe" || fail "status $? after an interrupt"

# 2. A pipe: every step, answer, result and end, in order of time, once.
"$PERDURE" runs --follow >pipe.txt 2>pipe.err &
pipe=$!
"$PERDURE" --json runs 2 --follow >json.txt 2>&1 &
json=$!
until_following "$pipe"
until_following "$json"
begin_engine bench.lua --commit-every 0.1s
until_said 'asks (question 1)' pipe.txt
"$PERDURE" answer 1 T-02 --who Ada >/dev/null
until_said 'asks (question 2)' pipe.txt
grep -q "$esc" pipe.txt && fail "what a script says reaches the terminal as a command"
"$PERDURE" pause 1 >/dev/null
until_said 'run 1  T-01  paused' pipe.txt
"$PERDURE" resume 1 >/dev/null
until_said 'run 1  T-01  taken up' pipe.txt
"$PERDURE" answer 2 1875 --who Ada >/dev/null
wait "$json" || fail "runs 2 --follow: status $? ($(cat json.txt))"
"$PERDURE" start short.lua --cells T-03 --channel S2 >/dev/null
"$PERDURE" runs 3 --follow >short.txt 2>short.err && fail "a run that fails is followed to status 0"
grep -q '^perdure: run 3: failed, .*no more.*; perdure runs 3' short.err || fail "how run 3 ended: $(cat short.err)"
wait "$pipe" || fail "runs --follow: status $? ($(cat pipe.err))"
for words in 'run 1  T-01  started on channel S1' 'run 1  T-01  charge begins at 200 mA, at most 16 h' \
    'run 1  T-01  charge ends (time) after 16 h' 'run 1  T-01  discharge begins at 400 mA' 'run 1  T-01  done' \
    'run 2  T-02  question 1 is answered by Ada: T-02' 'run 2  T-02  question 2 is answered by Ada: 1875' \
    'run 2  T-02  result typed: 1.875 Ah' 'run 2  T-02  done' 'run 3  T-03  failed: '; do
    [ "$(grep -cF -- "$words" pipe.txt)" = 1 ] || fail "not once: $words ($(cat pipe.txt))"
done
[ "$(tail -1 pipe.txt)" = 'no run is open any more' ] || fail "the end: $(tail -1 pipe.txt)"
[ "$(grep -c '^20..-..-.. ..:..:..Z  ' pipe.txt)" = "$(($(wc -l <pipe.txt) - 1))" ] || fail "a line of another form: $(cat pipe.txt)"
[ "$(grep -c ' result ' pipe.txt)" = "$(ask_logbook 'SELECT count(*) FROM result')" ] || fail "not every result"
[ "$(grep -c ' \(ends\|begins\)[ ,]' pipe.txt)" = "$(ask_logbook 'SELECT count(*) + count(ended_at) FROM step JOIN outcome ON step = step.id')" ] ||
    fail "not every step: $(cat pipe.txt)"
while read -r line; do
    echo "$line" | grep -q '^{"at":"20[^"]*","run":2,"cell":"T-02","what":"[a-z]*","text":".*"}$' || fail "no JSON line: $line"
done <json.txt
grep -q '"what":"result","text":"result typed: 1.875 Ah"' json.txt || fail "no result: $(cat json.txt)"

# 3. A terminal: what is on, as wide and as high as the window, also after it was made smaller; Ctrl-C gives back
# the screen, the cursor and the settings.
"$PERDURE" start capacity.lua --cells T-01 --channel S1 --set charge=0.01It --set fill="160 h" >/dev/null
"$PERDURE" start asking.lua --cells T-02 --channel S2 >/dev/null
"$PERDURE" start shelf.lua --cells T-04,T-05 >/dev/null
eventually on_record '5|2|1' "SELECT (SELECT count(*) FROM run WHERE ended_at IS NULL),
    (SELECT count(*) FROM questions WHERE answer IS NULL),
    (SELECT count(*) > 0 FROM reading JOIN step ON step.id = step WHERE run = 4)" || fail "not begun: $(ask_logbook 'SELECT * FROM runs')"
cat >inner.sh <<'I'
trap : INT
# until_drawn COUNT: so many times since the beginning.
until_drawn() {
    for _ in $(seq 600); do
        [ "$(grep -o "$esc\[H" typescript | wc -l)" -ge "$1" ] && return
        sleep 0.1
    done
}
stty cols 120 rows 30
stty -g >before.txt
"$PERDURE" runs --follow &
follow=$!
until_drawn 3
stty cols 50 rows 12
until_drawn 6
echo resized >resized.txt
wait "$follow"
wait "$follow"
echo "$?" >status.txt
stty -g >after.txt
I
began=$(seconds_up)
{
    eventually [ -e resized.txt ]
    printf '\003'
    sleep 1
} | esc=$esc PERDURE=$PERDURE TERM=xterm SHELL=/bin/sh script -qefc "exec sh inner.sh" typescript >/dev/null
took=$(($(seconds_up) - began))
[ "$(cat status.txt)" = 0 ] || fail "status $(cat status.txt) after Ctrl-C"
cmp -s before.txt after.txt || fail "the terminal's settings: $(cat before.txt) became $(cat after.txt)"
# Frames begin with "home". What is drawn is text, line ends, and these sequences alone.
# frame N: the lines of the Nth frame, from the first (2) or, when N is "last", the last one.
tr -d '\r' <typescript | sed "s/$esc\[H/\n@frame\n/g" | sed "s/$esc\[K//g; s/$esc\[[01]m//g; s/$esc\[?25[hl]//g; s/$esc\[?1049[hl]//g" >frames.txt
grep -q "$esc" frames.txt && fail "other sequences: $(grep "$esc" frames.txt | cat -v | head -3)"
frame() {
    awk -v wanted="$1" '/^@frame$/ { n++; next } { if (n == wanted) print }' frames.txt
}
count=$(grep -c '^@frame$' frames.txt)
[ "$count" -ge 4 ] && [ "$count" -le $((took + 4)) ] || fail "$count frames in $took seconds"
frame 2 >first.txt
for words in '5 runs open' 'question ' 'the display  say?' 'expected end' 'T-01' 'S1' 'capacity.lua' 'charging' \
    'charge for ' ', at most 6 d 16 h' ' V, 0.0200 A, ' ' Ah, ' ' %' 'waits for an answer' 'shelf.lua' 'next: drain, 20' 'coming'; do
    grep -qF -- "$words" first.txt || fail "not on the screen: $words ($(cat first.txt))"
done
end=$("$PERDURE" --json overview | sed -n 's/.*"expected_end_at": "\(..........\)T\(.....\).*/\1 \2/p' | head -1)
grep -q "capacity.lua .* \[[#.]*\] [0-9]* %  $end\$" first.txt || fail "another expected end than $end: $(grep capacity first.txt)"
frame "$count" | sed '/^Script done/,$d' >last.txt
[ "$(awk '{ if (length($0) > 50) n++ } END { print n + 0 }' last.txt)" = 0 ] || fail "wider than the window: $(cat last.txt)"
[ "$(sed -e '$a\' last.txt | wc -l)" -le 13 ] || fail "higher than the window: $(cat last.txt)"
grep -q 'no engine' first.txt && fail "an engine is at work, and the screen says none is"
grep -q '^ *4 .*T-01' last.txt || fail "no run in the smaller window: $(cat last.txt)"
tr -d '\r\n' <typescript | sed 's/Script done.*//' | grep -q "$esc\[?25h$esc\[?1049l\$" || fail "the screen is not given back"
"$PERDURE" answer 3 1875 >/dev/null
end_engine TERM

# 4. Without an engine the screen says so; a long label keeps its end; the window is 80 columns wide.
"$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --size AA --labels A-LABEL-THAT-IS-LONGER-THAN-ITS-COLUMN-01 >/dev/null
"$PERDURE" start capacity.lua --cells A-LABEL-THAT-IS-LONGER-THAN-ITS-COLUMN-01 >/dev/null
cat >inner.sh <<'I'
stty cols 70 rows 24
timeout -s TERM -k 5 1.5 "$PERDURE" runs --follow # from the background
echo "$?" >status.txt
I
PERDURE=$PERDURE TERM=xterm SHELL=/bin/sh script -qec "exec sh inner.sh" typescript >/dev/null </dev/null
[ "$(cat status.txt)" = 124 ] || fail "status $(cat status.txt): it does not end from the background"
grep -q 'no engine is at work' typescript || fail "not said that no engine is at work: $(cat -v typescript)"
[ -z "$(tr -d '\r' <typescript | grep 'charge for' | grep -v ' \([A-Za-z]*\|°C\)$')" ] || fail "a number is cut: $(cat -v typescript)"
grep -q '  \.\.[A-Z-]*MN-01 ' typescript || fail "a label is cut at its end: $(cat -v typescript)"
sound
finish
