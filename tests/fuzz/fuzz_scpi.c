/* Whatever bytes come: nothing in scpi.h reads beyond them, what is accepted is what the standard's
 * grammar says, and what was read can be written and read again. */
#include <ctype.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "link/scpi.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size);

#define must(condition)                                                                            \
    do {                                                                                           \
        if (!(condition)) {                                                                        \
            fprintf(stderr, "%s:%d: does not hold: %s\n", __FILE__, __LINE__, #condition);         \
            abort();                                                                               \
        }                                                                                          \
    } while (0)

/* NR1, NR2 or NR3 by a small automaton, written apart from the reader. */
static bool is_number(const char *bytes, size_t length)
{
    static const char next[7][5] = {
        /* digit sign point E other */
        {2, 1, -1, -1, -1}, {2, -1, -1, -1, -1}, {2, -1, 3, 5, -1},   {4, -1, -1, -1, -1},
        {4, -1, -1, 5, -1}, {7, 6, -1, -1, -1},  {7, -1, -1, -1, -1},
    };
    int state = 0;
    for (size_t i = 0; i < length; i++) {
        char byte = bytes[i];
        int kind = byte >= '0' && byte <= '9'   ? 0
                   : byte == '+' || byte == '-' ? 1
                   : byte == '.'                ? 2
                   : byte == 'E' || byte == 'e' ? 3
                                                : 4;
        state = state == 7 ? (kind == 0 ? 7 : -1) : next[state][kind];
        if (state < 0)
            return false;
    }
    return state == 2 || state == 4 || state == 7;
}

static void check_number(const char *bytes, size_t length)
{
    double value, again;
    enum scpi_number found = scpi_number(bytes, length, &value);
    if (found == SCPI_MALFORMED) {
        must(isnan(value));
        return;
    }
    must(is_number(bytes, length));
    must(scpi_parameter(bytes, length, &again) == found);
    must(found == SCPI_NUMBER     ? isfinite(value) && fabs(value) < 9.9e37
         : found == SCPI_OVERLOAD ? isinf(value)
                                  : isnan(value));
    char *text = strndup(bytes, length);
    must(text != NULL);
    if (found == SCPI_NUMBER)
        must(strtod(text, NULL) == value);
    free(text);
    struct text written = TEXT_EMPTY;
    scpi_add_number(&written, value);
    must(scpi_number(written.bytes, written.length, &again) == found);
    must(isnan(value) ? isnan(again) : again == value);
    text_free(&written);
}

static void check_string(const char *bytes, size_t length)
{
    char out[512], again[512];
    if (!scpi_string(bytes, length, out, sizeof out))
        return;
    must(length >= 2 && strlen(out) <= length - 2);
    struct text written = TEXT_EMPTY;
    scpi_add_string(&written, out);
    must(scpi_string(written.bytes, written.length, again, sizeof again));
    must(strcmp(out, again) == 0);
    text_free(&written);
}

static void check_items(const char *bytes, size_t length)
{
    size_t at = 0, item_length, last = 0;
    const char *item;
    while (scpi_item(bytes, length, &at, &item, &item_length)) {
        must(item >= bytes + last && item + item_length <= bytes + length);
        must(at > last || last == 0);
        must(at > (size_t)(item - bytes));
        last = at;
        check_number(item, item_length);
        check_string(item, item_length);
        must(at > length || bytes[at - 1] == ',');
    }
}

static void check_block(const char *bytes, size_t length)
{
    size_t content, size;
    struct text written = TEXT_EMPTY;
    if (scpi_block(bytes, length, &content, &size) == SCPI_BLOCK_WHOLE)
        must(content >= 2 && content <= 11 && content <= length);
    scpi_add_block(&written, bytes, length);
    must(scpi_block(written.bytes, written.length, &content, &size) == SCPI_BLOCK_WHOLE);
    must(size == length && content + size == written.length);
    must(memcmp(written.bytes + content, bytes, length) == 0);
    text_free(&written);
}

static void check_header(const char *bytes, size_t length)
{
    static const char *const patterns[] = {
        "[SOURce#:]VOLTage[:LEVel]",
        "MEASure:VOLTage[:DC]?",
        "*IDN?",
        "OUTPut#:PROTection#",
    };
    for (size_t i = 0; i < sizeof patterns / sizeof *patterns; i++) {
        int suffixes[2] = {-1, -1};
        if (!scpi_header(patterns[i], bytes, length, suffixes, 2))
            continue;
        /* Matched: so it does in capitals, and with anything behind it it does not. */
        char upper[520];
        must(length < sizeof upper - 2);
        for (size_t k = 0; k < length; k++)
            upper[k] = (char)toupper((unsigned char)bytes[k]);
        must(scpi_header(patterns[i], upper, length, suffixes, 2));
        memcpy(upper + length, ":X", 2);
        must(!scpi_header(patterns[i], upper, length + 2, suffixes, 2));
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *input, size_t size)
{
    const char *bytes = (const char *)input;
    struct scpi_identity identity;
    struct scpi_trouble trouble;
    int64_t integer;
    bool boolean;
    double value;
    if (size > 500)
        return 0;
    check_number(bytes, size);
    check_string(bytes, size);
    check_items(bytes, size);
    check_block(bytes, size);
    check_header(bytes, size);
    scpi_parameter(bytes, size, &value);
    scpi_boolean(bytes, size, &boolean);
    if (scpi_integer(bytes, size, &integer))
        must(is_number(bytes, size));
    if (scpi_identity(bytes, size, &identity))
        must(memchr(bytes, ',', size) != NULL && strlen(identity.firmware) < size);
    if (scpi_trouble(bytes, size, &trouble))
        must(trouble.code >= -32768 && trouble.code <= 32767 && strlen(trouble.text) < size);
    return 0;
}
