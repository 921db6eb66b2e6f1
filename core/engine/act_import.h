/* What the files of the act `import` share: one import under way. Nobody outside core/engine
 * includes this. */
#ifndef PERDURE_ENGINE_ACT_IMPORT_H
#define PERDURE_ENGINE_ACT_IMPORT_H

#include "engine/act_internal.h"
#include "engine/standard.h"
#include "logbook/cells.h"
#include "logbook/facts.h"

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

/* A result as {"name", "step", "field"} asks for it: its value, uncertainty and place in the
 * journal, none of it on record yet. Its texts are the spec's and constants. */
int import_result(const struct import *import, const json_t *spec, struct result_record *out,
                  struct error *error);

#endif
