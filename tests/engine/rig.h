/* A place to test the engine in: a logbook in memory, simulated cells with constant truth, virtual
 * time, and scripts that are lists of requests, written in C. No Lua here. */
#ifndef PERDURE_TESTS_ENGINE_RIG_H
#define PERDURE_TESTS_ENGINE_RIG_H

#include "support/cmocka_setup.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "bench/simulated.h"
#include "engine/acts.h"
#include "engine/engine.h"
#include "engine/engine_internal.h"
#include "logbook/cells.h"

#define RIG_START 1772409600000000LL /* 2026-03-02T00:00:00Z */

/* --- scripts ---------------------------------------------------------------------------------- */

/* The text of a script is letters, one a request: c charge 1 A for 600 s, d discharge 1 A for 300
 * s, v discharge 1 A to 1.2 V, r rest 60 s, e read, w wait 1 h, q ask, n note, R record, X restart
 * with state, F fail, B a charge without an end. By the figure last heard (a charge, or what was
 * asked): k record it, D discharge with it, N note it, E fail by it, O wait 1 h if it is 1 or more,
 * else be done. What it was given last is kept in `heard`. */
struct script {
    char *letters;
    size_t at;
    char state[64];
    char args[160], note[64];
    double figure, uncertainty; /* last heard; NAN */
};

static char heard[4096]; /* outcomes given to scripts, a line each */
static int opened;

static int letters_open(struct script **out, const struct script_context *context,
                        struct error *error)
{
    (void)error;
    struct script *script = calloc(1, sizeof *script);
    script->letters = strndup(context->text, context->length);
    string_copy(script->state, sizeof script->state, context->state ? context->state : "");
    script->figure = script->uncertainty = NAN;
    opened++;
    *out = script;
    return 0;
}

static void letters_close(struct script *script)
{
    opened--;
    free(script->letters);
    free(script);
}

static void letters_step(struct script_request *request, enum step_kind kind, double amount,
                         double time)
{
    request->kind = REQUEST_STEP;
    step_plan_init(&request->plan, kind);
    if (amount != 0)
        request->plan.drive = (struct drive){DRIVE_CURRENT, amount, NAN};
    request->plan.time = time;
}

static void letters_hear(struct script *script, const char *outcome)
{
    json_t *said = json_loads(outcome, JSON_DECODE_ANY, NULL);
    const json_t *charge = json_object_get(said, "charge");
    const json_t *u = json_object_get(said, "charge_uncertainty");
    if (json_is_number(charge) || json_is_number(said))
        script->figure = json_number_value(charge ? charge : said);
    if (json_is_number(charge))
        script->uncertainty = json_is_number(u) ? json_number_value(u) : NAN;
    json_decref(said);
}

static void letters_record(struct script *script, struct script_request *request, double value)
{
    char uncertainty[48] = "";
    request->name = "record";
    request->kind = REQUEST_RECORD;
    request->text = "capacity";
    request->value = value;
    request->unit = "Ah";
    request->uncertainty = script->uncertainty;
    request->freedom = NAN;
    if (isfinite(script->uncertainty))
        snprintf(uncertainty, sizeof uncertainty, "\"uncertainty\":%.17g,", script->uncertainty);
    snprintf(script->args, sizeof script->args,
             "{\"name\":\"capacity\",%s\"unit\":\"Ah\",\"value\":%.17g}", uncertainty, value);
    request->args = script->args;
}

