/* What is on record of the cells that `--cells A,B` names, or of all. */
#ifndef PERDURE_CLI_CHOSEN_H
#define PERDURE_CLI_CHOSEN_H

#include "cli/cli.h"
#include "verdict/evidence.h"

int chosen_evidence(struct evidence *out, const struct arguments *arguments, struct error *error);

#endif
