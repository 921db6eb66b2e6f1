/* The twin: the same runs on the same cells with the same draws, in virtual time and never
 * interrupted. What the interruptions may have changed is bounded by the time that they hid. */
#ifndef PERDURE_TESTS_FAULT_TWIN_H
#define PERDURE_TESTS_FAULT_TWIN_H

#include "query.h"
#include "scene.h"

struct twin_report {
    int64_t runs, entries, bounded;
    double used; /* the largest share of a bound that a value used */
};

/* Makes the twin of `book` in a scene of its own and works it off. `map` must have room for the
 * largest run id of `book`, plus 1: it gets the twin's id of each run. */
void twin_make(sqlite3 *book, struct scene *twin, int64_t *map);

void twin_compare(sqlite3 *book, sqlite3 *twin, const int64_t *map, struct findings *findings,
                  struct twin_report *report);

#endif
