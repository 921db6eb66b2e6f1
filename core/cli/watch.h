/* What has happened on record since one last looked: runs queued, held and over, steps that begin
 * and end, results, answers, events. Reads only what is new, so that looking every second costs
 * little on a long logbook. */
#ifndef PERDURE_CLI_WATCH_H
#define PERDURE_CLI_WATCH_H

#include <jansson.h>
#include <stdbool.h>

#include "logbook/logbook.h"

struct watch;

/* Takes the state as it is; `only`: this run and those that it starts, 0: all. */
int watch_new(struct watch **out, struct logbook *logbook, int64_t only, struct error *error);
void watch_free(struct watch *watch);

/* *changes: as in changes.h, in order of time; the caller owns it. The logbook may be another
 * opening of the same file each time; `now` is its clock's. */
int watch_look(struct watch *watch, struct logbook *logbook, utc_us now, json_t **changes,
               struct error *error);

/* Runs that are open, as of the last look. */
int watch_open(const struct watch *watch);
bool watch_has(const struct watch *watch, int64_t run);

#endif
