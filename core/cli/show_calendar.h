/* A rehearsed study on the screen: its calendar, what it costs, its busiest day, what went late. */
#ifndef PERDURE_CLI_SHOW_CALENDAR_H
#define PERDURE_CLI_SHOW_CALENDAR_H

#include "cli/cli.h"

/* `logbook` is that of the rehearsal; `channels` is how many it had. */
int show_calendar(const struct arguments *arguments, struct logbook *logbook, int channels,
                  utc_us from, utc_us until, struct error *error);

#endif
