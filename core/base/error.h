/* Errors that carry what went wrong, why, and what to do about it.
 *
 * Convention of the whole program: a function that can fail takes a `struct error *` as its last
 * argument, returns 0 when it is done and a nonzero `enum error_code` when it is not, and has then
 * filled the error. An error is one line on standard error: `perdure: WHAT: WHY; WHAT TO DO`. */
#ifndef PERDURE_BASE_ERROR_H
#define PERDURE_BASE_ERROR_H

#include <stdio.h>

/* code, exit status of the command that ends with it */
#define ERROR_CODES(X)                                                                             \
    X(ERROR_NONE, 0)                                                                               \
    X(ERROR_FAILED, 1)   /* what was asked about failed: a run, a check, an audit */               \
    X(ERROR_SCRIPT, 1)   /* a script is wrong */                                                   \
    X(ERROR_USAGE, 2)    /* the command line or an argument is wrong */                            \
    X(ERROR_LOGBOOK, 3)  /* the logbook cannot be used */                                          \
    X(ERROR_BUSY, 3)     /* the logbook is in use by another process */                            \
    X(ERROR_FULL, 3)     /* no room left on the disk: worth another try */                         \
    X(ERROR_BENCH, 4)    /* the bench cannot be reached, or is described wrongly */                \
    X(ERROR_LOST, 4)     /* an instrument did not answer: it may be back */                        \
    X(ERROR_INTERNAL, 1) /* a fault in Perdure itself, or no memory */

enum error_code {
#define X(name, exit_status) name,
    ERROR_CODES(X)
#undef X
};

struct error {
    enum error_code code;
    char what[256];
    char why[768];
    char todo[256];
    const char *source; /* the C file that raised it: for a bug report, not for the user */
    int line;
};

/* Fills *error and returns `code`. `what` names the thing at fault (a file, a cell, a script's
 * FILE:LINE), `todo` says what a person can do; the format is the reason. `error` may be NULL. */
#define error_set(error, code, what, todo, ...)                                                    \
    error_set_at((error), __FILE__, __LINE__, (code), (what), (todo), __VA_ARGS__)
int error_set_at(struct error *error, const char *source, int line, enum error_code code,
                 const char *what, const char *todo, const char *why_format, ...)
    __attribute__((format(printf, 7, 8)));

void error_clear(struct error *error);
int error_exit_status(const struct error *error);
const char *error_code_name(enum error_code code);

/* Writes the one line, newline included; control characters in it become spaces. */
void error_print(FILE *stream, const struct error *error);

#endif
