/* Rows: JSON arrays of objects, as listings come. */
#ifndef PERDURE_BASE_ROWS_H
#define PERDURE_BASE_ROWS_H

#include <jansson.h>

#include "base/calendar.h"

/* The text under `key`; "" where there is none. Lives as long as the row. */
const char *row_text(const json_t *row, const char *key);

/* The number; NAN where there is none. The instant of a date-time; 0 where there is none. */
double row_number(const json_t *row, const char *key);
utc_us row_instant(const json_t *row, const char *key);

/* Puts the rows in rising order of the number under `key`; equal ones keep no order. */
void rows_sort(json_t **rows, const char *key);

/* A column of a table of such rows, as it is shown. */
struct column {
    const char *key; /* of the row's object */
    const char *title;
    char align; /* 'l', 'r', 'n': a name, which may be shortened; or 't': a time, to the minute */
};

#endif
