/* How fast cells live: so many cell seconds in a real one. */
#ifndef EMULATOR_PACE_H
#define EMULATOR_PACE_H

#include "base/calendar.h"

struct pace {
    double speed;
    utc_us begin;     /* of cell time */
    int64_t begin_us; /* the same instant on the monotonic clock */
};

static inline utc_us pace_at(const struct pace *pace, int64_t monotonic)
{
    return pace->begin + (utc_us)((double)(monotonic - pace->begin_us) * pace->speed);
}

#endif
