/* Rounding to what an uncertainty leaves of a value. */
#include "report/rounded.h"

#include <math.h>
#include <stdbool.h>
#include <stdio.h>

static bool is_there(double uncertainty)
{
    return uncertainty > 0 && isfinite(uncertainty);
}

/* Decimals at which it has two significant digits, once rounded there: 0.0997 has 2. */
static int decimals_of(double uncertainty)
{
    int decimals = 1 - (int)floor(log10(uncertainty));
    if (round(uncertainty * pow(10, decimals)) >= 100)
        decimals--;
    return decimals;
}

static char *to_place(double number, int decimals, char *buffer, size_t size)
{
    if (decimals < 0) {
        double place = pow(10, -decimals);
        number = round(number / place) * place;
    }
    snprintf(buffer, size, "%.*f", decimals > 0 ? decimals : 0, number);
    return buffer;
}

char *rounded_value(double value, double uncertainty, char *buffer, size_t size)
{
    if (is_there(uncertainty))
        return to_place(value, decimals_of(uncertainty), buffer, size);
    snprintf(buffer, size, value == floor(value) && fabs(value) < 1e15 ? "%.0f" : "%.5g", value);
    return buffer;
}

char *rounded_uncertainty(double uncertainty, char *buffer, size_t size)
{
    buffer[0] = '\0';
    return is_there(uncertainty) ? to_place(uncertainty, decimals_of(uncertainty), buffer, size)
                                 : buffer;
}
