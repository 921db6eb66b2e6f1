/* What the files of the projection share. Nobody else includes this. */
#ifndef PERDURE_ENGINE_PROJECT_INTERNAL_H
#define PERDURE_ENGINE_PROJECT_INTERNAL_H

#include "base/text.h"
#include "engine/journal.h"
#include "engine/pinned.h"
#include "engine/project.h"
#include "logbook/runs.h"

/* A run of a study's protocol on one cell. */
struct planned {
    const char *label;            /* of walk.cells */
    const struct estimate *known; /* NULL: nothing is known of it */
    utc_us charged;               /* its last charge before; 0: none */
    utc_us ready, latest;         /* its window; latest 0: no end */
    uint64_t order;               /* of queueing */
    utc_us start, end;            /* end 0: no channel yet */
};

/* A study on its way. */
struct walk {
    const struct projection *p;
    struct run_record record;
    struct pinned pinned;
    struct script *script;
    struct journal journal;
    struct script_request request; /* what comes next */
    int requests;
    bool open; /* it was begun on record */
    bool over;
    utc_us time;     /* where the projection stands; 0 while replaying */
    json_t *charged; /* LABEL -> seconds since 1970 of the last charge, on record or projected */
    bool has_window;
    json_t *looked_at; /* LABEL -> true since the wait: its window is for the first look alone */
    struct duration age, late;
    struct text outcome;
    struct error failure;

    json_t *cells; /* being performed on; NULL: nothing is */
    struct planned *run;
    int runs, placed;
};

struct plan {
    const struct projection *p;
    int channels;
    utc_us *channel; /* when each is free again */
    uint64_t order;
    struct walk *walk;
    int walks;
};

/* By the clock of the logbook's zone. */
utc_us project_later(const struct walk *w, utc_us from, const struct duration *duration);

/* --- project_runs.c: a protocol on many cells ------------------------------------------------- */

/* Queues the runs of w->request; false, and an outcome, when it cannot be performed. */
bool project_perform(struct plan *plan, struct walk *w);
/* All have had their channel: visited, and w->outcome is what came of them. */
void project_performed(struct walk *w);
/* Whose turn it is at a channel that is free from then on, and of which study; NULL when no run
 * waits. */
struct planned *project_next_run(const struct plan *plan, utc_us free_at, struct walk **of);

#endif
