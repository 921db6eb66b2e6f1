#!/bin/sh
# Every test: format, static analysis, layers, unit tests and whole-program tests, plain and under
# AddressSanitizer and UndefinedBehaviorSanitizer. Sets up what is missing; can be run again at once.
# Ends with "N passed, N failed".
set -eu
cd "$(dirname "$0")/.."
. tests/support/setup.sh
set_up $build_needs $test_needs
set_up_browser

# Tests at once. Most of them wait most of their time: for processes, for lines, for clocks as fast as real ones.
at_once=3
results=$(mktemp -d)
trap 'rm -rf "$results"' EXIT
touch "$results/passed" "$results/failed"

check() {
    sh tests/support/check.sh "$results" "$@"
}

# unit_tests BUILD KIND: those of cmocka, by ctest, said as check says them.
unit_tests() {
    ctest --test-dir "$1" -j "$at_once" --output-on-failure 2>&1 | awk -v kind="$2" -v results="$results" '
        /^ *[0-9]+\/[0-9]+ Test +#[0-9]+: / {
            name = kind ": " $4
            failed = !/ Passed /
            skipped = /\*\*\*Skipped/
            print (skipped ? "skipped " : failed ? "FAILED  " : "ok      ") name
            if (!skipped) print name >>(results "/" (failed ? "failed" : "passed"))
            failed = failed && !skipped
            fflush()
            n++
            next
        }
        failed { print "        " $0 }
        END { if (!n) { print "FAILED  " kind ": no unit test ran"; print kind ": unit tests" >>(results "/failed") } }'
}

# some_whole_tests BUILD KIND AT_ONCE TEST...
some_whole_tests() {
    build=$1 kind=$2 some=$3
    shift 3
    for test in "$@"; do
        echo "\"$kind: $(basename "$test" .sh)\" env \"PERDURE=$PWD/$build/perdure\" KIND=$kind sh $test"
    done | xargs -L 1 -P "$some" sh tests/support/check.sh "$results"
}

# whole_tests BUILD KIND: those of the whole program; first those that look at a clock, which leave the machine idle;
# then those that take longest, so that none of them is left for the end.
timed="tests/whole/guardian.sh tests/whole/follow.sh"
long="tests/whole/browser.sh tests/whole/kill.sh tests/whole/verdict.sh tests/whole/disk_trouble.sh tests/whole/power_cut.sh
  tests/whole/show.sh tests/whole/faults.sh tests/whole/correct.sh tests/whole/browser_live.sh"
whole_tests() {
    # shellcheck disable=SC2086
    some_whole_tests "$1" "$2" 2 $timed
    # shellcheck disable=SC2046,SC2086
    some_whole_tests "$1" "$2" "$at_once" $long $(ls tests/whole/*.sh | grep -vxF "$(printf '%s\n' $timed $long)")
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
    unit_tests "$build" "$kind"
    whole_tests "$build" "$kind"
done

passed=$(wc -l <"$results/passed")
failed=$(wc -l <"$results/failed")
echo
cat "$results/failed" # once more, where it is seen
echo "$passed passed, $failed failed"
[ "$failed" = 0 ]
