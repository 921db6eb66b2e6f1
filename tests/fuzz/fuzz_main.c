/* Runs a fuzzer without libFuzzer: on files, to see a finding again, or on inputs made here.
 *
 *   fuzz_TOPIC COUNT [SEED]     that many inputs, the same for the same seed
 *   fuzz_TOPIC FILE...
 *
 * An input is put together from pieces that mean something to the code (digits, quotes, heads of
 * blocks, terminators) and stray bytes, so that most get further than the first check. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/random.h"
#include "base/text.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size);

#define INPUT_MOST 400

static const char *const pieces[] = {
    "0",     "1",      "42",   ".",  "E",     "e+",           "-",     "+",    "9.9E37", "9.91E37",
    "32000", "\n",     "\r\n", "\r", ",",     ", ",           "\"",    "\"\"", "'",      "''",
    "#0",    "#13abc", "#210", "#9", "#",     "ON",           "OFF",   "VOLT", "age",    "SOURce2",
    ":",     "[",      "]",    "?",  "*IDN?", "\"No error\"", "-350,", " ",    "\t",     "\x7f",
};

static size_t make_input(struct random *random, uint8_t *input)
{
    int64_t wanted = random_range(random, 1, 40);
    size_t length = 0;
    for (int64_t i = 0; i < wanted; i++) {
        uint64_t kind = random_bits(random) % 8;
        const char *piece = pieces[random_bits(random) % (sizeof pieces / sizeof *pieces)];
        size_t size = strlen(piece);
        if (kind == 0 || length + size > INPUT_MOST) {
            if (length < INPUT_MOST)
                input[length++] = (uint8_t)random_bits(random);
        } else {
            size_t times = kind == 1 ? (size_t)random_range(random, 1, 20) : 1;
            for (; times > 0 && length + size <= INPUT_MOST; times--, length += size)
                memcpy(input + length, piece, size);
        }
    }
    return length;
}

static int run_file(const char *path)
{
    struct error error;
    char *bytes;
    size_t length;
    if (file_read(path, 1 << 20, &bytes, &length, &error)) {
        error_print(stderr, &error);
        return 1;
    }
    LLVMFuzzerTestOneInput((const uint8_t *)bytes, length);
    free(bytes);
    return 0;
}

int main(int argc, char **argv)
{
    char *end;
    long count = argc > 1 ? strtol(argv[1], &end, 10) : 200000;
    if (argc > 1 && *end != '\0') {
        int failed = 0;
        for (int i = 1; i < argc; i++)
            failed |= run_file(argv[i]);
        return failed;
    }
    struct random random;
    uint8_t input[INPUT_MOST];
    uint64_t seed = argc > 2 ? strtoull(argv[2], NULL, 10) : 1;
    random_seed(&random, seed);
    for (long i = 0; i < count; i++) {
        size_t length = make_input(&random, input);
        /* A copy of just that size, so that a sanitizer sees one byte too many. */
        uint8_t *copy = xmalloc(length);
        memcpy(copy, input, length);
        LLVMFuzzerTestOneInput(copy, length);
        free(copy);
    }
    printf("%ld inputs, seed %" PRIu64 ": nothing found\n", count, seed);
    return 0;
}
