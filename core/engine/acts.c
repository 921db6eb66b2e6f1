/* Acts on the logbook, and on the engine's runs where one is at work. */
#include "engine/acts.h"

#include <inttypes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/random.h"
#include "engine/answer.h"
#include "engine/engine_internal.h"
#include "engine/replay.h"
#include "logbook/cells.h"

struct act {
    struct logbook *logbook;
    struct engine *engine;
    const struct script_ops *scripts;
    utc_us now;
    const json_t *request;
    json_t *reply;
};

static int bad_request(struct error *error, const char *why)
{
    return error_set(error, ERROR_USAGE, "request", "use the perdure command of this version", "%s",
                     why);
}

/* --- enrol
 * --------------------------------------------------------------------------------------------- */

static int enrol_model(struct act *a, json_t *spec, struct error *error)
{
    const char *name, *chemistry, *maker = "", *size = "", *currency = "";
    double rated, price = NAN;
    json_t *cells;
    json_error_t problem;
    if (json_unpack_ex(spec, &problem, 0, "{s:s, s:s, s:F, s?s, s?s, s?F, s?s, s:o}", "name", &name,
                       "chemistry", &chemistry, "rated_Ah", &rated, "maker", &maker, "size", &size,
                       "price", &price, "currency", &currency, "cells", &cells))
        return bad_request(error, problem.text);

    const struct profile *profile = profile_find(chemistry);
    if (!profile)
        return error_set(error, ERROR_FAILED, name,
                         "say NiMH, NiCd or Li-ion; see docs for what each implies",
                         "the chemistry \"%s\" is not known", chemistry);
    if (!(rated > 0.001 && rated < 1000))
        return error_set(error, ERROR_FAILED, name, "give the rated capacity, such as 2000 mAh",
                         "a rated capacity of %g Ah is not plausible", rated);
    struct model_record model = {.rated_charge = rated * 3600, .price = price};
    string_copy(model.name, sizeof model.name, name);
    string_copy(model.maker, sizeof model.maker, maker);
    string_copy(model.size, sizeof model.size, size);
    string_copy(model.chemistry, sizeof model.chemistry, profile->chemistry);
    string_copy(model.currency, sizeof model.currency, currency);
    if (logbook_add_model(a->logbook, &model, error))
        return error->code;

    size_t i;
    json_t *label;
    json_array_foreach(cells, i, label)
    {
        int64_t id;
        if (!json_is_string(label))
            return bad_request(error, "a label is not a text");
        if (logbook_add_cell(a->logbook, json_string_value(label), model.id, a->now, &id, error))
            return error->code;
    }
    json_array_append_new(
        a->reply, json_pack("{s:s, s:i}", "model", name, "cells", (int)json_array_size(cells)));
    return 0;
}

static int enrol(struct act *a, struct error *error)
{
    json_t *models = json_object_get(a->request, "models"), *spec;
    size_t i;
    if (!json_array_size(models))
        return bad_request(error, "nothing to enrol");
    a->reply = json_array();
    json_array_foreach(models, i, spec)
    {
        if (enrol_model(a, spec, error))
            return error->code;
    }
    return 0;
}

/* --- start
 * -----------------------------------------------------------------------------------------------
 */

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

static int start_on_cell(struct act *a, struct run_record *record, const char *text, size_t length,
                         json_t *modules, struct error *error)
{
    struct cell_facts facts;
    if (facts_of_cell(a->logbook, record->cell_label, &facts, error))
        return error->code;
    struct script *script = NULL;
    struct script_context context = {
        .name = record->script_name,
        .text = text,
        .length = length,
        .params = record->params,
        .seed = 1,
        .cell = facts,
        .module = module_of_request,
        .owner = modules,
    };
    if (a->scripts->open(&script, &context, error))
        return error->code;
    a->scripts->close(script);

    struct cell_record cell;
    if (logbook_cell(a->logbook, record->cell_label, &cell, error))
        return error->code;
    record->cell = cell.id;
    if (logbook_add_run(a->logbook, record, error))
        return error->code;

    const char *name;
    json_t *module;
    json_object_foreach(modules, name, module)
    {
        char hash[SHA256_HEX];
        if (logbook_add_script(a->logbook, name, json_string_value(module),
                               json_string_length(module), hash, error) ||
            logbook_add_run_module(a->logbook, record->id, name, hash, error))
            return error->code;
    }
    json_array_append_new(
        json_object_get(a->reply, "runs"),
        json_pack("{s:I, s:s}", "run", (json_int_t)record->id, "cell", record->cell_label));
    return 0;
}

