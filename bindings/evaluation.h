/* Evaluations: a tester's own Lua text that ends with `return evaluation { ... }`, reads a logbook,
 * and says what it makes of it. It changes nothing and has no journal: what it says follows from
 * the record and the text alone. docs/evaluations.md tells how one is written.
 *
 * A guest like every script (sandbox.h), with more room: a year of readings is larger than what a
 * protocol holds. */
#ifndef PERDURE_BINDINGS_EVALUATION_H
#define PERDURE_BINDINGS_EVALUATION_H

#include <jansson.h>
#include <stddef.h>

#include "logbook/logbook.h"

#define EVALUATION_MEMORY_MOST   ((size_t)1 << 30)
#define EVALUATION_STRING_MOST   ((size_t)16 << 20)
#define EVALUATION_WORK          20000000000L /* instructions */
#define EVALUATION_SECONDS       120          /* of processor time */
#define EVALUATION_READINGS_MOST 4000000      /* of one step, at a time */

struct evaluation_host {
    struct logbook *logbook; /* opened to read, best with a snapshot */
    const json_t *params;    /* {NAME: TEXT}: what --set says */
    /* Takes what is put out, as it comes; borrowed:
     *   {"say": TEXT}
     *   {"table": {"title"?, "columns": [TEXT], "rows": [[VALUE]]}}
     *   {"csv": {"name", "columns", "rows"}} */
    int (*put)(void *owner, const json_t *item, struct error *error);
    void *owner;
};

/* `title` may be NULL. */
int evaluation_run(const char *name, const char *text, size_t length,
                   const struct evaluation_host *host, char title[128], struct error *error);

#endif
