/* The accounts of `results`: which one its options ask for, and showing it. */
#ifndef PERDURE_CLI_SHOW_ACCOUNT_H
#define PERDURE_CLI_SHOW_ACCOUNT_H

#include "cli/cli.h"

/* Whether the options ask for an account; ERROR_USAGE where they do not go together. */
int account_options(const struct arguments *arguments, bool *wanted, struct error *error);
/* Works it out and prints it. */
int account_show(const struct arguments *arguments, struct logbook *logbook, struct error *error);

#endif