static int start(struct act *a, struct error *error)
{
    const char *kind, *name, *text, *channel = "";
    size_t length;
    json_t *modules, *params, *cells, *label;
    json_error_t problem;
    if (json_unpack_ex((json_t *)a->request, &problem, 0, "{s:s, s:s, s:s%, s:o, s:o, s:o, s?s}",
                       "kind", &kind, "name", &name, "text", &text, &length, "modules", &modules,
                       "params", &params, "cells", &cells, "channel", &channel))
        return bad_request(error, problem.text);
    if (!json_array_size(cells))
        return error_set(error, ERROR_USAGE, name, "name cells with --cells A,B",
                         "a protocol needs a cell");

    char hash[SHA256_HEX];
    if (logbook_add_script(a->logbook, name, text, length, hash, error))
        return error->code;
    a->reply = json_pack("{s:[], s:s}", "runs", "script_hash", hash);
    size_t i;
    json_array_foreach(cells, i, label)
    {
        struct run_record record = {.queued_at = a->now, .state = RUN_QUEUED};
        char part[96];
        snprintf(part, sizeof part, "run of %s at %" PRId64, json_string_value(label), a->now);
        record.seed = seed_for(logbook_seed(a->logbook), part);
        record.params = json_dumps(params, JSON_SORT_KEYS | JSON_COMPACT);
        string_copy(record.kind, sizeof record.kind, kind);
        string_copy(record.script_name, sizeof record.script_name, name);
        string_copy(record.script_hash, sizeof record.script_hash, hash);
        string_copy(record.cell_label, sizeof record.cell_label, json_string_value(label));
        string_copy(record.channel, sizeof record.channel, channel);
        string_copy(record.engine_version, sizeof record.engine_version, PERDURE_VERSION);
        string_copy(record.lua_version, sizeof record.lua_version, a->scripts->version);
        int code = start_on_cell(a, &record, text, length, modules, error);
        run_record_free(&record);
        if (code)
            return code;
    }
    return 0;
}

/* --- pause, resume, stop
 * ------------------------------------------------------------------------------- */

static int run_of_request(struct act *a, struct run_record *record, struct error *error)
{
    json_int_t id = 0;
    json_error_t problem;
    if (json_unpack_ex((json_t *)a->request, &problem, 0, "{s:I}", "run", &id))
        return bad_request(error, problem.text);
    if (logbook_run(a->logbook, id, record, error))
        return error->code;
    a->reply = json_pack("{s:I}", "run", id);
    return 0;
}

static int wrong_state(const struct run_record *record, const char *verb, struct error *error)
{
    char what[32], todo[96];
    snprintf(what, sizeof what, "run %" PRId64, record->id);
    snprintf(todo, sizeof todo, "perdure runs %" PRId64 " shows how it stands", record->id);
    return error_set(error, ERROR_FAILED, what, todo, "it is %s: there is nothing to %s",
                     run_state_name(record->state), verb);
}

static bool is_over(enum run_state state)
{
    return state == RUN_DONE || state == RUN_FAILED || state == RUN_STOPPED;
}

