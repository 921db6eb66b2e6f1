/* Estimates by rehearsal. */
#include "engine/estimate.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "bench/simulated.h"
#include "engine/acts.h"
#include "engine/engine.h"
#include "logbook/facts.h"
#include "logbook/runs.h"
#include "logbook/studies.h"

#define LABEL   "estimate"
#define LONGEST (2 * 365 * 86400.0) /* s: what takes longer is no protocol to plan with */

struct entry {
    struct entry *next;
    char key[SHA256_HEX];
    struct estimate estimate;
};

struct estimates {
    const struct script_ops *scripts;
    struct entry *entries;
};

struct estimates *estimates_new(const struct script_ops *scripts)
{
    struct estimates *estimates = xcalloc(1, sizeof *estimates);
    estimates->scripts = scripts;
    return estimates;
}

void estimates_free(struct estimates *estimates)
{
    while (estimates && estimates->entries) {
        struct entry *entry = estimates->entries;
        estimates->entries = entry->next;
        json_decref(entry->estimate.results);
        free(entry->estimate.why);
        free(entry);
    }
    free(estimates);
}

/* --- rehearsing ------------------------------------------------------------------------------- */

struct stage {
    struct logbook *logbook;
    struct world *world;
    struct clock clock;
    struct bench bench;
};

/* Modules are asked for by name while the script is opened: kept, for the run that follows. */
struct collector {
    const struct script_context *protocol;
    json_t *modules;
};

static int collect(void *owner, const char *name, char **text, size_t *length, struct error *error)
{
    struct collector *collector = owner;
    const struct script_context *protocol = collector->protocol;
    if (protocol->module(protocol->owner, name, text, length, error))
        return error->code;
    json_object_set_new(collector->modules, name, json_stringn(*text, *length));
    return 0;
}

static int set_the_stage(struct stage *stage, const struct script_ops *scripts,
                         const struct script_context *protocol, struct error *error)
{
    struct logbook_birth birth = {.created = 0, .seed = 1, .clock = "virtual"};
    const struct cell_facts *cell = &protocol->cell;
    struct collector collector = {protocol, json_object()};
    struct script_context opened = *protocol;
    struct script *script = NULL;
    json_t *reply = NULL, *request = NULL;

    opened.module = collect;
    opened.owner = &collector;
    clock_open_virtual(&stage->clock, 0);
    if (scripts->open(&script, &opened, error))
        goto out;
    scripts->close(script);
    if (logbook_open_memory(&stage->logbook, &birth, error) ||
        world_open(&stage->world, NULL, error) ||
        bench_add(&stage->bench, simulated_channel("S1", &stage->clock, stage->world, NULL), error))
        goto out;
    request = json_pack("{s:s, s:[{s:s, s:s, s:f, s:[s]}]}", "act", "enrol", "models", "name",
                        cell->model, "chemistry", cell->profile->chemistry, "rated_Ah",
                        cell->rated_charge / 3600, "cells", LABEL);
    if (act(stage->logbook, NULL, scripts, 0, request, &reply, error))
        goto out;
    json_decref(request);
    json_decref(reply);
    reply = NULL;
    request = json_pack("{s:s, s:s, s:s, s:s%, s:O, s:o, s:[s]}", "act", "start", "kind",
                        "protocol", "name", protocol->name, "text", protocol->text,
                        protocol->length, "modules", collector.modules, "params",
                        json_loads(protocol->params, 0, NULL), "cells", LABEL);
    act(stage->logbook, NULL, scripts, 0, request, &reply, error);
out:
    json_decref(request);
    json_decref(reply);
    json_decref(collector.modules);
    return error->code;
}

static char *why_it_failed(struct logbook *logbook, struct error *error)
{
    struct run_record run = {0};
    char *why = NULL;
    if (!logbook_run(logbook, 1, &run, error) && run.state == RUN_FAILED && run.why)
        why = xstrdup(run.why);
    run_record_free(&run);
    return why;
}

static void rehearse(const struct script_ops *scripts, const struct script_context *protocol,
                     struct estimate *out)
{
    struct stage stage = {0};
    struct error error;
    struct engine *engine = NULL;
    utc_us charged = 0;
    error_clear(&error);
    if (!set_the_stage(&stage, scripts, protocol, &error)) {
        struct engine_options options = {.logbook = stage.logbook,
                                         .clock = &stage.clock,
                                         .bench = &stage.bench,
                                         .scripts = scripts,
                                         .bench_name = "",
                                         .bench_hash = "",
                                         .until_idle = true,
                                         .no_samples = true,
                                         .assume_answers = true};
        if (!engine_open(&engine, &options, &error))
            engine_work(engine, &error);
        engine_close(engine);
        out->seconds = fmin((double)clock_utc(&stage.clock) / 1e6, LONGEST);
        if (!error.code)
            logbook_run_results(stage.logbook, 1, &out->results, &error);
        if (!error.code)
            out->why = why_it_failed(stage.logbook, &error);
        if (!error.code && !logbook_last_charge(stage.logbook, 1, INT64_MAX, &charged, &error) &&
            charged)
            out->charged_end = (double)charged / 1e6;
    }
    out->failed = error.code != 0;
    bench_close(&stage.bench);
    if (stage.world)
        world_close(stage.world);
    if (stage.logbook)
        logbook_close(stage.logbook);
}

const struct estimate *estimate(struct estimates *estimates, const struct script_context *protocol)
{
    struct text key = TEXT_EMPTY;
    char hash[SHA256_HEX];
    text_add_bytes(&key, protocol->text, protocol->length);
    text_addf(&key, "\n%s\n%s\n%s\n", protocol->params, protocol->cell.model,
              protocol->cell.profile ? protocol->cell.profile->chemistry : "");
    text_add_number(&key, protocol->cell.rated_charge);
    sha256_hex(key.bytes, key.length, hash);
    text_free(&key);
    for (struct entry *entry = estimates->entries; entry; entry = entry->next)
        if (strcmp(entry->key, hash) == 0)
            return &entry->estimate;
    struct entry *entry = xcalloc(1, sizeof *entry);
    memcpy(entry->key, hash, sizeof hash);
    entry->estimate.charged_end = NAN;
    rehearse(estimates->scripts, protocol, &entry->estimate);
    if (!entry->estimate.results)
        entry->estimate.results = json_object();
    entry->next = estimates->entries;
    estimates->entries = entry;
    return &entry->estimate;
}
