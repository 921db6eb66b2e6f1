/* Script files: found by path or by name, read with the modules that they require. */
#ifndef PERDURE_CLI_SOURCE_H
#define PERDURE_CLI_SOURCE_H

#include <jansson.h>
#include <stdbool.h>

#include "base/error.h"
#include "bench/channel.h"

struct source {
    char path[512];
    char name[128]; /* the file's name, without its folder */
    char *text;     /* owned */
    size_t length;
    json_t *
        modules; /* NAME -> TEXT, owned; of a study also "protocol/NAME", all that it may perform */
    bool is_study;
};

/* `word` is a path, or the name of a shipped protocol ("capacity"): looked for in the folder given
 * by $PERDURE_PROTOCOLS, beside the program's source tree, and where it is installed. Opens the
 * script once, on `cell` (or a usual one when NULL) with `params`, which checks it and finds its
 * modules. */
int source_read(struct source *out, const char *word, const struct cell_facts *cell,
                const json_t *params, struct error *error);
void source_free(struct source *source);

/* A request of the act `start` or `adopt` with this source in it. */
json_t *source_request(const char *act, const struct source *source);

#endif
