/* Samples between their arrival and their place: the rows of `recent` that wait to be moved, kept
 * in memory too, by step, so that a move need not look for them.
 *
 * 1. A row is in `sample`, or in `recent`, or in both; it counts once. What is in `sample` is k = 0
 *    to some m without a hole, and what only `recent` has follows it.
 * 2. Rows of `recent` are appended at the end and removed from the front, once all of their steps
 *    have been moved that far. Nothing is removed from the middle: rows of many steps share a page,
 *    so that would rewrite all pages for every step.
 * 3. Memory is a copy of what the file holds, the open transaction included; after a rollback it is
 *    read anew.
 *
 * staging.c keeps the memory, arriving.c takes samples in, moving.c moves them. */
#ifndef PERDURE_LOGBOOK_STAGING_H
#define PERDURE_LOGBOOK_STAGING_H

#include "logbook/logbook_internal.h"

#define STAGING_LONG                                                                               \
    32 /* a batch so long fills a good part of a page by itself: it is not staged */
#define STAGING_DUE 256 /* a step with so many waiting is moved */
#define STAGING_MOST                                                                               \
    448 /* and with so many it is moved at once: 14 kB of memory a step at most                    \
         */

#define NO_TEMPERATURE INT32_MIN

/* A sample as the tables have it. */
struct staged {
    int64_t microsecond, microvolt, microampere;
    int32_t millidegree;
};

/* The samples of one step that are not in `sample` yet. */
struct waiting {
    int64_t step;
    int64_t first_k;   /* so many have been moved */
    int64_t first_row; /* where the first that waits is in `recent` */
    int count, room;
    bool ended;
    struct staged *rows;
};

struct staging {
    struct waiting *steps; /* by id */
    int count, room;
    int found;                    /* where a step was last found: any number */
    int64_t oldest_row, next_row; /* of `recent`; equal when it is empty */
    bool current;                 /* memory is what the file holds */
};

/* --- the memory ----------------------------------------------------------------------------- */

int staging_open(struct logbook *logbook, struct error *error);
void staging_close(struct logbook *logbook);

/* Memory is out of date: it is read anew when it is next needed. */
void staging_forget(struct logbook *logbook);
int staging_make_current(struct logbook *logbook, struct error *error);

/* A step in memory, taken in from the file when it is not there yet; good until the next call. An
 * error when it is not on record. */
int staging_step(struct logbook *logbook, int64_t step, struct waiting **out, struct error *error);

/* One more row that waits, which is in `recent` as `recent_row`. */
void staging_push(struct staging *staging, struct waiting *waiting, const struct staged *row,
                  int64_t recent_row);
void staging_forget_step(struct staging *staging, struct waiting *waiting);

/* How many samples of this step are on record. */
int staging_count(struct logbook *logbook, int64_t step, int64_t *count, struct error *error);

/* The step has ended: nothing more is to be expected for it. */
void staging_end(struct logbook *logbook, int64_t step);

/* --- moving --------------------------------------------------------------------------------- */

/* Puts the rows of a step that wait into `sample`, in a transaction; memory stays as it is... */
int staging_place(struct logbook *logbook, const struct waiting *waiting, struct error *error);

/* ...until this says that they have been placed. */
void staging_placed(struct waiting *waiting);

/* Moves all there is. */
int staging_drain(struct logbook *logbook, struct error *error);

#endif
