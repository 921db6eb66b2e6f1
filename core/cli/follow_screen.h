/* What the screen of `runs --follow` shows. */
#ifndef PERDURE_CLI_FOLLOW_SCREEN_H
#define PERDURE_CLI_FOLLOW_SCREEN_H

#include <jansson.h>

#include "base/text.h"
#include "base/zone.h"
#include "cli/screen.h"
#include "cli/watch.h"

struct follow_sight {
    const json_t *overview;    /* engine/overview.h */
    const json_t *steps;       /* LIST_STEPS_NOW */
    const struct watch *watch; /* which runs are shown */
    const struct zone *zone;
    const char *clock; /* "real", "virtual", "x60" */
    utc_us now;
    bool at_work; /* an engine is, on this logbook */
};

/* Lines for a screen of that size (screen_draw): questions first, then runs, then what comes. */
void follow_lines(const struct follow_sight *sight, struct screen_size size, struct text *out);

#endif
