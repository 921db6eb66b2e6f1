/* A run that will fail one day is best told of today. */
#ifndef PERDURE_CLI_FORESEE_H
#define PERDURE_CLI_FORESEE_H

#include "cli/cli.h"
#include "cli/source.h"

/* When a projection's error is the study's own (project.h), says so on standard error, as a
 * warning, and clears it; another error is left. */
void foresee_failure(int64_t run, struct error *error);

/* Leads a study that has just been started onward by estimates, and warns of where it will fail. */
void foresee(const struct arguments *arguments, int64_t run);

/* Rehearses a protocol that has just been started, once for each model of the cells (labels), on a
 * usual cell, and warns where it fails. It takes no longer than a moment: a protocol that needs
 * more to be rehearsed is not looked at to its end. */
void foresee_protocol(const struct arguments *arguments, const struct source *source,
                      const json_t *params, const json_t *cells);

#endif
