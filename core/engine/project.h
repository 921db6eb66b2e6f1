/* The projection of studies: the journal of each replayed, then all scripts led onward together
 * from now, with estimates in place of runs and time moved in place of waiting. Runs of different
 * studies meet at the channels as in the engine: what is ready takes the channel that is free
 * first, and what was queued first goes first. Nothing is written and nothing is energised. The
 * agenda is this. */
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
    int late;      /* cells that find no channel before their window ends */
    bool person;   /* a person is asked something */
    bool going_on; /* its runs have been queued already, or wait for a cell */
};

struct projection {
    struct logbook *logbook;
    const struct script_ops *scripts;
    struct estimates *estimates;
    utc_us now, horizon; /* what begins after the horizon is not looked at */
    int channels;        /* to plan with; 0: as many as the latest engine had, or 8 */
    void (*visit)(void *context, const struct due *due);
    /* A study will fail, or no longer fits its record (ERROR_SCRIPT, ERROR_FAILED): what comes
     * before has been visited, the others go on. */
    void (*failed)(void *context, int64_t run, const struct error *error);
    /* A study goes on after the horizon. May be NULL. */
    void (*beyond)(void *context, int64_t run);
    void *context;
};

/* Visits what each study comes to in its order; of different studies in no order. */
int project(const struct projection *projection, const int64_t *studies, int count,
            struct error *error);

#endif
