/* What a rehearsed study warns of: checks that fall on one day and exceed the channels, windows
 * that are missed for want of channels, windows that no channel can meet; and the days on which a
 * person is needed. */
#ifndef PERDURE_CLI_CALENDAR_WARNINGS_H
#define PERDURE_CLI_CALENDAR_WARNINGS_H

#include <jansson.h>

#include "logbook/logbook.h"

/* What a rehearsal has come to, as the warnings need it; owned. */
struct rehearsed {
    json_t *runs, *journal, *questions, *events; /* listings */
    const struct zone *zone;                     /* the logbook's: whose days count */
};
int rehearsed_read(struct rehearsed *out, struct logbook *logbook, struct error *error);
void rehearsed_free(struct rehearsed *rehearsed);

/* How many runs were late, by the study's journal entry: {"7": 3}. The caller owns it. */
json_t *late_by_entry(const struct rehearsed *rehearsed);

/* Sentences. `best` is late_by_entry of a rehearsal with a channel for each cell; NULL where none
 * was made. The caller owns them. */
json_t *calendar_warnings(const struct rehearsed *rehearsed, const json_t *best, int channels);

/* The days, as dates, on which a cell is put on a channel or a question is put. The caller owns
 * them. */
json_t *person_days(const struct rehearsed *rehearsed);

#endif