static int pause_run(struct act *a, const struct run_record *record, struct error *error)
{
    if (is_over(record->state) || record->state == RUN_PAUSED || record->state == RUN_ATTENTION)
        return wrong_state(record, "pause", error);
    return logbook_set_run_state(a->logbook, record->id, RUN_PAUSED, a->now, NULL, error);
}

static int resume_run(struct act *a, const struct run_record *record, struct error *error)
{
    if (record->state != RUN_PAUSED)
        return wrong_state(record, "resume", error);
    /* One that never began is queued again; its start decides. */
    enum run_state state = record->started_at ? RUN_RUNNING : RUN_QUEUED;
    return logbook_set_run_state(a->logbook, record->id, state, a->now, NULL, error);
}

static int stop_run(struct act *a, const struct run_record *record, struct error *error)
{
    if (is_over(record->state))
        return wrong_state(record, "stop", error);
    if (a->engine && engine_find(a->engine, record->id))
        return 0; /* the engine ends it, safe first */
    return logbook_stop_open_steps(a->logbook, record->id, a->now, error) ||
                   logbook_set_run_state(a->logbook, record->id, RUN_STOPPED, a->now, "by a person",
                                         error)
               ? error->code
               : 0;
}

typedef int run_act(struct act *a, const struct run_record *record, struct error *error);

static int on_run(struct act *a, run_act *function, struct error *error)
{
    struct run_record record = {0};
    int code = run_of_request(a, &record, error);
    if (!code)
        code = function(a, &record, error);
    run_record_free(&record);
    return code;
}

static int pause_act(struct act *a, struct error *error)
{
    return on_run(a, pause_run, error);
}

static int resume_act(struct act *a, struct error *error)
{
    return on_run(a, resume_run, error);
}

static int stop_act(struct act *a, struct error *error)
{
    return on_run(a, stop_run, error);
}

/* --- answer
 * ------------------------------------------------------------------------------------------------
 */

static int answer(struct act *a, struct error *error)
{
    json_int_t question;
    json_t *value = NULL;
    const char *typed, *who;
    char *expects = NULL;
    int answers = 0;
    json_error_t problem;
    if (json_unpack_ex((json_t *)a->request, &problem, 0, "{s:I, s:s, s:s}", "question", &question,
                       "answer", &typed, "who", &who))
        return bad_request(error, problem.text);
    if (logbook_question_expects(a->logbook, question, &expects, &answers, error))
        return error->code;
    int refused = answer_read(expects, typed, &value, error);
    free(expects);
    if (refused)
        return refused;
    char *text = json_dumps(value, JSON_ENCODE_ANY | JSON_COMPACT);
    int code = logbook_answer(a->logbook, question, text, who, a->now, error);
    free(text);
    a->reply = json_pack("{s:I, s:o, s:b}", "question", question, "answer", value, "correction",
                         answers > 0);
    return code;
}

/* --- adopt
 * ---------------------------------------------------------------------------------------------------
 */

