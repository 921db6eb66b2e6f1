/* Dates and durations: instants as integer microseconds UTC, ISO 8601 durations and date-times,
 * and civil arithmetic (a month or a year later). */
#ifndef PERDURE_BASE_CALENDAR_H
#define PERDURE_BASE_CALENDAR_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/error.h"

typedef int64_t utc_us; /* microseconds since 1970-01-01T00:00:00Z: dates, what the logbook keeps */

#define US_PER_S 1000000LL

/* An ISO 8601 duration. Years are 12 months and weeks 7 days; months and years have no fixed
 * length, so they are kept apart until there is a date to count from. */
struct duration {
    int months;
    int days;
    double seconds;
};

/* Reads P42D, P6W, P1Y6M, PT16H, PT3H10M, P1DT12H, PT0.5S (fraction only in the smallest part), and
 * quantities of time such as "16 h" or "42 d". Negative durations are refused. */
int duration_parse(const char *text, struct duration *out, struct error *error);

/* Seconds of a duration of fixed length; an error for one with months or years. */
int duration_seconds(const struct duration *duration, double *seconds, struct error *error);

/* `from` plus the duration, in UTC: months first, then days, then seconds. A day of the month that
 * does not exist becomes the last that does (Jan 31 + P1M is the end of February). By the wall
 * clock of a place: zone_after, in zone.h. */
utc_us duration_after(utc_us from, const struct duration *duration);

/* Reads an ISO 8601 date or date-time: 2026-03-02, 2026-03-02T08:00Z, 2026-03-02T08:00:00.5+01:00.
 * A date alone is midnight UTC; a date-time without a zone is refused. */
int utc_parse(const char *text, utc_us *out, struct error *error);

/* The same, and a date-time needs no zone: *civil says that it has none, nor has a date alone, and
 * *out is then what a wall clock reads, not an instant (see zone.h). */
int civil_parse(const char *text, int64_t *out, bool *civil, struct error *error);

/* Writes 2026-03-02T08:00:00Z, with as many decimals as needed (none, 3 or 6); returns buffer. */
char *utc_format(utc_us instant, char *buffer, size_t size);

/* Writes a duration for people: "16 h", "3 h 10 min", "42 d 3 h", "8.5 s"; returns buffer. */
char *span_format(double seconds, char *buffer, size_t size);

#endif
