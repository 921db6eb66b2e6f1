/* A rehearsed study on the screen: its calendar, what it costs, its busiest day, the days that want
 * a person, what to be warned of. */
#ifndef PERDURE_CLI_SHOW_CALENDAR_H
#define PERDURE_CLI_SHOW_CALENDAR_H

#include "cli/cli.h"

/* `logbook` is that of the rehearsal; `channels` is how many it had; `best` is what would be late
 * with more of them (calendar_warnings.h), or NULL. */
int show_calendar(const struct arguments *arguments, struct logbook *logbook, const json_t *best,
                  int channels, utc_us from, utc_us until, struct error *error);

#endif