static enum script_status letters_resume(struct script *script, const char *outcome, utc_us now,
                                         struct script_request *request, struct error *error)
{
    size_t used = strlen(heard);
    if (outcome)
        snprintf(heard + used, sizeof heard - used, "%lld %s\n",
                 (long long)((now - RIG_START) / US_PER_S), outcome);
    if (outcome)
        letters_hear(script, outcome);
    *request = (struct script_request){.line = (int)script->at + 1, .args = "{}"};
    /* A script begun with a state skips to after the X that made it. */
    if (script->state[0] && !script->at)
        script->at = (size_t)(strchr(script->letters, 'X') - script->letters) + 1;
    switch (script->letters[script->at++]) {
    case 'c':
        request->name = "charge";
        letters_step(request, STEP_CHARGE, 1.0, 600);
        return SCRIPT_AWAITS;
    case 'd':
        request->name = "discharge";
        letters_step(request, STEP_DISCHARGE, -1.0, 300);
        return SCRIPT_AWAITS;
    case 'v':
        request->name = "discharge";
        letters_step(request, STEP_DISCHARGE, -1.0, NAN);
        request->plan.voltage = 1.2;
        return SCRIPT_AWAITS;
    case 'B':
        request->name = "charge";
        letters_step(request, STEP_DISCHARGE, -1.0, NAN);
        return SCRIPT_AWAITS;
    case 'r':
        request->name = "rest";
        letters_step(request, STEP_REST, 0, 60);
        return SCRIPT_AWAITS;
    case 'e':
        request->name = "read";
        request->kind = REQUEST_STEP;
        step_plan_init(&request->plan, STEP_READ);
        return SCRIPT_AWAITS;
    case 'w':
        request->name = "wait";
        request->kind = REQUEST_WAIT;
        request->wait.seconds = 3600;
        return SCRIPT_AWAITS;
    case 'q':
        request->name = "ask";
        request->kind = REQUEST_ASK;
        request->text = "How many?";
        request->expects = "{\"kind\":\"number\"}";
        return SCRIPT_AWAITS;
    case 'n':
        request->name = "note";
        request->kind = REQUEST_NOTE;
        request->text = "a note";
        return SCRIPT_AWAITS;
    case 'R':
        request->name = "record";
        request->kind = REQUEST_RECORD;
        request->text = "capacity";
        request->value = 1.5;
        request->unit = "Ah";
        request->uncertainty = NAN;
        return SCRIPT_AWAITS;
    case 'k': letters_record(script, request, script->figure); return SCRIPT_AWAITS;
    case 'D':
        request->name = "discharge";
        letters_step(request, STEP_DISCHARGE, -script->figure, 300);
        snprintf(script->args, sizeof script->args, "{\"current\":%.17g}", script->figure);
        request->args = script->args;
        return SCRIPT_AWAITS;
    case 'N':
        request->name = "note";
        request->kind = REQUEST_NOTE;
        snprintf(script->note, sizeof script->note, "it has %.6g", script->figure);
        snprintf(script->args, sizeof script->args, "{\"text\":\"%s\"}", script->note);
        request->text = script->note;
        request->args = script->args;
        return SCRIPT_AWAITS;
    case 'E':
        error_set(error, ERROR_SCRIPT, "letters:1", "", "%.6g is wrong", script->figure);
        return SCRIPT_FAILED;
    case 'O':
        if (script->figure < 1)
            return SCRIPT_DONE;
        request->name = "wait";
        request->kind = REQUEST_WAIT;
        request->wait.seconds = 3600;
        return SCRIPT_AWAITS;
    case 'X':
        request->name = "restart";
        request->args = "{\"state\":{\"lap\":1}}";
        request->kind = REQUEST_RESTART;
        request->state = "{\"lap\":1}";
        return SCRIPT_AWAITS;
    case 'F':
        error_set(error, ERROR_SCRIPT, "letters:1", "write better letters", "it failed");
        return SCRIPT_FAILED;
    default: return SCRIPT_DONE;
    }
}

static const struct script_ops letters = {
    .version = "letters 1", .open = letters_open, .resume = letters_resume, .close = letters_close};

/* --- the place -------------------------------------------------------------------------------- */

struct rig {
    struct logbook *logbook;
    struct clock clock;
    struct world *world;
    struct bench bench;
    struct engine *engine;
    struct error error;
};

static inline void rig_bench(struct rig *rig, int channels)
{
    struct simcell_truth truth = {.capacity = 2 * 3600,
                                  .ocv_points = 1,
                                  .ocv = {1.25},
                                  .r0 = 0.05,
                                  .efficiency = 1,
                                  .knee = 1,
                                  .heat_capacity = 30,
                                  .heat_transfer = 0.1,
                                  .ambient = 20,
                                  .soc_new = 0.5};
    for (int i = 0; i < channels; i++) {
        char name[16];
        snprintf(name, sizeof name, "S%d", i + 1);
        assert_int_equal(bench_add(&rig->bench,
                                   simulated_channel(name, &rig->clock, rig->world, &truth),
                                   &rig->error),
                         0);
    }
}

static inline void rig_act(struct rig *rig, json_t *request, enum error_code expected)
{
    json_t *reply = NULL;
    error_clear(&rig->error);
    act(rig->logbook, rig->engine, &letters, clock_utc(&rig->clock), request, &reply, &rig->error);
    if (rig->error.code != expected)
        print_error("%s: %s\n", rig->error.what, rig->error.why);
    assert_int_equal(rig->error.code, expected);
    error_clear(&rig->error);
    json_decref(request);
    json_decref(reply);
}

