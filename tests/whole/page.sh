#!/bin/sh
# The live page over real sockets, with curl: what is served, what is pushed, what is refused, and that an
# answer given there reaches its run. Real processes on a scaled clock.
. "$(dirname "$0")/../support/whole.sh"
. "$top/tests/support/engine.sh"

echo 'return bench { title = "Two", channels = { S1 = simulated {}, S2 = simulated {} } }' >bench.lua
cat >asking.lua <<'L'
return protocol {
  title = "Asking",
  results = { typed = "Ah" },
  run = function(cell)
    record("typed", ask { text = "What does <b>the display</b> say?", kind = "number", unit = "mAh" }, "mAh")
  end,
}
L
PERDURE_LOGBOOK=$work/page.perdure
export PERDURE_LOGBOOK
"$PERDURE" new --clock x100 --seed 7 >/dev/null
"$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --size AA \
    --labels T-01,T-02,T-03,T-04,T-05,T-06 >/dev/null

begin_page() {
    rm -f engine.txt
    "$PERDURE" engine --bench bench.lua --commit-every 0.2s "$@" >engine.txt 2>engine.err &
    engine=$!
    eventually grep -qs '^page: ' engine.txt
    url=$(sed -n 's|^page: \(http://[^/]*\)/.*|\1|p' engine.txt)
    token=$(sed -n 's|.*#token=||p' engine.txt)
    port=${url##*:}
    [ -n "$url" ] || fail "no page: $(cat engine.txt engine.err)"
}

connections() {
    find "/proc/$engine/fd" -lname 'socket:*' | wc -l
}

# status EXPECTED CURL-WORDS...: the response's status; its text is in body.txt.
status() {
    wanted=$1
    shift
    got=$(curl -s -m 10 -o body.txt -w '%{http_code}' "$@" || true)
    [ "$got" = "$wanted" ] || fail "status $got, not $wanted: $* ($(head -c 300 body.txt))"
}

answer() {
    wanted=$1
    with=$2
    shift 2
    status "$wanted" -H "Authorization: Bearer $with" -H 'Content-Type: application/json' "$@" "$url/answer"
}

# heard WORDS COMMAND...: the stream says WORDS after COMMAND was run, in $listened s.
heard() {
    words=$1
    shift
    listened=$(seconds_up)
    curl -s -N -m 120 "$url/events" >events.txt &
    listener=$!
    eventually [ -s events.txt ] || fail "nothing comes"
    "$@" >/dev/null 2>&1 || true
    eventually grep -qF -- "$words" events.txt || fail "not heard: $words ($(head -c 400 events.txt))"
    kill "$listener" 2>/dev/null || true
    wait "$listener" 2>/dev/null || true
    listened=$(($(seconds_up) - listened))
}

# 1. An address that is not this machine's alone, or none at all.
expect 2 'not encrypted' "$PERDURE" engine --bench bench.lua --page 0.0.0.0:0 --until-idle
expect 2 'no address' "$PERDURE" engine --bench bench.lua --page somewhere --until-idle
expect 2 '--page' "$PERDURE" engine --bench bench.lua --page-read-only --until-idle

# 2. The page and its files, with what keeps strangers out; the token is nowhere in them.
begin_page --page 127.0.0.1:0
alone=$(connections)
[ ${#token} = 64 ] || fail "the token has ${#token} digits"
status 200 -D head.txt "$url/"
grep -q '<title>Perdure</title>' body.txt || fail "no page"
grep -q "^Content-Security-Policy: default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self' data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'" head.txt ||
    fail "the policy: $(cat head.txt)"
grep -q '^X-Content-Type-Options: nosniff' head.txt || fail "nosniff"
grep -q '^Referrer-Policy: no-referrer' head.txt || fail "referrer"
grep -qF "$token" body.txt head.txt && fail "the token is in the page"
status 200 "$url/live.js"
status 200 "$url/live.css"
status 404 "$url/logbook.perdure"
status 404 --path-as-is "$url/../page.perdure"
"$PERDURE" --logbook other.perdure new >/dev/null
expect 2 'choose another port' "$PERDURE" --logbook other.perdure engine --bench bench.lua --page "127.0.0.1:$port"

# 3. Strangers: another Host, another Origin, no token, a wrong one, a request that is too long.
status 421 -H 'Host: evil.example' "$url/"
status 421 -H 'Host: 127.0.0.1:1' "$url/events"
status 200 -H "Host: localhost:$port" "$url/"
status 403 -H 'Origin: http://evil.example' "$url/events"
status 403 -H 'Origin: null' "$url/session"
body='{"question":1,"answer":"1875"}'
answer 403 "$(printf %064d 0)" -d "$body"
status 403 -H 'Content-Type: application/json' -d "$body" "$url/answer"
answer 403 "$token" -H 'Origin: http://evil.example' -d "$body"
status 415 -H "Authorization: Bearer $token" -H 'Content-Type: text/plain' -d "$body" "$url/answer"
answer 413 "$token" -d "$(head -c 5000 /dev/zero | tr '\0' ' ')"
long=$(head -c 30000 /dev/zero | tr '\0' a)
got=$(curl -s -m 10 -o /dev/null -w '%{http_code}' "$url/$long" || true)
case $got in 413 | 414 | 431 | 000) ;; *) fail "a path of 30,000 letters: $got" ;; esac
got=$(curl -s -m 10 -o /dev/null -w '%{http_code}' -H "X-Long: $long" "$url/" || true)
case $got in 413 | 431 | 000) ;; *) fail "a header of 30,000 letters: $got" ;; esac

