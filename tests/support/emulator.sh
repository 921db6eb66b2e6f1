# Helpers of the whole-program tests with emulated instruments, and an engine beside them. Sourced after whole.sh.
# shellcheck shell=sh

. "$top/tests/support/engine.sh"

emulator=$(dirname "$PERDURE")/tests/emulator/emulator
end_served() {
    # shellcheck disable=SC2086
    kill $served
    # shellcheck disable=SC2086
    wait $served 2>/dev/null || true
    served=
}

# serve NAME ARGUMENTS...: an emulator that is ready, with its bench file in NAME.lua and its control at NAME.control.
# It ends with the test, and where that was killed, by itself.
serve() {
    served_as=$1
    shift
    "$emulator" --for 1800 --bench-file "$served_as.lua" --control "$served_as.control" "$@" >"$served_as.txt" 2>&1 &
    served="$served $!"
    eventually grep -qs '^ready' "$served_as.txt" || fail "the emulator is not ready: $(cat "$served_as.txt")"
}

# tell WHO ORDER...: what the emulator served last is told to do.
tell() {
    "$emulator" --tell "$served_as.control" "$@" >/dev/null || fail "the emulator does not do: $*"
}