static inline void rig_act_on(struct rig *rig, const char *name, int64_t run,
                              enum error_code expected)
{
    rig_act(rig, json_pack("{s:s, s:I}", "act", name, "run", (json_int_t)run), expected);
}

static inline void rig_open_in(struct rig *rig, int channels, const char *zone)
{
    *rig = (struct rig){0};
    heard[0] = '\0';
    struct logbook_birth birth = {
        .created = RIG_START, .seed = 7, .clock = "virtual", .zone = zone};
    assert_int_equal(logbook_open_memory(&rig->logbook, &birth, &rig->error), 0);
    assert_int_equal(world_open(&rig->world, NULL, &rig->error), 0);
    clock_open_virtual(&rig->clock, RIG_START);
    rig_bench(rig, channels);
    rig_act(rig,
            json_pack("{s:s, s:[{s:s, s:s, s:f, s:[s, s, s]}]}", "act", "enrol", "models", "name",
                      "Constant", "chemistry", "NiMH", "rated_Ah", 2.0, "cells", "A", "B", "C"),
            0);
}

static inline void rig_open(struct rig *rig, int channels)
{
    rig_open_in(rig, channels, NULL);
}

static inline void rig_queue(struct rig *rig, const char *text, const char *cell)
{
    rig_act(rig,
            json_pack("{s:s, s:s, s:s, s:s, s:{}, s:{}, s:[s]}", "act", "start", "kind", "protocol",
                      "name", "letters", "text", text, "modules", "params", "cells", cell),
            0);
}

static inline void rig_engine(struct rig *rig)
{
    struct engine_options options = {.logbook = rig->logbook,
                                     .clock = &rig->clock,
                                     .bench = &rig->bench,
                                     .scripts = &letters,
                                     .bench_name = "rig",
                                     .bench_hash = "",
                                     .until_idle = true};
    assert_int_equal(engine_open(&rig->engine, &options, &rig->error), 0);
}

/* Passes until the clock has come to `seconds` from the start. */
static inline void rig_until(struct rig *rig, double seconds)
{
    bench_us end = (bench_us)(seconds * 1e6);
    for (;;) {
        assert_int_equal(engine_pass(rig->engine, &rig->error), 0);
        bench_us next = deadlines_next(&rig->engine->deadlines);
        if (next > end)
            break;
        clock_advance(&rig->clock, next);
    }
    clock_advance(&rig->clock, end);
}

/* As if the process had been killed: what is not committed is gone, what is in memory too. */
static inline void rig_kill(struct rig *rig)
{
    for (struct live_run *run = rig->engine->runs; run; run = run->next)
        run->unsaved = false;
    logbook_rollback(rig->logbook);
    rig->engine->in_transaction = false;
    engine_close(rig->engine);
    rig->engine = NULL;
    assert_int_equal(opened, 0);
}

static inline void rig_work(struct rig *rig)
{
    if (!rig->engine)
        rig_engine(rig);
    if (engine_work(rig->engine, &rig->error))
        print_error("%s: %s\n", rig->error.what, rig->error.why);
    assert_int_equal(rig->error.code, 0);
    engine_close(rig->engine);
    rig->engine = NULL;
    assert_int_equal(opened, 0);
}

static inline void rig_close(struct rig *rig)
{
    if (rig->engine)
        engine_close(rig->engine);
    bench_close(&rig->bench);
    world_close(rig->world);
    assert_int_equal(logbook_check(rig->logbook, &rig->error), 0);
    logbook_close(rig->logbook);
}

/* --- looking ---------------------------------------------------------------------------------- */

static inline json_t *rig_rows(struct rig *rig, enum listing listing, int64_t run)
{
    json_t *rows = NULL;
    struct listing_filter filter = {.run = run};
    assert_int_equal(logbook_list(rig->logbook, listing, &filter, &rows, &rig->error), 0);
    return rows;
}

static inline void rig_state(struct rig *rig, int64_t run, enum run_state expected)
{
    struct run_record record = {0};
    assert_int_equal(logbook_run(rig->logbook, run, &record, &rig->error), 0);
    if (record.state != expected)
        print_error("%s: %s\n", run_state_name(record.state), record.why ? record.why : "");
    assert_int_equal(record.state, expected);
    run_record_free(&record);
}

static inline double rig_number(const json_t *rows, size_t i, const char *key)
{
    return json_number_value(json_object_get(json_array_get(rows, i), key));
}

static inline const char *rig_text(const json_t *rows, size_t i, const char *key)
{
    return json_string_value(json_object_get(json_array_get(rows, i), key));
}

#endif
