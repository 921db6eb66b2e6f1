/* Writing quantities: four significant digits, the prefix that reads best, no trailing zeros. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/calendar.h"
#include "base/quantity.h"
#include "base/text.h"

#define SIGNIFICANT 4

/* What a dimension is shown in: not always the bench unit, for "1 K/min" reads better than
 * "0.01667 K/s". */
static const struct {
    const char *unit;
    double factor;      /* SI */
    double prefix_from; /* a size that needs a smaller prefix is below this; 0: takes no prefix */
} shown[DIMENSION_COUNT] = {
    [DIM_NUMBER] = {"", 1, 0},
    [DIM_RATIO] = {"%", 0.01, 0},
    [DIM_CURRENT] = {"A", 1, 1},
    [DIM_RATE] = {"It", 1, 0},
    [DIM_VOLTAGE] = {"V", 1, 0.1}, /* common practice: an end voltage is 0.9 V, not 900 mV */
    [DIM_TIME] = {"s", 1, 1},
    [DIM_CHARGE] = {"Ah", 3600, 1},
    [DIM_ENERGY] = {"Wh", 3600, 1},
    [DIM_POWER] = {"W", 1, 1},
    [DIM_RESISTANCE] = {"ohm", 1, 1},
    [DIM_TEMPERATURE] = {"degC", 1, 0},
    [DIM_TEMPERATURE_DIFFERENCE] = {"K", 1, 0},
    [DIM_VOLTAGE_RATE] = {"V/min", 1.0 / 60, 1},
    [DIM_TEMPERATURE_RATE] = {"K/min", 1.0 / 60, 0},
};

static const struct {
    const char *name;
    double factor;
} prefixes[] = {{"n", 1e-9}, {"u", 1e-6}, {"m", 1e-3}, {"", 1}, {"k", 1e3}, {"M", 1e6}};

enum { NANO, MICRO, MILLI, NONE, KILO, MEGA };

/* To four significant digits. */
static double rounded(double value)
{
    char digits[40];
    snprintf(digits, sizeof digits, "%.*e", SIGNIFICANT - 1, value);
    return strtod(digits, NULL);
}

/* A rounded value without an exponent, as long as that is readable. */
static void write_digits(double value, char *buffer, size_t size)
{
    double magnitude = fabs(value);
    if (magnitude != 0 && (magnitude >= 1e15 || magnitude < 1e-9)) {
        snprintf(buffer, size, "%.*g", SIGNIFICANT, value);
        return;
    }
    int before = magnitude >= 1 ? (int)floor(log10(magnitude)) + 1 : 1;
    int leading_zeros = magnitude != 0 && magnitude < 1 ? (int)ceil(-log10(magnitude)) - 1 : 0;
    int decimals = magnitude >= 1 ? SIGNIFICANT - before : SIGNIFICANT + leading_zeros;
    snprintf(buffer, size, "%.*f", decimals > 0 ? decimals : 0, value);
    if (strchr(buffer, '.') != NULL) {
        size_t length = strlen(buffer);
        while (buffer[length - 1] == '0')
            length--;
        if (buffer[length - 1] == '.')
            length--;
        buffer[length] = '\0';
    }
}

static int choose_prefix(double magnitude, double prefix_from)
{
    if (prefix_from == 0 || magnitude == 0 || (magnitude >= prefix_from && magnitude < 1000))
        return NONE;
    int prefix = MEGA;
    while (prefix > NANO && rounded(magnitude / prefixes[prefix].factor) < 1)
        prefix--;
    return prefix;
}

char *quantity_format(double si, enum dimension dimension, char *buffer, size_t size)
{
    if (!isfinite(si)) {
        string_copy(buffer, size, "unknown");
        return buffer;
    }
    if (dimension == DIM_TIME && fabs(si) >= 1)
        return span_format(si, buffer, size);
    if (dimension == DIM_NUMBER && si == nearbyint(si))
        return number_format(si, buffer, size); /* counts are exact, not measured */
    double value = rounded(si / shown[dimension].factor);
    /* Far below what can be measured is rounding noise, and "1e-06 nAh" no help to anyone. */
    if (dimension != DIM_NUMBER && fabs(value) < 1e-12)
        value = 0;
    int prefix = choose_prefix(fabs(value), shown[dimension].prefix_from);
    char digits[64];
    write_digits(value / prefixes[prefix].factor, digits, sizeof digits);
    char text[96];
    const char *unit = shown[dimension].unit;
    snprintf(text, sizeof text, "%s%s%s%s", digits, unit[0] != '\0' ? " " : "",
             prefixes[prefix].name, unit);
    string_copy(buffer, size, text);
    return buffer;
}
