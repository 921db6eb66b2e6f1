/* Following runs: at a terminal a screen that is drawn anew every second, elsewhere a line for each
 * change. Reads the logbook only, and whether an engine is at work makes no difference. */
#ifndef PERDURE_CLI_FOLLOW_H
#define PERDURE_CLI_FOLLOW_H

#include "cli/cli.h"

/* Until no run is open any more; one that was open at the start, or `id` (0: all) and what it
 * starts. Of `id` it fails when that run did not end as done. */
int follow(const struct arguments *arguments, int64_t id, struct error *error);

#endif
