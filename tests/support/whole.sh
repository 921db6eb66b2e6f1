# Helpers of the whole-program tests. Sourced; $PERDURE is the program.
# shellcheck shell=sh

set -eu
# Texts are UTF-8, whatever the shell that started this goes by.
LC_ALL=C.UTF-8
export LC_ALL
top=$(cd "$(dirname "$0")/../.." && pwd)
: "${PERDURE:=$top/build/perdure}"
PERDURE_PROTOCOLS=$top/protocols
PERDURE_DRIVERS=$top/bindings/drivers
export PERDURE_PROTOCOLS PERDURE_DRIVERS
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cd "$work"
failures=0

fail() {
    failures=$((failures + 1))
    echo "FAILED: $*"
}

# expect STATUS WORDS COMMAND...: the command ends with STATUS, and its output has WORDS in it. A
# failure must say exactly one line on standard error.
expect() {
    status=$1
    words=$2
    shift 2
    got=0
    "$@" >out.txt 2>err.txt </dev/null || got=$?
    [ "$got" = "$status" ] || fail "status $got, not $status: $* ($(cat err.txt))"
    [ -z "$words" ] || cat out.txt err.txt | grep -qF -- "$words" || fail "no \"$words\" in: $* ($(head -c 600 out.txt) $(cat err.txt))"
    if [ "$status" != 0 ]; then
        [ "$(grep -c '^perdure: .*: .*; ' err.txt)" = 1 ] || fail "not one line WHAT: WHY; WHAT TO DO: $(cat err.txt)"
    fi
}

# within SECONDS COMMAND...: waits until the command succeeds; false when it never did. The seconds are counted in
# turns of 50 ms, which grow longer where the machine has no time for us: a promise is not broken by a busy machine.
within() {
    turns=$(($1 * 20))
    shift
    until "$@"; do
        turns=$((turns - 1))
        [ "$turns" -gt 0 ] || return 1
        sleep 0.05
    done
}

# eventually COMMAND...: for what has no promised time.
eventually() {
    within 60 "$@"
}

# seconds_up: a clock that nobody sets.
seconds_up() {
    cut -d. -f1 /proc/uptime
}

# is_gone PID: it has ended, whether or not anybody has waited for it.
is_gone() {
    [ ! -e "/proc/$1" ] || grep -qs '^State:[[:space:]]*Z' "/proc/$1/status"
}

# A new logbook with a virtual clock and a few NiMH cells.
new_logbook() {
    PERDURE_LOGBOOK=$work/$1.perdure
    export PERDURE_LOGBOOK
    "$PERDURE" new --clock virtual --from 2026-03-02 --seed 7 >/dev/null
    "$PERDURE" enrol --model "Test 2000" --chemistry NiMH --rated "2000 mAh" --size AA \
        --labels T-01,T-02,T-03,T-04 >/dev/null
}

# sound: what SQLite itself says about the logbook.
sound() {
    [ "$(ask_logbook 'PRAGMA integrity_check')" = ok ] || fail "integrity check"
    [ -z "$(ask_logbook 'PRAGMA foreign_key_check')" ] || fail "foreign key check"
}

# Waits where another process has the file to itself for a moment, as at its opening after a kill.
ask_logbook() {
    sqlite3 -noheader -cmd '.timeout 30000' "$PERDURE_LOGBOOK" "$1"
}

# on_record ANSWER SQL: whether the logbook says so.
on_record() {
    [ "$(ask_logbook "$2")" = "$1" ]
}

finish() {
    [ "$failures" = 0 ] || exit 1
    exit 0
}
