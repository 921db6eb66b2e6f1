# Helpers of the whole-program tests with an engine beside them. Sourced after whole.sh.
# shellcheck shell=sh

engine=
served= # programs that a test needs as well
end_all() {
    for id in $engine $served; do
        kill -CONT "$id" 2>/dev/null || true
        kill -KILL "$id" 2>/dev/null || true
    done
    rm -rf "$work"
}
trap end_all EXIT

# begin_engine BENCH [OPTIONS]: in $engine, until it can be talked to; what it says goes to engine.txt.
begin_engine() {
    rm -f "$PERDURE_LOGBOOK-socket" # a killed one's
    "$PERDURE" engine --bench "$@" >>engine.txt 2>&1 &
    engine=$!
    eventually [ -S "$PERDURE_LOGBOOK-socket" ] || fail "the engine opened no socket: $(cat engine.txt)"
}

# end_engine SIGNAL: told to end, it does, well and within two seconds.
end_engine() {
    kill "-$1" "$engine"
    within 2 is_gone "$engine" || fail "SIG$1 took over two seconds"
    wait "$engine" || fail "status $? after SIG$1: $(cat engine.txt)"
    engine=
}

# The process of the engine's guardian; nothing when there is none.
guardian() {
    for status in $(grep -lsx "PPid:[[:space:]]*$engine" /proc/[0-9]*/status); do
        ! grep -qsx 'Name:[[:space:]]*perdure-guard.*' "$status" || echo "$status" | cut -d/ -f3
    done
}

# until_following PID: that `runs --follow` has looked once, and tells of what changes from now on. It makes itself
# nice before it does, and sleeps after.
until_following() {
    eventually sleeps_nicely "$1" || true
}
sleeps_nicely() {
    # shellcheck disable=SC2046
    set -- $(cat "/proc/$1/stat")
    [ "$3" = S ] && [ "${19}" -gt "$(nice)" ]
}

kill_engine() {
    kill -KILL "$engine"
    wait "$engine" 2>/dev/null || true
    engine=
}
