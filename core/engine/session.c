/* What a session puts on record of its bench. */
#include "engine/session.h"

#include <math.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include "base/rows.h"
#include "bench/wired.h"
#include "engine/engine_internal.h"

/* Their names in the record. */
static const struct {
    const char *name;
    size_t offset; /* of a struct stated_accuracy */
} stated[] = {
    {"voltage", offsetof(struct channel_accuracy, voltage)},
    {"current", offsetof(struct channel_accuracy, current)},
    {"temperature", offsetof(struct channel_accuracy, temperature)},
    {"time", offsetof(struct channel_accuracy, time)},
    {"charge", offsetof(struct channel_accuracy, charge)},
    {"energy", offsetof(struct channel_accuracy, energy)},
    {"resistance", offsetof(struct channel_accuracy, resistance)},
};
#define STATED (sizeof stated / sizeof *stated)

static void add_number(json_t *out, const char *name, double number)
{
    if (isfinite(number))
        json_object_set_new(out, name, json_real(number));
}

static char *accuracy_text(const struct channel_accuracy *a)
{
    json_t *out = json_object();
    for (size_t i = 0; i < STATED; i++) {
        const struct stated_accuracy *one = (const void *)((const char *)a + stated[i].offset);
        if (isfinite(one->relative) && isfinite(one->absolute))
            json_object_set_new(
                out, stated[i].name,
                json_pack("{s:f, s:f}", "relative", one->relative, "absolute", one->absolute));
    }
    add_number(out, "shared", a->shared);
    add_number(out, "steady", a->steady);
    char *text = json_dumps(out, JSON_COMPACT | JSON_REAL_PRECISION(15));
    json_decref(out);
    return text;
}

void session_accuracy(const char *text, struct channel_accuracy *out)
{
    json_t *said = text ? json_loads(text, 0, NULL) : NULL;
    *out = STATES_NOTHING;
    for (size_t i = 0; i < STATED; i++) {
        const json_t *one = json_object_get(said, stated[i].name);
        if (one)
            *(struct stated_accuracy *)(void *)((char *)out + stated[i].offset) =
                (struct stated_accuracy){row_number(one, "relative"), row_number(one, "absolute")};
    }
    out->shared = row_number(said, "shared");
    out->steady = row_number(said, "steady");
    json_decref(said);
}

static json_t *instrument_facts(const struct instrument *instrument)
{
    const struct scpi_identity *is = instrument_identity(instrument);
    json_t *out = json_pack("{s:s, s:s}", "name", instrument_name(instrument), "driver",
                            instrument_driver(instrument)->name);
    if (is->model[0]) {
        json_object_set_new(out, "maker", json_string(is->maker));
        json_object_set_new(out, "model", json_string(is->model));
        json_object_set_new(out, "serial", json_string(is->serial));
        json_object_set_new(out, "firmware", json_string(is->firmware));
    }
    return out;
}

static char *instruments_text(const struct channel *channel)
{
    json_t *out = json_object();
    for (int i = 0; i < WIRED_INSTRUMENTS; i++) {
        const struct instrument *instrument = wired_instrument(channel, i);
        if (instrument)
            json_object_set_new(out, wired_instrument_role(i), instrument_facts(instrument));
    }
    char *text = json_dumps(out, JSON_COMPACT);
    json_decref(out);
    return text;
}

/* Takes `instruments` over. */
static int put(struct engine *engine, int i, char *instruments, struct error *error)
{
    const struct channel *channel = engine->options.bench->channels[i];
    char *accuracy = accuracy_text(&channel->accuracy);
    struct session_channel row = {.session = engine->session,
                                  .channel = channel->name,
                                  .how = channel->ops->kind,
                                  .accuracy = accuracy,
                                  .instruments = instruments};
    int code = logbook_set_session_channel(engine->options.logbook, &row, error);
    free(accuracy);
    free(engine->seen[i]);
    engine->seen[i] = instruments;
    return code;
}

int session_begin(struct engine *engine, struct error *error)
{
    const struct engine_options *options = &engine->options;
    if (logbook_add_session(options->logbook, clock_utc(options->clock), options->bench_name,
                            options->bench_hash, PERDURE_VERSION, &engine->session, error))
        return error->code;
    engine->seen = xcalloc((size_t)options->bench->count + 1, sizeof *engine->seen);
    for (int i = 0; i < options->bench->count && !error->code; i++)
        put(engine, i, instruments_text(options->bench->channels[i]), error);
    return error->code;
}

void session_saw(struct engine *engine, const struct channel *channel)
{
    const struct bench *bench = engine->options.bench;
    int i = 0;
    while (i < bench->count && bench->channels[i] != channel)
        i++;
    if (i == bench->count || strcmp(engine->seen[i], "{}") == 0)
        return; /* no instruments, today or ever */
    char *now = instruments_text(channel);
    if (strcmp(now, engine->seen[i]) == 0) {
        free(now);
        return;
    }
    engine_write(engine);
    put(engine, i, now, engine_error(engine));
}

void session_free(struct engine *engine)
{
    for (int i = 0; engine->seen && i < engine->options.bench->count; i++)
        free(engine->seen[i]);
    free(engine->seen);
}
