/* Building messages: numbers, strings, blocks. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "link/scpi.h"

/* 488.2 8.7.4: NR3 has digits on both sides of the point, and a signed exponent. */
void scpi_add_number(struct text *text, double value)
{
    char digits[40];
    if (isnan(value)) {
        text_add(text, "9.91E+37");
        return;
    }
    if (isinf(value)) {
        text_add(text, value > 0 ? "9.9E+37" : "-9.9E+37");
        return;
    }
    if (value == 0)
        value = 0; /* no "-0" */
    for (int precision = 1; precision <= 16; precision++) {
        snprintf(digits, sizeof digits, "%.*E", precision, value);
        if (strtod(digits, NULL) == value)
            break;
    }
    text_add(text, digits);
}

void scpi_add_string(struct text *text, const char *string)
{
    text_add(text, "\"");
    for (const char *quote; (quote = strchr(string, '"')) != NULL; string = quote + 1) {
        text_add_bytes(text, string, (size_t)(quote - string));
        text_add(text, "\"\"");
    }
    text_add(text, string);
    text_add(text, "\"");
}

void scpi_add_block(struct text *text, const void *bytes, size_t length)
{
    char size[24];
    int digits = snprintf(size, sizeof size, "%zu", length);
    if (digits > 9) /* more than a head can say: the size of all blocks is bounded far below */
        abort();
    text_addf(text, "#%d%s", digits, size);
    text_add_bytes(text, bytes, length);
}
