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
    for _ in $(seq 200); do
        [ -S "$PERDURE_LOGBOOK-socket" ] && break
        sleep 0.05
    done
}

kill_engine() {
    kill -KILL "$engine"
    wait "$engine" 2>/dev/null || true
    engine=
}
