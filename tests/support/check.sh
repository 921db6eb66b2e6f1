#!/bin/sh
# One check: sh tests/support/check.sh RESULTS NAME COMMAND...
# Runs it quietly, says "ok", "skipped" or "FAILED" in front of its name, and what it said when it failed; a line
# for it goes into RESULTS/passed or RESULTS/failed. Several may run at once: what each says stays together.
results=$1 name=$2
shift 2
log=$(mktemp "$results/log.XXXXXX")
if ! "$@" >"$log" 2>&1; then
    echo "$name" >>"$results/failed"
    { echo "FAILED  $name"; sed 's/^/        /' "$log" | tail -60; } >"$log.said"
elif grep -q '\*\*\*Skipped' "$log"; then
    echo "skipped $name" >"$log.said"
else
    echo "$name" >>"$results/passed"
    echo "ok      $name" >"$log.said"
fi
cat "$log.said"
rm -f "$log" "$log.said"
