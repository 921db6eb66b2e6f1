/* ISO 8601 durations, and spans of time for people: see calendar.h. */
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/calendar.h"
#include "base/quantity.h"
#include "base/text.h"

#define S_PER_MIN 60
#define S_PER_H   3600
#define S_PER_D   86400

/* ISO 8601 dates have four digits of year; nothing longer can be counted from one. */
#define YEARS_MAX   9999
#define MONTHS_MAX  (YEARS_MAX * 12.0)
#define DAYS_MAX    (YEARS_MAX * 366.0)
#define SECONDS_MAX (DAYS_MAX * S_PER_D)
#define SPAN_MAX    1e15

struct total {
    double months, days, seconds;
};

/* The designators in the order in which they must come. */
static const struct {
    char letter;
    bool after_t;
    double months, days, seconds; /* what one of it is */
} parts[] = {
    {'Y', false, 12, 0, 0}, {'M', false, 1, 0, 0},      {'W', false, 0, 7, 0},
    {'D', false, 0, 1, 0},  {'H', true, 0, 0, S_PER_H}, {'M', true, 0, 0, S_PER_MIN},
    {'S', true, 0, 0, 1},
};

#define PART_COUNT (sizeof parts / sizeof parts[0])

static int fail(const char *text, struct error *error, const char *todo, const char *why)
{
    char quoted[80];
    return error_set(error, ERROR_USAGE, string_quote(text, quoted, sizeof quoted), todo, "%s",
                     why);
}

static size_t count_digits(const char *at)
{
    size_t count = 0;
    while (at[count] >= '0' && at[count] <= '9')
        count++;
    return count;
}

/* Reads "12" or "0.5" or "0,5" (the standard has both marks); false when it is no number. */
static bool read_number(const char **at, double *value, bool *has_fraction)
{
    char number[40];
    size_t whole = count_digits(*at), length = whole;
    *has_fraction = whole != 0 && ((*at)[whole] == '.' || (*at)[whole] == ',');
    if (*has_fraction) {
        size_t fraction = count_digits(*at + whole + 1);
        if (fraction == 0)
            return false;
        length += 1 + fraction;
    }
    if (whole == 0 || length >= sizeof number)
        return false;
    memcpy(number, *at, length);
    number[length] = '\0';
    if (*has_fraction)
        number[whole] = '.';
    *value = strtod(number, NULL);
    *at += length;
    return true;
}

static int fail_designator(const char *text, struct error *error, char letter, bool after_t)
{
    for (size_t i = 0; i < PART_COUNT; i++)
        if (parts[i].letter == letter && parts[i].after_t == after_t)
            return fail(text, error, "write years to seconds in this order: P1Y6M4DT12H30M5S",
                        "a part is given twice or out of order");
    if (!after_t && (letter == 'H' || letter == 'S'))
        return fail(text, error, "write PT16H, not P16H",
                    "a T must stand before hours and seconds");
    if (after_t && (letter == 'Y' || letter == 'W' || letter == 'D'))
        return fail(text, error, "write P1DT12H, not PT1D12H",
                    "years, weeks and days stand before the T");
    return fail(text, error, "write a duration such as P42D, P6W, P1Y6M or PT16H",
                "a number has none of the letters Y, M, W, D, H, M, S after it");
}

/* Reads what follows the P. */
static int read_parts(const char *text, const char *at, struct total *total, struct error *error)
{
    static const char *const look = "write a duration such as P42D, P6W, P1Y6M or PT16H";
    bool after_t = false, had_fraction = false;
    size_t next = 0, count = 0;
    for (; *at != '\0'; count++) {
        if (*at == 'T') {
            if (after_t)
                return fail(text, error, look, "there is more than one T");
            after_t = true;
            at++;
        }
        double value;
        bool fraction;
        if (had_fraction)
            return fail(text, error, "put the fraction into the last part: PT1H30.5S",
                        "only the smallest part can have a fraction");
        if (!read_number(&at, &value, &fraction))
            return fail(text, error, look, "a number is missing or is no plain decimal number");
        size_t i = next;
        while (i < PART_COUNT && (parts[i].letter != *at || parts[i].after_t != after_t))
            i++;
        if (i == PART_COUNT)
            return fail_designator(text, error, *at, after_t);
        if (fraction && parts[i].months != 0)
            return fail(text, error, "write P1Y6M, not P1.5Y",
                        "a fraction of a month or a year has no fixed length");
        total->months += value * parts[i].months;
        total->days += value * parts[i].days;
        total->seconds += value * parts[i].seconds;
        had_fraction = fraction;
        next = i + 1;
        at++;
    }
    return count != 0 ? 0 : fail(text, error, look, "the P has nothing after it");
}

