#!/bin/sh
# The long form of the fuzzers: 10 million inputs each, chosen by libFuzzer as it sees which code they
# reach, under AddressSanitizer and UndefinedBehaviorSanitizer. Needs clang and its runtime (Debian:
# clang, libclang-rt-dev). A finding is kept in the folder given: run the fuzzer with its path to see it
# again, and make it a test first.
#
#   run.sh [INPUTS [FOLDER]]
set -eu
cd "$(dirname "$0")/../.."
inputs=${1:-10000000}
folder=${2:-build/fuzz}
mkdir -p "$folder"
flags=$(pkg-config --cflags --libs libuv libserialport jansson libmd libmicrohttpd)
# The texts of the page, as CMake embeds them.
cmake -S . -B build >/dev/null
for topic in line scpi http; do
    case $topic in
    http) # over real sockets: a hundredth of the inputs
        sources="core/page/gate.c core/page/routes.c core/page/server.c core/page/stream.c core/link/loop.c"
        runs=$((inputs / 100)) ;;
    *)
        sources="core/link/frame.c core/link/scpi*.c"
        runs=$inputs ;;
    esac
    # shellcheck disable=SC2086
    clang -std=c11 -O1 -g -D_GNU_SOURCE -Icore -Itests -Ibuild/generated -fno-omit-frame-pointer \
        -fsanitize=fuzzer,address,undefined -fno-sanitize-recover=all \
        tests/fuzz/fuzz_$topic.c $sources core/base/*.c \
        $flags -lm -o "$folder/fuzz_$topic"
    mkdir -p "$folder/$topic"
    "$folder/fuzz_$topic" -runs="$runs" -max_len=400 -timeout=5 -seed=1 -verbosity=0 \
        -print_final_stats=1 -artifact_prefix="$folder/$topic-" "$folder/$topic"
done
