/* Reading quantities: a number, a unit, and what to say when either is wrong. */
#include "base/quantity.h"

#include <assert.h>
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/calendar.h"
#include "base/text.h"
#include "base/unit.h"

#define ANY        DIMENSION_COUNT
#define NUMBER_MAX 64
#define UNIT_MAX   32
#define HINT_MAX   160

/* One text being read, and what its messages need. */
struct reading {
    const char *text;
    enum dimension wanted; /* ANY: whatever it is */
    char quoted[80];
    char hint[HINT_MAX]; /* the mend when nothing better is known: examples */
    struct error *error;
};

#define fail(reading, todo, ...)                                                                   \
    error_set((reading)->error, ERROR_USAGE, (reading)->quoted, todo, __VA_ARGS__)

static void reading_open(struct reading *reading, const char *text, enum dimension wanted,
                         struct error *error)
{
    reading->text = text != NULL ? text : "";
    reading->wanted = wanted;
    reading->error = error;
    string_quote(reading->text, reading->quoted, sizeof reading->quoted);
    snprintf(reading->hint, sizeof reading->hint, "write a value such as %s",
             dimension_examples(wanted));
}

static const char *skip_spaces(const char *at)
{
    for (;;) {
        if (*at == ' ' || *at == '\t')
            at++;
        else if (strncmp(at, "\xc2\xa0", 2) == 0) /* no-break space */
            at += 2;
        else if (strncmp(at, "\xe2\x80\xaf", 3) == 0 || strncmp(at, "\xe2\x80\x89", 3) == 0)
            at += 3; /* narrow no-break space, thin space */
        else
            return at;
    }
}

static bool is_digit(char letter)
{
    return letter >= '0' && letter <= '9';
}

static size_t count_digits(const char *at)
{
    size_t count = 0;
    while (is_digit(at[count]))
        count++;
    return count;
}

/* True when a minus was there; steps over it, or over a plus. */
static bool read_minus(const char **at)
{
    static const char minus[] = "\xe2\x88\x92"; /* U+2212, as pasted from a text */
    bool pasted = strncmp(*at, minus, sizeof minus - 1) == 0;
    bool negative = **at == '-' || pasted;
    if (pasted)
        *at += sizeof minus - 1;
    else if (negative || **at == '+')
        *at += 1;
    return negative;
}

/* "0,5" is a half to many, "1,000" a thousand to others: neither is guessed. */
static int fail_comma(const struct reading *reading, const char *number, size_t whole)
{
    char todo[HINT_MAX];
    const char *decimals = number + whole + 1;
    int before = whole < 20 ? (int)whole : 20;
    int after = (int)count_digits(decimals);
    if (after > 20)
        after = 20;
    if (after == 3)
        snprintf(todo, sizeof todo, "write %.*s.%.*s or %.*s%.*s, whichever is meant", before,
                 number, after, decimals, before, number, after, decimals);
    else
        snprintf(todo, sizeof todo, "write %.*s.%.*s, not %.*s,%.*s", before, number, after,
                 decimals, before, number, after, decimals);
    return fail(reading, todo, "a decimal point is a point here, never a comma");
}

/* Reads an unsigned number at *at: digits, a point, digits, an exponent. The hand check keeps out
 * what strtod also takes: hexadecimal, infinity, not-a-number, and spaces in front. */
static int read_number(const struct reading *reading, const char **at, double *value)
{
    size_t whole = count_digits(*at);
    const char *end = *at + whole;
    if (whole != 0 && *end == ',' && is_digit(end[1]))
        return fail_comma(reading, *at, whole);
    if (*end == '.' && is_digit(end[1]))
        end += 1 + count_digits(end + 1);
    else if (whole == 0)
        return fail(reading, reading->hint, "does not start with a number");
    else if (*end == '.')
        return fail(reading, "write \"5\" or \"5.0\", not \"5.\"",
                    "there is no digit after the decimal point");
    if (*end == '.' || *end == ',')
        return fail(reading, reading->hint, "a number has more than one decimal point");
    if (*end == 'e' || *end == 'E') {
        const char *exponent = end + 1;
        exponent += *exponent == '+' || *exponent == '-';
        if (is_digit(*exponent))
            end = exponent + count_digits(exponent);
    }
    if (whole == 1 && **at == '0' && (*end == 'x' || *end == 'X'))
        return fail(reading, reading->hint, "numbers are decimal here, not hexadecimal");

    char number[NUMBER_MAX];
    size_t length = (size_t)(end - *at);
    if (length >= sizeof number)
        return fail(reading, "round it", "the number has more digits than any instrument gives");
    memcpy(number, *at, length);
    number[length] = '\0';
    *value = strtod(number, NULL); /* in the C locale: the program never calls setlocale */
    if (isinf(*value))
        return fail(reading, "check the exponent", "the number is too large");
    *at = end;
    return 0;
}

