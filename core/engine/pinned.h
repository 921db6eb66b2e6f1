/* What is pinned to a run: the text of its script, its modules, a study's cells; and its script
 * opened with all of that, the same way for a run that works, a dry replay and a projection. */
#ifndef PERDURE_ENGINE_PINNED_H
#define PERDURE_ENGINE_PINNED_H

#include <jansson.h>

#include "engine/script.h"
#include "logbook/runs.h"

/* A text to open in place of the pinned one; modules: JSON object NAME -> TEXT, or NULL. Modules
 * that it does not bring are the pinned ones. */
struct replay_text {
    const char *name, *text;
    size_t length;
    json_t *modules;
};

/* The owner of a script's modules: must outlive the script. All borrowed. */
struct pinned {
    struct logbook *logbook;
    int64_t run;
    const struct replay_text *with; /* NULL: what is pinned */
};

/* For script_context.module, with a struct pinned as its owner. */
int pinned_module(void *owner, const char *name, char **text, size_t *length, struct error *error);

/* Opens the script of the run's current segment. `cell` is empty for a study. */
int pinned_open(struct pinned *pinned, const struct script_ops *scripts,
                const struct run_record *record, const struct cell_facts *cell, struct script **out,
                struct error *error);

#endif
