/* The state of everything at a glance, from the logbook alone: runs with their expected end, open
 * questions, the agenda. Leads every open study onward, so it may take a second or more: never on
 * the thread that drives the channels. */
#ifndef PERDURE_ENGINE_OVERVIEW_H
#define PERDURE_ENGINE_OVERVIEW_H

#include <jansson.h>

#include "engine/estimate.h"
#include "logbook/logbook.h"

struct overview_options {
    struct logbook *logbook;
    const struct script_ops *scripts;
    struct estimates *estimates; /* kept from one call to the next, it need not rehearse again */
    utc_us now;
    int weeks;    /* that the agenda looks ahead */
    int channels; /* that it plans with */
    int over;     /* how many of the latest runs that are over are shown */
};

/* {"at", "zone", "runs": [..], "over": [..], "questions": [..], "agenda": [..], "agenda_trouble"}:
 * rows as in listings. An open run has "expected_s" (its protocol rehearsed on a usual cell) and
 * "expected_end_at", of a study where its agenda ends; null where it cannot be told, or where
 * a study goes on after all that the agenda looks at: then that instant is "expected_after_at".
 * "longer_than_expected" is true where that is past.
 * "agenda_trouble" says why the agenda is not whole, or is null. The caller owns *out. */
int overview(const struct overview_options *options, json_t **out, struct error *error);

#endif