static int fail_unknown_unit(const struct reading *reading, const char *unit)
{
    char near[UNIT_MAX], todo[HINT_MAX];
    if (unit_nearest(unit, reading->wanted, near, sizeof near) == NULL)
        return fail(reading, reading->hint, "unknown unit \"%s\"", unit);
    snprintf(todo, sizeof todo, "did you mean \"%s\"?", near);
    return fail(reading, todo, "unknown unit \"%s\"", unit);
}

/* Reads the unit at *at, up to a space or a digit; `name` receives it as written. With nothing
 * there, it is the empty name: that of a plain number. */
static int read_unit(const struct reading *reading, const char **at, char name[UNIT_MAX],
                     enum dimension *dimension, double *factor)
{
    const char *start = skip_spaces(*at);
    size_t length = 0;
    while (start[length] != '\0' && !is_digit(start[length]) &&
           skip_spaces(start + length) == start + length)
        length++;
    size_t kept = length < UNIT_MAX ? length : UNIT_MAX - 1; /* no unit is as long */
    memcpy(name, start, kept);
    name[kept] = '\0';
    if (unit_find(name, dimension, factor) != 0)
        return fail_unknown_unit(reading, name);
    *at = start + length;
    return 0;
}

/* value * factor; by division where the factor is one over a whole number, so that "85 mohm" is the
 * double nearest to 0.085 and not its neighbour. */
static double scaled(double value, double factor)
{
    double inverse = nearbyint(1 / factor);
    bool whole = factor < 1 && fabs(inverse * factor - 1) < 1e-12;
    return whole ? value / inverse : value * factor;
}

/* The parts after the first of "3 h 10 min": times, each in a smaller unit than the one before. */
static int read_more_times(const struct reading *reading, const char *at, const char *unit,
                           double factor, double *seconds)
{
    char name[UNIT_MAX], last[UNIT_MAX];
    string_copy(last, sizeof last, unit);
    while (*at != '\0') {
        enum dimension dimension;
        double value, smaller;
        if (!is_digit(*at) && *at != '.')
            return fail(reading, reading->hint, "\"%s\" is left over after \"%s\"", at, last);
        int code = read_number(reading, &at, &value);
        if (code == 0)
            code = read_unit(reading, &at, name, &dimension, &smaller);
        if (code != 0)
            return code;
        if (dimension != DIM_TIME || smaller >= factor)
            return fail(reading, "write the larger unit first, each once: \"3 h 10 min\"",
                        "\"%s\" cannot follow \"%s\"", name, last);
        *seconds += scaled(value, smaller);
        factor = smaller;
        string_copy(last, sizeof last, name);
        at = skip_spaces(at);
    }
    return 0;
}

/* ISO 8601 durations start with P, which starts no number. */
static bool is_iso_duration(const char *at)
{
    return *at == 'P' || ((*at == '-' || *at == '+') && at[1] == 'P');
}

static int read_iso_duration(const struct reading *reading, struct quantity *out)
{
    struct duration duration;
    int code = duration_parse(reading->text, &duration, reading->error);
    if (code != 0)
        return code;
    out->dimension = DIM_TIME;
    if (duration_seconds(&duration, &out->value, NULL) != 0)
        return fail(reading, "give it in days, such as \"P42D\"",
                    "months and years have no fixed length");
    return 0;
}

/* Reads the whole text; `unit` receives the first unit as written. */
static int read_quantity(const struct reading *reading, struct quantity *out, char unit[UNIT_MAX])
{
    const char *at = skip_spaces(reading->text);
    unit[0] = '\0';
    if (*at == '\0')
        return fail(reading, reading->hint, "there is nothing to read");
    if (is_iso_duration(at))
        return read_iso_duration(reading, out);

    bool negative = read_minus(&at);
    double value, factor;
    int code = read_number(reading, &at, &value);
    if (code == 0)
        code = read_unit(reading, &at, unit, &out->dimension, &factor);
    if (code != 0)
        return code;
    value = scaled(value, factor);

    at = skip_spaces(at);
    if (*at != '\0' && unit[0] == '\0')
        return fail(reading, "write the number without gaps and its unit after it: \"1000 mA\"",
                    "there are two numbers with no unit between them");
    if (*at != '\0' && out->dimension != DIM_TIME)
        return fail(reading, reading->hint, "\"%s\" is left over after \"%s\"", at, unit);
    code = read_more_times(reading, at, unit, factor, &value);
    if (code != 0)
        return code;
    if (isinf(value))
        return fail(reading, "check the exponent", "the number is too large");
    out->value = value == 0 ? 0 : negative ? -value : value; /* never -0 */
    return 0;
}