# 4. What happens is pushed: a run, its readings, its question (as text, never as markup).
heard '"step":"charge"' "$PERDURE" start capacity --cells T-01
grep -q '^event: live$' events.txt || fail "no live event"
heard 'What does <b>the display</b> say?' "$PERDURE" start asking.lua --cells T-02
grep -qF '"hint":"a number in mAh"' events.txt || fail "no hint"
heard '"expected_s"' true
heard '"when":"going on"' "$PERDURE" start study-shelf --cells T-03,T-04,T-05,T-06
grep -q '^event: lists$' events.txt || fail "no lists"
heard '"curves":[{"channel":"S1"' true
[ "$(grep -c '^event: live$' events.txt)" -le $((listened + 2)) ] || fail "more than one live event a second"

# 5. An answer: refused with the reason, then taken; it is on record when the page says so, and the run goes on.
answer 422 "$token" -d '{"question":1,"answer":"many","who":"Ada"}'
grep -q 'a number in mAh' body.txt || fail "what a good answer is: $(cat body.txt)"
answer 422 "$token" -d '{"question":77,"answer":"1","who":"Ada"}'
answer 400 "$token" -d '{"question":1}'
answer 400 "$token" -d '{"act":"stop","run":1}'
answer 200 "$token" -d '{"question":1,"answer":"1.875 Ah","who":"Ada"}'
[ "$(ask_logbook "SELECT answer || who FROM answer WHERE question = 1")" = 1875.0Ada ] || fail "the answer on record"
within 2 on_record done "SELECT state FROM run WHERE id = 2" || fail "run 2 does not go on"
[ "$(ask_logbook "SELECT value FROM result WHERE name = 'typed'")" = 1.875 ] || fail "the answer did not reach the run"
[ "$(ask_logbook "SELECT state FROM run WHERE id = 1")" = running ] || fail "run 1 was stopped by the page"

expect 0 'going on' "$PERDURE" overview
expect 0 'study-shelf.lua' "$PERDURE" overview
expect 0 '"expected_end_at": "20' "$PERDURE" --json overview
printf '\n\n' | "$PERDURE" overview --on-request >lines.txt
[ "$(wc -l <lines.txt)" = 2 ] || fail "one line for every line"

# 6. More readers than places: the others are told so, and the page can still be had.
# The listeners of before are found gone when they are next written to.
has_connections() {
    [ "$(connections)" = "$1" ]
}
eventually has_connections "$alone" || fail "$(connections) connections, and $alone without a listener"
for i in $(seq 52); do
    curl -s -N -m 120 -o "reader-$i.txt" -w '%{http_code}\n' "$url/events" >"code-$i.txt" &
    readers="${readers:-} $!"
done
refused() {
    cat code-*.txt | grep -c 503
}
served() {
    grep -l '^event: live$' reader-*.txt 2>/dev/null | wc -l
}
all_came() {
    [ $(($(refused) + $(served))) -ge 52 ]
}
eventually all_came
[ "$(refused)" = 4 ] || fail "places: $(cat code-*.txt | sort | uniq -c)"
[ "$(served)" = 48 ] || fail "not all readers were served: $(served)"
status 200 "$url/"
# shellcheck disable=SC2086
kill $readers 2>/dev/null || true
# shellcheck disable=SC2086
wait $readers || true

# 7. The end: within two seconds, whoever listens.
curl -s -N -m 120 "$url/events" >events.txt &
listener=$!
eventually [ -s events.txt ] || fail "nothing comes to the last listener"
end_engine TERM
wait "$listener" || true
[ ! -s engine.err ] || fail "said on standard error: $(cat engine.err)"

# 8. For reading only: no token, nothing can be changed; the old token opens nothing.
old=$token
begin_page --page 127.0.0.1:0 --page-read-only
[ -z "$token" ] || fail "a token for a page that is read only"
status 200 "$url/session"
grep -q '"read_only":true' body.txt || fail "the page does not know"
answer 403 "$old" -d "$body"
answer 403 "" -d "$body"
end_engine TERM

# 9. On a network it warns; a Host by name is still none of ours.
begin_page --page 0.0.0.0:0 --page-unencrypted-network
grep -q 'not encrypted' engine.err || fail "no warning: $(cat engine.err)"
status 200 "http://127.0.0.1:$port/"
status 421 -H "Host: bench.example:$port" "http://127.0.0.1:$port/"
end_engine TERM

sound
expect 0 '0 findings' "$PERDURE" audit
finish
