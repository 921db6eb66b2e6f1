#include "engine/absent.h"

#include <stdio.h>
#include <stdlib.h>

#include "bench/wired.h"
#include "engine/engine_internal.h"
#include "engine/notify.h"

const struct instrument *absent_instrument(const struct channel *channel)
{
    for (int i = 0; i < WIRED_INSTRUMENTS; i++) {
        const struct instrument *instrument = wired_instrument(channel, i);
        if (instrument && instrument_state(instrument) != INSTRUMENT_READY)
            return instrument;
    }
    return NULL;
}

const char *absent_trouble(const struct instrument *instrument)
{
    const struct error *trouble = instrument_trouble(instrument);
    return trouble->code ? trouble->why : instrument_state_name(instrument_state(instrument));
}

/* Looks again soon, while a channel is told of or a queued run waits. An engine that ends when
 * nothing is left to do ends though a channel stays away. */
static void look_later(struct engine *engine)
{
    struct absences *absences = &engine->absences;
    const bench_us now = clock_bench(engine->options.clock);
    const bool ends = engine->options.until_idle;
    const bool told =
        absences->count && (!ends || (engine->runs && now - absences->since < ABSENT_GONE));
    const bool awaited =
        absences->waited_since && (!ends || now - absences->waited_since < ABSENT_GONE);
    if (told || awaited)
        deadline_set(&engine->deadlines, &absences->look, now + ABSENT_LOOK);
}

static void look(void *owner)
{
    struct engine *engine = owner;
    absent_look_who_is_back(engine);
    engine->queue_changed |= engine->absences.waited_since != 0;
    look_later(engine);
}

void absent_tell(struct engine *engine)
{
    struct absences *absences = &engine->absences;
    const struct bench *bench = engine->options.bench;
    absences->of = xcalloc((size_t)bench->count + 1, sizeof *absences->of);
    absences->since = clock_bench(engine->options.clock);
    absences->look = (struct deadline){.due = look, .owner = engine};
    for (int i = 0; i < bench->count; i++) {
        const struct instrument *instrument = absent_instrument(bench->channels[i]);
        if (!instrument)
            continue;
        char text[1024];
        snprintf(text, sizeof text, "channel %s is not used until %s answers: %s",
                 bench->channels[i]->name, instrument_name(instrument), absent_trouble(instrument));
        engine_tell(engine, "warning", text);
        absences->of[i] = true;
        absences->count++;
    }
    look_later(engine);
}

void absent_look_who_is_back(struct engine *engine)
{
    struct absences *absences = &engine->absences;
    const struct bench *bench = engine->options.bench;
    for (int i = 0; i < bench->count && absences->count; i++) {
        if (!absences->of[i] || absent_instrument(bench->channels[i]))
            continue;
        char text[128];
        snprintf(text, sizeof text, "channel %s is used again: all its instruments answer",
                 bench->channels[i]->name);
        engine_tell(engine, "warning", text);
        absences->of[i] = false;
        absences->count--;
    }
}

void absent_forget(struct engine *engine)
{
    struct absences *absences = &engine->absences;
    free(absences->of);
    absences->of = NULL;
    absences->count = 0;
}

void absent_queued(struct live_run *run, const struct channel *gone)
{
    struct engine *engine = run->engine;
    struct absences *absences = &engine->absences;
    if (gone && !run->record.why)
        run_waits_for(run, "waits: %s of channel %s does not answer",
                      instrument_name(absent_instrument(gone)), gone->name);
    else if (!gone && run->record.why)
        run_waits_no_more(run);
    /* One notice speaks for all that wait. */
    if (!gone || absences->told || !absences->waited_since ||
        clock_bench(engine->options.clock) - absences->waited_since < ABSENT_TOLD)
        return;
    notify_lost(run);
    absences->told = true;
}

void absent_awaited(struct engine *engine, bool waits)
{
    struct absences *absences = &engine->absences;
    if (!waits) {
        absences->waited_since = 0;
        absences->told = false;
    } else if (!absences->waited_since) {
        absences->waited_since = clock_bench(engine->options.clock);
    }
    look_later(engine);
}
