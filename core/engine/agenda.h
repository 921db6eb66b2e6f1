/* The agenda: what is due and what will be, over all open studies, each led onward (project.h). */
#ifndef PERDURE_ENGINE_AGENDA_H
#define PERDURE_ENGINE_AGENDA_H

#include <jansson.h>

#include "engine/estimate.h"
#include "logbook/logbook.h"

struct agenda_options {
    struct logbook *logbook;
    const struct script_ops *scripts;
    struct estimates *estimates;
    utc_us now, horizon; /* what begins after the horizon is left out */
    int channels;        /* to plan with; 0: as many as the latest engine had, or 8 */
    /* A study fails on its way (project.h): it is seen until there, and the others are gone on
     * with. */
    void (*failed)(void *context, int64_t run, const struct error *error);
    void (*beyond)(void *context, int64_t run); /* it goes on after the horizon; may be NULL */
    void *context;
};

/* Rows in order of time, days by the logbook's zone: {"when": "going on" | "overdue" | "today" |
 * "planned", "zone", "from", "until", "latest", "study", "script", "what", "cells", "labels",
 * "all_labels", "channel_hours", "late", "note", "person", "uid", "from_us", "until_us"}. Of late
 * cells see project.h. The caller owns *rows. */
int agenda_rows(const struct agenda_options *options, json_t **rows, struct error *error);

#endif
