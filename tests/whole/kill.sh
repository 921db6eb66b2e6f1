#!/bin/sh
# The engine killed at random instants, and all that must hold after each kill: see tests/fault/kill.c.
# Fifty kills here, fewer under the sanitizers; a thousand: tests/fault/kill --kills 1000, in the build
# folder. Part of it are the controls: damage of every kind done to copies, each of which must be found.
set -eu
top=$(cd "$(dirname "$0")/../.." && pwd)
: "${PERDURE:=$top/build/perdure}"
export PERDURE
"$(dirname "$PERDURE")/tests/fault/kill" "$@"
