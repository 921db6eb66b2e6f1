/* The act that queues runs: a protocol on each cell named, or a study over all of them. */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "base/random.h"
#include "engine/act_internal.h"
#include "logbook/cells.h"
#include "logbook/studies.h"

struct start {
    const char *kind, *name, *text, *channel;
    size_t length;
    json_t *modules, *params, *cells;
    int also; /* although the cells are in use elsewhere */
    char hash[SHA256_HEX];
};

/* Modules sent with a script. */
static int module_of_request(void *owner, const char *name, char **text, size_t *length,
                             struct error *error)
{
    const json_t *module = json_object_get(owner, name);
    if (!json_is_string(module))
        return error_set(error, ERROR_SCRIPT, name, "put NAME.lua beside the script",
                         "the script requires a module that was not found");
    *text = xstrdup(json_string_value(module));
    *length = json_string_length(module);
    return 0;
}

int pin_modules(struct act *a, int64_t run, json_t *modules, struct error *error)
{
    const char *name;
    json_t *module;
    json_object_foreach(modules, name, module)
    {
        char hash[SHA256_HEX];
        if (logbook_add_script(a->logbook, name, json_string_value(module),
                               json_string_length(module), hash, error) ||
            logbook_add_run_module(a->logbook, run, name, hash, error))
            return error->code;
    }
    return 0;
}

/* Opened once to find what is wrong with it before anything is queued. */
static int look_at_script(struct act *a, const struct start *s, const char *params,
                          const struct cell_facts *cell, const char *cells, struct error *error)
{
    struct script *script = NULL;
    struct script_context context = {
        .name = s->name,
        .text = s->text,
        .length = s->length,
        .params = params,
        .seed = 1,
        .cell = *cell,
        .cells = cells,
        .module = module_of_request,
        .owner = s->modules,
    };
    if (a->scripts->open(&script, &context, error))
        return error->code;
    a->scripts->close(script);
    return 0;
}

static int add_run(struct act *a, const struct start *s, struct run_record *record,
                   struct error *error)
{
    char part[96];
    snprintf(part, sizeof part, "run of %s at %" PRId64, record->cell_label, a->now);
    record->seed = seed_for(logbook_seed(a->logbook), part);
    record->queued_at = a->now;
    record->state = RUN_QUEUED;
    string_copy(record->kind, sizeof record->kind, s->kind);
    string_copy(record->script_name, sizeof record->script_name, s->name);
    string_copy(record->script_hash, sizeof record->script_hash, s->hash);
    string_copy(record->channel, sizeof record->channel, s->channel);
    string_copy(record->engine_version, sizeof record->engine_version, PERDURE_VERSION);
    string_copy(record->lua_version, sizeof record->lua_version, a->scripts->version);
    if (logbook_add_run(a->logbook, record, error) || pin_modules(a, record->id, s->modules, error))
        return error->code;
    json_array_append_new(
        json_object_get(a->reply, "runs"),
        json_pack("{s:I, s:s}", "run", (json_int_t)record->id, "cell", record->cell_label));
    return 0;
}

/* A charge in between makes a shelved cell young again, and a run that has a cell when its study
 * wants it holds the study up: its windows may pass. So it is asked for, or refused. */
static int refuse_cell_in_use(struct act *a, const struct start *s, const struct cell_record *cell,
                              struct error *error)
{
    struct run_record study = {0};
    int64_t id = 0;
    if (s->also)
        return 0;
    if (cell->busy_run)
        return error_set(error, ERROR_FAILED, cell->label,
                         "let that run end, or stop it, then start this one",
                         "the cell is in run %" PRId64, cell->busy_run);
    if (logbook_study_of_cell(a->logbook, cell->id, &id, error) || !id ||
        logbook_run(a->logbook, id, &study, error))
        return error->code;
    error_set(error, ERROR_FAILED, cell->label,
              "let the study end, or stop it; perdure start --also does it all the same",
              "the cell belongs to study %" PRId64
              " (%s), which is going on and counts its age from its last charge",
              id, study.script_name);
    run_record_free(&study);
    return error->code;
}

static int start_on_cell(struct act *a, const struct start *s, const char *label,
                         struct error *error)
{
    struct cell_facts facts;
    struct cell_record cell;
    struct run_record record = {.params = json_dumps(s->params, JSON_SORT_KEYS | JSON_COMPACT)};
    string_copy(record.cell_label, sizeof record.cell_label, label);
    if (!facts_of_cell(a->logbook, label, &facts, error) &&
        !look_at_script(a, s, record.params, &facts, NULL, error) &&
        !logbook_cell(a->logbook, label, &cell, error) &&
        (cell.busy_run || !refuse_cell_in_use(a, s, &cell, error))) {
        record.cell = cell.id; /* a busy one is refused there, whatever was asked for */
        add_run(a, s, &record, error);
    }
    run_record_free(&record);
    return error->code;
}

/* One run for all cells; the study queues their runs itself, as it comes to them. */
static int start_study(struct act *a, const struct start *s, struct error *error)
{
    static const struct cell_facts none;
    struct run_record record = {.params = json_dumps(s->params, JSON_SORT_KEYS | JSON_COMPACT)};
    json_t *label;
    char *cells = NULL;
    size_t i;
    json_array_foreach(s->cells, i, label)
    {
        struct cell_record cell;
        if (logbook_cell(a->logbook, json_string_value(label), &cell, error) ||
            refuse_cell_in_use(a, s, &cell, error))
            goto out;
    }
    if (add_run(a, s, &record, error))
        goto out;
    json_array_foreach(s->cells, i, label)
    {
        struct cell_record cell;
        struct cell_facts facts;
        if (facts_of_cell(a->logbook, json_string_value(label), &facts, error) ||
            logbook_cell(a->logbook, json_string_value(label), &cell, error) ||
            logbook_add_study_cell(a->logbook, record.id, cell.id, error))
            goto out;
    }
    if (!cells_of_study(a->logbook, record.id, &cells, error))
        look_at_script(a, s, record.params, &none, cells, error);
out:
    free(cells);
    run_record_free(&record);
    return error->code;
}

int start_act(struct act *a, struct error *error)
{
    struct start s = {.channel = ""};
    json_error_t problem;
    json_t *label;
    size_t i;
    if (json_unpack_ex((json_t *)a->request, &problem, 0,
                       "{s:s, s:s, s:s%, s:o, s:o, s:o, s?s, s?b}", "kind", &s.kind, "name",
                       &s.name, "text", &s.text, &s.length, "modules", &s.modules, "params",
                       &s.params, "cells", &s.cells, "channel", &s.channel, "also", &s.also))
        return bad_request(error, problem.text);
    if (!json_array_size(s.cells))
        return error_set(error, ERROR_USAGE, s.name, "name cells with --cells A,B",
                         "a %s needs cells", s.kind);
    if (refuse_label_twice(s.cells, error))
        return error->code;
    if (logbook_add_script(a->logbook, s.name, s.text, s.length, s.hash, error))
        return error->code;
    a->reply = json_pack("{s:[], s:s}", "runs", "script_hash", s.hash);
    if (strcmp(s.kind, "study") == 0)
        return start_study(a, &s, error);
    json_array_foreach(s.cells, i, label)
    {
        if (start_on_cell(a, &s, json_string_value(label), error))
            return error->code;
    }
    return 0;
}
