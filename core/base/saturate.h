/* Inside base only: sums and conversions of microseconds that stop at the ends of int64_t, so that
 * "never" and nonsense durations stay far away and do not wrap round into the past. */
#ifndef PERDURE_BASE_SATURATE_H
#define PERDURE_BASE_SATURATE_H

#include <math.h>
#include <stdint.h>

static inline int64_t saturating_add(int64_t a, int64_t b)
{
    int64_t sum;
    if (__builtin_add_overflow(a, b, &sum))
        return b > 0 ? INT64_MAX : INT64_MIN;
    return sum;
}

/* Rounds to the nearest; not-a-number counts as 0. */
static inline int64_t saturating_round(double value)
{
    if (value >= 0x1p63)
        return INT64_MAX;
    if (value <= -0x1p63)
        return INT64_MIN;
    return isnan(value) ? 0 : (int64_t)llround(value);
}

#endif
