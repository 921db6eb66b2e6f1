/* From the rows of a file to steps: charge, discharge and rest. */
#ifndef PERDURE_CLI_IMPORT_STEPS_H
#define PERDURE_CLI_IMPORT_STEPS_H

#include "cli/import_file.h"

/* The steps as the act `import` takes them. A step begins where the step column changes; without
 * one, where the current changes between in, out and none (`rest_below`, A, or less). *steps is
 * owned by the caller. */
int import_steps(const char *path, const struct import_file *file, const struct import_map *map,
                 double rest_below, json_t **steps, struct error *error);

#endif
