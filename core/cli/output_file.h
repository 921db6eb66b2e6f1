/* Files that a verb was asked to write with -o: what kind by their ending, written whole or not at
 * all. */
#ifndef PERDURE_CLI_OUTPUT_FILE_H
#define PERDURE_CLI_OUTPUT_FILE_H

#include "base/text.h"
#include "cli/cli.h"

/* The path given with -o and its place in `kinds`, a list of endings (".svg") that ends with NULL.
 * ERROR_USAGE when there is no -o, or another ending; `todo` says what to write. */
int output_kind(const struct arguments *arguments, const char *const *kinds, const char *todo,
                const char **path, int *kind, struct error *error);

/* Writes beside the path, then renames: whoever reads sees the old file or the new one. */
int output_write(const char *path, const struct text *text, struct error *error);

/* Says on standard output that it was written: "fade.svg: chart fade from 12 cells of 2 models";
 * with --json as a document. */
void output_say(const struct arguments *arguments, const char *path, const char *what, size_t cells,
                size_t models);

#endif