static int settle(const char *text, const struct total *total, struct duration *out,
                  struct error *error)
{
    if (total->months > MONTHS_MAX || total->days > DAYS_MAX || total->seconds > SECONDS_MAX)
        return fail(text, error, "give a shorter time", "is longer than 9999 years");
    double days = floor(total->days); /* P0.5D and P0.5W leave a fraction: hours */
    out->months = (int)total->months;
    out->days = (int)days;
    out->seconds = total->seconds + (total->days - days) * S_PER_D;
    return 0;
}

int duration_parse(const char *text, struct duration *out, struct error *error)
{
    const char *at = text != NULL ? text : "";
    struct total total = {0, 0, 0};
    int code;
    at += strspn(at, " \t");
    if (*at == '-' && at[1] == 'P')
        return fail(text, error, "write it without the sign", "a duration cannot be negative");
    if (*at == 'P' || (*at == '+' && at[1] == 'P')) {
        char trimmed[64]; /* without the sign, the P and the spaces at the end */
        at += *at == '+' ? 2 : 1;
        size_t length = strlen(at);
        while (length > 0 && (at[length - 1] == ' ' || at[length - 1] == '\t'))
            length--;
        if (length >= sizeof trimmed)
            return fail(text, error, "round it", "is longer than any duration needs to be");
        memcpy(trimmed, at, length);
        trimmed[length] = '\0';
        code = read_parts(text, trimmed, &total, error);
    } else {
        code = quantity_read(text, DIM_TIME, 0, &total.seconds, error);
        if (code == 0 && total.seconds < 0)
            code = fail(text, error, "write it without the sign", "a duration cannot be negative");
    }
    return code != 0 ? code : settle(text, &total, out, error);
}

int duration_seconds(const struct duration *duration, double *seconds, struct error *error)
{
    if (duration->months != 0)
        return error_set(error, ERROR_USAGE, "duration", "give it in days, such as P42D",
                         "months and years have no fixed length");
    *seconds = (double)duration->days * S_PER_D + duration->seconds;
    return 0;
}

static void add_part(struct text *text, int64_t count, const char *unit)
{
    if (count != 0)
        text_addf(text, "%s%lld %s", text->length > 1 ? " " : "", (long long)count, unit);
}

/* Below a minute four digits; then rounded to tenths of a second up to ten minutes, to seconds up
 * to a day, to minutes up to ten days, to hours beyond: off by 0.2 % at most. */
static void add_span(struct text *text, double seconds)
{
    double size = fabs(seconds);
    if (seconds < 0 && size >= 0.0005)
        text_add(text, "-");
    if (size < 59.995) {
        double steps = size < 10 ? 1000 : 100;
        text_addf(text, "%.4g s", round(size * steps) / steps);
        return;
    }
    double step = size < 10 * S_PER_MIN ? 0.1
                  : size < S_PER_D      ? 1
                  : size < 10 * S_PER_D ? 60
                                        : 3600;
    int64_t tenths = (int64_t)llround(round(size / step) * step * 10);
    int64_t whole = tenths / 10;
    add_part(text, whole / S_PER_D, "d");
    add_part(text, whole % S_PER_D / S_PER_H, "h");
    add_part(text, whole % S_PER_H / S_PER_MIN, "min");
    if (tenths % 10 != 0)
        text_addf(text, " %d.%d s", (int)(whole % S_PER_MIN), (int)(tenths % 10));
    else
        add_part(text, whole % S_PER_MIN, "s");
}

char *span_format(double seconds, char *buffer, size_t size)
{
    if (!isfinite(seconds) || fabs(seconds) > SPAN_MAX) {
        string_copy(buffer, size, isfinite(seconds) ? "more than 30 million years" : "unknown");
        return buffer;
    }
    struct text text = TEXT_EMPTY;
    add_span(&text, seconds);
    string_copy(buffer, size, text.bytes);
    text_free(&text);
    return buffer;
}
