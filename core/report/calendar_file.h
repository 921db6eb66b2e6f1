/* Appointments for people's own calendars: an iCalendar file (RFC 5545) of what is due and when.
 *
 * The caller gives each entry its UID, stamp and sequence, and nothing here looks at a clock: the
 * same plan gives the same bytes, and a plan that moved, written again with the same UIDs and a
 * higher sequence, moves the appointments in the reader's calendar instead of doubling them. */
#ifndef PERDURE_REPORT_CALENDAR_FILE_H
#define PERDURE_REPORT_CALENDAR_FILE_H

#include <stdbool.h>
#include <stddef.h>

#include "base/calendar.h"
#include "base/text.h"

/* Texts are UTF-8 and not owned; NULL or "" leaves an optional one out. Line breaks are kept in
 * texts; other control characters become spaces, bytes that are no UTF-8 become U+FFFD. */
struct calendar_entry {
    const char *uid; /* required: unique, the same whenever the same thing is planned again; at most
                        255 octets, which readers must keep (3.8.4.7) */
    const char *summary;
    const char *description;
    const char *const *categories;
    size_t category_count;

    bool all_day; /* start and end are dates: those of the instants in UTC */
    utc_us start;
    utc_us end; /* later than the start; of whole days, the first day after. 0: a moment, or the one
                   day */

    bool alarm;
    int alarm_minutes; /* before the start; of a whole day, before its midnight: -480 is 08:00 */

    utc_us stamp;    /* DTSTAMP: when this plan was made */
    utc_us modified; /* LAST-MODIFIED: when this entry last changed; 0 when not known */
    int sequence;    /* SEQUENCE: counts its changes, from 0 */
};

/* Appends the whole file; without entries, a calendar that is empty but for a time zone (3.6 wants
 * something in it). ERROR_USAGE, and nothing appended, for an entry without a UID or with that of
 * another, one that does not end after its start, or a date outside the years 1 to 9999. */
int calendar_file_write(struct text *out, const struct calendar_entry *entries, size_t count,
                        struct error *error);

#endif
