#!/bin/sh
# The power is cut at drawn writes and syncs: nothing is damaged, nothing acknowledged is lost, and an
# engine finishes what was begun. Two controls must find harm. Long form: CUTS=1000 sh tests/whole/power_cut.sh
. "$(dirname "$0")/../support/whole.sh"

cut=$(dirname "$PERDURE")/tests/fault/cut_power
: "${SEED:=1}"
case ${KIND:-plain} in
sanitized) : "${CUTS:=25}" ;;
*) : "${CUTS:=100}" ;;
esac
# The shim keeps what is durable itself: real syncs would only take time.
disk=$work
if shared=$(mktemp -d /dev/shm/power-cut-XXXXXX 2>/dev/null); then
    disk=$shared
    trap 'rm -rf "$work" "$shared"' EXIT
fi

"$cut" "$disk" "$CUTS" "$SEED" >found.txt || fail "power cuts did harm: $(cat found.txt)"
cat found.txt
grep -q "^$CUTS cuts" found.txt || fail "not $CUTS cuts: $(cat found.txt)"

# Controls: without a sync at each commit facts are lost; with a disk that lies the file is damaged. A
# harness that does not see that sees nothing.
"$cut" "$disk" 40 "$SEED" normal >found.txt || fail "synchronous=NORMAL lost nothing: $(cat found.txt)"
echo "control, synchronous=NORMAL:" && cat found.txt
"$cut" "$disk" 40 "$SEED" lies >found.txt || fail "a lying disk did no damage: $(cat found.txt)"
echo "control, a disk that lies:" && cat found.txt

# A cut while the log is moved into the file may tear the file's first page. The log still has it: the
# logbook must not be taken for something else.
new_logbook whole
torn=$work/torn.perdure
sqlite3 "$PERDURE_LOGBOOK" 'PRAGMA wal_autocheckpoint = 0' \
    "WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 40)
     INSERT INTO event (at, level, text) SELECT created_at, 'note', hex(zeroblob(2000)) FROM n, logbook" \
    ".shell cp $PERDURE_LOGBOOK $torn && cp $PERDURE_LOGBOOK-wal $torn-wal" >/dev/null
dd if=/dev/zero of="$torn" bs=512 count=1 conv=notrunc 2>/dev/null
cp "$torn" "$work/bare.perdure"
expect 0 '0 findings' "$PERDURE" --logbook "$torn" audit
[ "$(sqlite3 "$torn" 'SELECT count(*) FROM event')" = 40 ] || fail "the torn logbook lost its events"
expect 3 'bare.perdure' "$PERDURE" --logbook "$work/bare.perdure" audit
finish
