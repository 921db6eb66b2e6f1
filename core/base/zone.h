/* A zone: the wall clock of a place, by the rules of the IANA time zone database that the machine
 * has. Studies count days, months and years by it.
 *
 * NULL is UTC wherever a zone is asked for, and needs no database. The process's own zone (TZ) is
 * neither looked at nor changed.
 *
 * The rule, when a duration is counted from an instant:
 *   1. months first; a day that the month does not have becomes its last (Jan 31 + P1M: Feb 28);
 *   2. then days, on the wall clock: the same hour, though the day may have 23 or 25 h;
 *   3. a civil time that does not exist moves forward by the length of the gap (02:30 -> 03:30, as
 *      RFC 5545 reads one), and one that exists twice is the first;
 *   4. then seconds, on the absolute time line: PT24H is 24 h.
 * A duration without months and days is counted on the absolute time line alone. */
#ifndef PERDURE_BASE_ZONE_H
#define PERDURE_BASE_ZONE_H

#include <stddef.h>

#include "base/calendar.h"

struct zone; /* immutable; may be shared */

/* What a wall clock reads: microseconds from 1970-01-01T00:00 by its own count. Not an instant. */
typedef int64_t civil_us;

#define ZONE_NAME 64 /* room for a name */

/* Opens a zone by its name in the database: "Europe/Berlin". *out is NULL for UTC, under any of its
 * names. A name that is not known is refused, also when the machine has no database. */
int zone_open(struct zone **out, const char *name, struct error *error);
void zone_close(struct zone *zone);
const char *zone_name(const struct zone *zone);

/* The name of the machine's zone, from ETC/localtime (a link into the database) or ETC/timezone;
 * "UTC" when neither says. ETC is "/etc". Returns buffer. */
char *zone_of_machine(const char *etc, char buffer[ZONE_NAME]);

/* --- between instants and the wall clock ---------------------------------------------------- */

civil_us zone_civil(const struct zone *zone, utc_us instant);
/* By rule 3 where the clock is put forward or back. */
utc_us zone_instant(const struct zone *zone, civil_us civil);
/* `from` plus the duration, by the rule above. In UTC it is duration_after. */
utc_us zone_after(const struct zone *zone, utc_us from, const struct duration *duration);

/* Midnight at the beginning of the day that the instant is in, `days` days on. */
utc_us zone_day(const struct zone *zone, utc_us instant, int days);

/* --- texts ---------------------------------------------------------------------------------- */

/* As utc_parse, and a date-time without an offset is civil time in the zone, a date alone the
 * beginning of that day. */
int zone_parse(const struct zone *zone, const char *text, utc_us *out, struct error *error);

/* Writes 2026-03-29T03:30:00+02:00; in UTC with Z, as utc_format. Returns buffer. */
char *zone_format(const struct zone *zone, utc_us instant, char *buffer, size_t size);

/* Writes 2026-03-29T03:30:00, with as many decimals as needed; returns buffer. */
char *civil_format(civil_us civil, char *buffer, size_t size);

#endif
