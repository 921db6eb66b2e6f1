/* What the files of the act `import` share: one import under way. Nobody outside core/engine
 * includes this. */
#ifndef PERDURE_ENGINE_ACT_IMPORT_H
#define PERDURE_ENGINE_ACT_IMPORT_H

#include "engine/act_internal.h"
#include "engine/standard.h"
#include "logbook/cells.h"

struct import {
    struct act *act;
    struct run_record run; /* owned */
    struct cell_record cell;
    const char *file, *sha256, *map_name, *map_text;
    size_t map_length;
    json_int_t began, rows, bytes, bad_rows;
    json_t *bad, *steps, *results;
    int again;
    int64_t n;                        /* of the journal */
    struct channel_accuracy accuracy; /* of the other logger */
    struct outcome *outcomes;
    struct outcome_standard *standards;
    int64_t *step_ids; /* with outcomes, by their place */
    utc_us *ended;     /* when each step was over */
};

/* The next journal entry of the run, with its outcome (JSON), from when to when it was at work.
 * Takes `args` over. */
int import_entry(struct import *import, const char *name, json_t *args, const char *outcome,
                 utc_us from, utc_us to, struct error *error);

/* Puts one result on record, as {"name", "step", "field"} asks for it, and into the reply; the
 * steps are on record by then. */
int import_result(struct import *import, const json_t *spec, struct error *error);

#endif