int quantity_parse(const char *text, struct quantity *out, struct error *error)
{
    struct reading reading;
    struct quantity quantity;
    char unit[UNIT_MAX];
    reading_open(&reading, text, ANY, error);
    int code = read_quantity(&reading, &quantity, unit);
    if (code == 0)
        *out = quantity;
    return code;
}

/* A multiple of It as a current, by IEC 61434: It [A] = rated capacity [Ah] / 1 h. */
static int rate_to_current(const struct reading *reading, double rate, double rated_charge,
                           double *si)
{
    if (!(rated_charge > 0))
        return fail(reading, "give the current in mA or A, or the cell's rated capacity",
                    "a multiple of It needs a rated capacity, and none is known");
    *si = rate * rated_charge / 3600;
    return 0;
}

/* A dimension's name with its article. */
#define A_OR_AN(dimension) (dimension) == DIM_ENERGY ? "an" : "a", dimension_name(dimension)

static int fail_no_unit(const struct reading *reading)
{
    char todo[HINT_MAX];
    snprintf(todo, sizeof todo, "add the unit, such as \"%.40s %s\"", reading->text,
             dimension_usual_unit(reading->wanted));
    return fail(reading, todo, "%s %s needs a unit", A_OR_AN(reading->wanted));
}

static int fail_dimension(const struct reading *reading, enum dimension is, const char *unit)
{
    char near[UNIT_MAX], todo[HINT_MAX];
    if (unit_nearest(unit, reading->wanted, near, sizeof near) != NULL)
        snprintf(todo, sizeof todo, "did you mean \"%s\"?", near);
    else
        string_copy(todo, sizeof todo, reading->hint);
    return fail(reading, todo, "is %s %s, and %s %s is wanted", A_OR_AN(is),
                A_OR_AN(reading->wanted));
}

int quantity_read(const char *text, enum dimension wanted, double rated_charge, double *si,
                  struct error *error)
{
    assert(wanted < DIMENSION_COUNT);
    struct reading reading;
    struct quantity quantity;
    char unit[UNIT_MAX];
    reading_open(&reading, text, wanted, error);
    int code = read_quantity(&reading, &quantity, unit);
    if (code != 0)
        return code;
    if (wanted == DIM_CURRENT && quantity.dimension == DIM_RATE)
        return rate_to_current(&reading, quantity.value, rated_charge, si);
    /* "10 degC" for a difference is loose, but can mean one thing only. */
    bool difference = wanted == DIM_TEMPERATURE_DIFFERENCE && quantity.dimension == DIM_TEMPERATURE;
    if (quantity.dimension == DIM_NUMBER && wanted != DIM_NUMBER)
        return fail_no_unit(&reading);
    if (quantity.dimension != wanted && !difference)
        return fail_dimension(&reading, quantity.dimension, unit);
    *si = quantity.value;
    return 0;
}

/* Whether a number begins at `at`, and not within one or within its exponent. */
static bool begins_number(const char *text, const char *at)
{
    if (!is_digit(*at) && !(*at == '.' && is_digit(at[1])))
        return false;
    if (at == text)
        return true;
    const char *before = at - 1;
    if (before > text && (*before == '+' || *before == '-'))
        before--;
    bool exponent = (*before == 'e' || *before == 'E') && before > text && is_digit(before[-1]);
    return !is_digit(at[-1]) && at[-1] != '.' && !exponent;
}

double quantity_step(const char *text)
{
    struct quantity step;
    struct error unused;
    const char *end = NULL;
    int decimals = 0;
    if (quantity_parse(text, &step, &unused) || *text == 'P')
        return 0; /* an ISO 8601 duration is on no display */
    for (const char *at = text; *at; at++)
        if (begins_number(text, at))
            end = at;
    if (!end)
        return 0;
    end += count_digits(end);
    if (*end == '.') {
        decimals = (int)count_digits(end + 1);
        end += 1 + decimals;
    }
    if ((*end == 'e' || *end == 'E') && (is_digit(end[1]) || is_digit(end[2]))) {
        decimals -= atoi(end + 1);
        end += 2 + count_digits(end + 2);
    }
    char one[NUMBER_MAX + UNIT_MAX];
    snprintf(one, sizeof one, "1%s", end);
    return quantity_parse(one, &step, &unused) ? 0 : step.value * pow(10, -decimals);
}
