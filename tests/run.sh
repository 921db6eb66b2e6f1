#!/bin/sh
# Every test: format, static analysis, layers, unit tests and whole-program tests, plain and under
# AddressSanitizer and UndefinedBehaviorSanitizer. Sets up what is missing; can be run again at once.
# Ends with "N passed, N failed".
set -eu
cd "$(dirname "$0")/.."
. tests/support/setup.sh
set_up $build_needs $test_needs
set_up_browser

passed=0
failed=0
log=$(mktemp)
trap 'rm -f "$log"' EXIT

# check NAME COMMAND...: runs it quietly, shows its output when it fails.
check() {
    name=$1
    shift
    if "$@" >"$log" 2>&1; then
        if grep -q '\*\*\*Skipped' "$log"; then
            echo "skipped $name"
            return
        fi
        passed=$((passed + 1))
        echo "ok      $name"
    else
        failed=$((failed + 1))
        echo "FAILED  $name"
        sed 's/^/        /' "$log" | tail -60
    fi
}

sources=$(git ls-files '*.c' '*.h' 2>/dev/null || find core bindings tests -name '*.[ch]')

check "format (clang-format)" clang-format --dry-run --Werror $sources
check "static analysis (cppcheck)" cppcheck --quiet --std=c11 --error-exitcode=1 \
    --enable=warning,performance,portability --inline-suppr --suppress=missingIncludeSystem \
    -D_GNU_SOURCE -DPERDURE_VERSION='"0"' -DPERDURE_PROTOCOLS='"."' -I core -I . core bindings
check "scripts (luacheck)" luacheck --quiet protocols demo tests bindings
check "layers look downwards only" sh tests/layers.sh

for kind in plain sanitized; do
    build=build/tests-$kind
    sanitize=OFF
    [ "$kind" = plain ] || sanitize=ON
    check "$kind: configure" cmake -S . -B "$build" -DSANITIZE=$sanitize
    check "$kind: build" cmake --build "$build" -j2
    for test in $(cd "$build" && ctest -N | sed -n 's/^ *Test *#[0-9]*: //p'); do
        check "$kind: $test" ctest --test-dir "$build" --output-on-failure -R "^$test\$"
    done
    for test in tests/whole/*.sh; do
        check "$kind: $(basename "$test" .sh)" env PERDURE="$PWD/$build/perdure" KIND=$kind sh "$test"
    done
done

echo
echo "$passed passed, $failed failed"
[ "$failed" = 0 ]
