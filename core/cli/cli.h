/* What the verbs share: one const descriptor a verb, one table of them, options as a table. A verb
 * is thin: it reads its arguments, calls one thing, prints what came back. */
#ifndef PERDURE_CLI_CLI_H
#define PERDURE_CLI_CLI_H

#include <jansson.h>
#include <stdbool.h>

#include "base/error.h"
#include "base/rows.h"
#include "logbook/logbook.h"

struct option_spec {
    const char *name;  /* without the dashes */
    const char *value; /* what to call its value; NULL for a switch */
    const char *about;
    bool repeats;
};

#define ARGUMENTS_MOST 256

struct arguments {
    const char *logbook; /* path */
    bool json;
    const char *word[ARGUMENTS_MOST]; /* what is not an option */
    int words;
    struct {
        const char *name, *value;
    } option[ARGUMENTS_MOST];
    int options;
};

struct verb {
    const char *name;
    const char *words; /* "SCRIPT", "[LABEL]" */
    int least, most;   /* how many words */
    const char *about;
    const struct option_spec *options; /* ends with a NULL name; may be NULL */
    int (*run)(const struct arguments *arguments, struct error *error);
};

extern const struct verb *const verbs[]; /* ends with NULL */

/* --- arguments (arguments.c) ------------------------------------------------------------------ */

/* Parses what follows the program's name; *verb is NULL for help. */
int arguments_parse(int count, char **values, struct arguments *out, const struct verb **verb,
                    struct error *error);
/* The value of an option, or NULL; of a switch: "" or NULL. */
const char *argument(const struct arguments *arguments, const char *option);
/* "A,B" as a JSON array of texts; ranges are not expanded. */
json_t *argument_list(const char *text);
/* Every --set NAME=VALUE as a JSON object. */
int argument_params(const struct arguments *arguments, json_t **params, struct error *error);
/* An option that is a whole number from 1; `usual` where it is not given. */
int argument_number(const struct arguments *arguments, const char *option, int usual, int *out,
                    struct error *error);
int argument_run(const char *word, int64_t *id, struct error *error);

/* --- printing (print.c) ----------------------------------------------------------------------- */

/* A table of rows (a JSON array of objects), or the rows as they are with --json. A column that no
 * row has a value for is left out. */
void print_rows(const struct arguments *arguments, const json_t *rows,
                const struct column *columns);
/* The same, and the table shows times by the wall clock of the zone; NULL: UTC. */
void print_rows_in(const struct arguments *arguments, const json_t *rows,
                   const struct column *columns, const struct zone *zone);
/* Several tables one below the other have one short form for each long name, which stands in full
 * once, at the end: table_names_gather from the rows of each, table_names_short of all (NULL: none
 * is long; the caller owns it), print_rows_named each, print_in_full. */
void table_names_gather(json_t *names, const json_t *rows, const struct column *columns);
json_t *table_names_short(const json_t *names);
void print_rows_named(const json_t *rows, const struct column *columns, json_t *forms);
void print_in_full(const json_t *forms);
void print_json(const json_t *document);
/* An instant on record as tables show it; the buffer is used where the text is not shown as it
 * is. */
const char *shown_time(const char *text, const struct zone *zone, char *buffer, size_t size);

#endif