static int adopt_text(struct act *a, const struct run_record *record, struct error *error)
{
    const char *name, *text;
    size_t length;
    json_t *modules;
    json_error_t problem;
    if (json_unpack_ex((json_t *)a->request, &problem, 0, "{s:s, s:s%, s:o}", "name", &name, "text",
                       &text, &length, "modules", &modules))
        return bad_request(error, problem.text);
    if (is_over(record->state))
        return wrong_state(record, "go on with", error);
    if (a->engine) {
        struct live_run *run = engine_find(a->engine, record->id);
        if (run && run->phase != LIVE_PARKED && run->phase != LIVE_QUEUED)
            return error_set(error, ERROR_FAILED, name,
                             "pause the run first, then adopt, then resume",
                             "run %" PRId64 " is at work", record->id);
    }
    struct replay_text with = {.name = name, .text = text, .length = length, .modules = modules};
    struct replay_report report = {0};
    if (replay_dry(a->logbook, a->scripts, record->id, &with, &report, error))
        return error->code;
    json_object_set_new(a->reply, "replayed", json_integer(report.replayed));
    if (json_is_true(json_object_get(a->request, "dry")))
        return 0;

    char hash[SHA256_HEX], note[256];
    if (logbook_add_script(a->logbook, name, text, length, hash, error) ||
        logbook_set_run_script(a->logbook, record->id, hash, error))
        return error->code;
    const char *module_name;
    json_t *module;
    json_object_foreach(modules, module_name, module)
    {
        char module_hash[SHA256_HEX];
        if (logbook_add_script(a->logbook, module_name, json_string_value(module),
                               json_string_length(module), module_hash, error) ||
            logbook_add_run_module(a->logbook, record->id, module_name, module_hash, error))
            return error->code;
    }
    snprintf(note, sizeof note,
             "adopted %s (%.12s) in place of %.12s; %" PRId64 " entries replayed", name, hash,
             record->script_hash, report.replayed);
    if (logbook_add_event(a->logbook, a->now, record->id, 0, "warning", note, error))
        return error->code;
    if (record->state == RUN_ATTENTION)
        return logbook_set_run_state(a->logbook, record->id, RUN_PAUSED, a->now, NULL, error);
    return 0;
}

static int adopt(struct act *a, struct error *error)
{
    return on_run(a, adopt_text, error);
}

/* --- all
 * ------------------------------------------------------------------------------------------------------
 */

/* What the engine's runs do once the change is committed. */
static int follow(struct act *a, const char *name, struct error *error)
{
    struct engine *engine = a->engine;
    if (strcmp(name, "start") == 0) {
        json_t *runs = json_object_get(a->reply, "runs"), *entry;
        size_t i;
        json_array_foreach(runs, i, entry)
        {
            if (engine_take(engine, json_integer_value(json_object_get(entry, "run")), error))
                return error->code;
        }
        return 0;
    }
    struct live_run *run =
        engine_find(engine, json_integer_value(json_object_get(a->reply, "run")));
    if (strcmp(name, "answer") == 0) {
        for (run = engine->runs; run; run = run->next)
            if (run->phase == LIVE_ASKING)
                perform_answered(run);
        return 0;
    }
    if (!run)
        return 0;
    if (strcmp(name, "pause") == 0) {
        if (run->phase == LIVE_QUEUED)
            run->phase = LIVE_PARKED;
        run->record.state = RUN_PAUSED;
        run_park(run);
    } else if (strcmp(name, "stop") == 0) {
        run_end(run, RUN_STOPPED, "by a person");
    } else if (strcmp(name, "resume") == 0 || strcmp(name, "adopt") == 0) {
        return engine_retake(engine, run, error);
    }
    return 0;
}

int act(struct logbook *logbook, struct engine *engine, const struct script_ops *scripts,
        utc_us now, const json_t *request, json_t **reply, struct error *error)
{
    static const struct {
        const char *name;
        int (*function)(struct act *a, struct error *error);
    } acts[] = {
        {"enrol", enrol},   {"start", start},   {"pause", pause_act}, {"resume", resume_act},
        {"stop", stop_act}, {"answer", answer}, {"adopt", adopt},
    };
    struct act a = {logbook, engine, scripts, now, request, NULL};
    const char *name = json_string_value(json_object_get(request, "act"));
    for (size_t i = 0; name && i < sizeof acts / sizeof *acts; i++) {
        if (strcmp(name, acts[i].name) != 0)
            continue;
        if (engine && !engine_commit(engine)) {
            *error = engine->trouble;
            return error->code;
        }
        if (logbook_begin(logbook, error))
            return error->code;
        if (acts[i].function(&a, error) || logbook_commit(logbook, error)) {
            logbook_rollback(logbook);
            json_decref(a.reply);
            return error->code;
        }
        if (engine && follow(&a, name, error)) {
            json_decref(a.reply);
            return error->code;
        }
        *reply = a.reply;
        return 0;
    }
    return bad_request(error, "no such act");
}
