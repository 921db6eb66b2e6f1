/* One run on the screen: used by `runs ID` and at the end of `run`. */
#ifndef PERDURE_CLI_SHOW_RUN_H
#define PERDURE_CLI_SHOW_RUN_H

#include "cli/cli.h"

int show_run(const struct arguments *arguments, struct logbook *logbook, int64_t id,
             struct error *error);

#endif
