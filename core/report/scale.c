/* Ranges, ticks and scales. */
#include "report/scale.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define TINY 1e-30 /* no more than nothing, in any unit of a bench */
#define FAR  1e5 /* pixels off the picture: far enough for a line to leave it at the right angle */

bool drawable(double value)
{
    return isfinite(value) && fabs(value) < 1e30;
}

bool range_is_empty(const struct range *range)
{
    return range->high < range->low;
}

void range_add(struct range *range, double value)
{
    if (!drawable(value))
        return;
    if (range_is_empty(range))
        range->low = range->high = value;
    range->low = fmin(range->low, value);
    range->high = fmax(range->high, value);
}

/* Gives an empty range and one that is a point, or as good as one, some width. */
static void open_range(struct range *range)
{
    if (range_is_empty(range))
        *range = (struct range){0, 1};
    double size = fmax(fabs(range->low), fabs(range->high));
    if (range->high - range->low <= fmax(size * 1e-9, TINY)) {
        double room = size > TINY ? size * 0.05 : 0.5;
        range->low -= room;
        range->high += room;
    }
}

/* The round step that gives about `target` intervals. */
static double round_step(double width, size_t target)
{
    double rough = width / (double)(target > 0 ? target : 1);
    double power = pow(10, floor(log10(rough)));
    double part = rough / power;
    return power * (part < 1.5 ? 1 : part < 3.5 ? 2 : part < 7.5 ? 5 : 10);
}

/* Decimals that a multiple of a round step needs: none for 20, one for 0.5. */
static int decimals_of(double step)
{
    int decimals = (int)-floor(log10(step) + 1e-9);
    return decimals < 0 ? 0 : decimals > 9 ? 9 : decimals;
}

struct ticks ticks_inside(const struct range *range, size_t target)
{
    struct range open = *range;
    open_range(&open);
    struct ticks ticks = {.step = round_step(open.high - open.low, target)};
    /* a tick that rounding puts a hair outside counts as inside */
    double hair = ticks.step * 1e-6;
    ticks.first = ceil((open.low - hair) / ticks.step) * ticks.step;
    double count = floor((open.high + hair - ticks.first) / ticks.step) + 1;
    ticks.count = count < 0 ? 0 : count > MOST_TICKS ? MOST_TICKS : (size_t)count;
    ticks.decimals = decimals_of(ticks.step);
    return ticks;
}

struct ticks ticks_round(struct range *range, size_t target)
{
    open_range(range);
    double step = round_step(range->high - range->low, target), hair = 1e-6;
    range->low = floor(range->low / step + hair) * step;
    range->high = ceil(range->high / step - hair) * step;
    struct ticks ticks = {.first = range->low, .step = step, .decimals = decimals_of(step)};
    double count = round((range->high - range->low) / step) + 1;
    ticks.count = count > MOST_TICKS ? MOST_TICKS : (size_t)count;
    return ticks;
}

double tick_value(const struct ticks *ticks, size_t i)
{
    return ticks->first + (double)i * ticks->step;
}

char *tick_format(double value, int decimals, char *buffer, size_t size)
{
    if (!drawable(value))
        snprintf(buffer, size, "?");
    else if (fabs(value) >= 1e7)
        snprintf(buffer, size, "%.6g", value);
    else
        snprintf(buffer, size, "%.*f", decimals, value);
    if (buffer[0] == '-' && strspn(buffer + 1, "0.") == strlen(buffer + 1))
        memmove(buffer, buffer + 1, strlen(buffer)); /* no "-0" */
    return buffer;
}

double scale_at(const struct scale *scale, double value)
{
    double part = (value - scale->low) / (scale->high - scale->low);
    if (isnan(part))
        part = 0;
    return fmax(-FAR, fmin(FAR, scale->from + part * (scale->to - scale->from)));
}
