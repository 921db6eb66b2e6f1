/* What one field of a logged file says. False where it says nothing of that kind: `why` then has
 * the reason, in words. */
#ifndef PERDURE_CLI_IMPORT_FIELDS_H
#define PERDURE_CLI_IMPORT_FIELDS_H

#include <stdbool.h>
#include <stddef.h>

#include "base/zone.h"

/* Puts the reason into `why`; always false. */
bool import_bad(char *why, size_t size, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* One plain finite number with the decimal mark `decimal`, nothing before or after it; `what` names
 * it in the reason. */
bool import_number(const char *text, char decimal, const char *what, double *out, char *why,
                   size_t size);

/* Hours, minutes and seconds as s; minutes and seconds below 60. */
bool import_hms(const char *text, char decimal, double *out, char *why, size_t size);

/* An ISO 8601 date-time, a space allowed in place of the T; without an offset, civil time in the
 * zone. */
int import_date(const char *text, const struct zone *zone, utc_us *out, struct error *error);

#endif
