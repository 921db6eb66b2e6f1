#!/bin/sh
# The bench file that the emulator writes is one that Perdure reads, and every instrument in it is
# reached and is who it should be: all kinds, over terminals and TCP, shared boards and all.
# $EMULATOR and $PERDURE are the programs.
set -eu
work=$(mktemp -d)
served=
end() {
    [ -z "$served" ] || kill "$served" 2>/dev/null || true
    rm -rf "$work"
}
trap end EXIT
cd "$work"
PERDURE_LOGBOOK=$work/logbook.perdure
export PERDURE_LOGBOOK

# serve NAME ENDPOINT...: starts it, and waits until it serves.
serve() {
    name=$1
    shift
    "$EMULATOR" --for 60 --speed 60 --control "$work/control" --bench-file "$work/$name.lua" "$@" \
        >"$work/$name.txt" &
    served=$!
    until grep -q '^ready' "$work/$name.txt"; do
        kill -0 $served
        sleep 0.05
    done
}

# expect COUNT WORDS FILE
expect() {
    count=$(grep -c -- "$2" "$3" || true)
    [ "$count" = "$1" ] || { echo "$count lines with \"$2\", not $1:"; cat "$3"; exit 1; }
}

"$PERDURE" new --clock x60 >/dev/null

serve three --sets 3 supply="pty:$work/supply-%" load=tcp:0 meter="pty:$work/meter" \
    thermometer="pty:$work/thermometer-%" relay=tcp:0 scanner="pty:$work/scanner"
"$PERDURE" bench three.lua >shown.txt
expect 12 ' ready .*Saltmere Instruments' shown.txt
expect 3 '^E[123]  *emulated  *1.2 s  *1\.[23]' shown.txt
"$EMULATOR" --tell control all wrong-identity >/dev/null
if "$PERDURE" bench three.lua >shown.txt 2>&1; then
    echo "strangers were taken for the instruments:"
    cat shown.txt
    exit 1
fi
"$EMULATOR" --tell control quit >/dev/null
wait $served

serve one two-quadrant="pty:$work/source"
"$PERDURE" bench one.lua >shown.txt
expect 1 'SQ-1' shown.txt
expect 1 '^E1  *emulated' shown.txt
