/* Samples between their arrival and their place: the rows of `recent` that wait to be moved, kept
 * in memory too, by step, so that a move need not look for them.
 *
 * 1. A row is in `sample`, or in `recent`, or in both; it counts once. What is in `sample` is k = 0
 * to some m without a hole, and what only `recent` has follows it.
 * 2. Rows of `recent` are appended at the end and removed from the front, once all of their steps
 *    have been moved that far. Nothing is removed from the middle: rows of many steps share a page,
 *    so that would rewrite all pages for every step.
 * 3. Memory is a copy of what the file holds, the open transaction included; after a rollback it is
 *    read anew. */
#ifndef PERDURE_LOGBOOK_STAGING_H
#define PERDURE_LOGBOOK_STAGING_H

#include "logbook/logbook_internal.h"

int staging_open(struct logbook *logbook, struct error *error);
void staging_close(struct logbook *logbook);

/* Memory is out of date: it is read anew when it is next needed. */
void staging_forget(struct logbook *logbook);

/* How many samples of this step are on record. */
int staging_count(struct logbook *logbook, int64_t step, int64_t *count, struct error *error);

/* The step has ended: nothing more is to be expected for it. */
void staging_end(struct logbook *logbook, int64_t step);

/* Moves all there is. */
int staging_drain(struct logbook *logbook, struct error *error);

#endif
