/* The projection of a study: its journal replayed, then the script led onward from now, with
 * estimates in place of runs and time moved in place of waiting. Nothing is written and nothing is
 * energised. The agenda is this, over all studies. */
#ifndef PERDURE_ENGINE_PROJECT_H
#define PERDURE_ENGINE_PROJECT_H

#include <jansson.h>

#include "engine/estimate.h"
#include "logbook/logbook.h"

/* One thing that is due, or will be. Good during the call. */
struct due {
    int64_t run; /* the study */
    int segment;
    int64_t n; /* its journal entry: with run and segment a lasting name */
    const char *script;
    const char *what; /* the protocol's name, or what is asked */
    const json_t *cells;
    utc_us from, until; /* first start to last end */
    utc_us latest;      /* end of the window; 0: none */
    double channel_hours;
    bool person;   /* a person is asked something */
    bool going_on; /* its runs have been queued already, or wait for a cell */
};

typedef void due_visit(void *context, const struct due *due);

struct projection {
    struct logbook *logbook;
    const struct script_ops *scripts;
    struct estimates *estimates;
    utc_us now, horizon; /* what begins after the horizon is not looked at */
    int channels;        /* that are taken to be free for it */
    due_visit *visit;
    void *context;
};

/* Visits in order of time. ERROR_SCRIPT and ERROR_FAILED are the study's own: where it will fail,
 * or no longer fits its record; what comes before has been visited. */
int project(const struct projection *projection, int64_t run, struct error *error);

#endif
