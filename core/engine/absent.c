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

/* One that ends when nothing is left to do ends though a channel stays away. */
static void watch_unused(struct engine *engine)
{
    struct absences *absences = &engine->absences;
    bench_us now = clock_bench(engine->options.clock);
    if (!engine->options.until_idle || (engine->runs && now - absences->since < ABSENT_GONE))
        deadline_set(&engine->deadlines, &absences->watch, now + ABSENT_LOOK);
}

static void look_who_is_back(void *owner)
{
    absent_look_who_is_back(owner);
}

void absent_tell(struct engine *engine)
{
    struct absences *absences = &engine->absences;
    const struct bench *bench = engine->options.bench;
    absences->of = xcalloc((size_t)bench->count + 1, sizeof *absences->of);
    absences->since = clock_bench(engine->options.clock);
    absences->watch.due = look_who_is_back;
    absences->watch.owner = engine;
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
    if (absences->count)
        watch_unused(engine);
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
    if (absences->count)
        watch_unused(engine);
}

void absent_forget(struct engine *engine)
{
    struct absences *absences = &engine->absences;
    free(absences->of);
    absences->of = NULL;
    absences->count = 0;
}

static void look_again(void *owner)
{
    struct engine *engine = owner;
    engine->queue_changed = true;
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

void absent_look_again(struct engine *engine, bool waits)
{
    struct absences *absences = &engine->absences;
    bench_us now = clock_bench(engine->options.clock);
    if (!waits) {
        absences->waited_since = 0;
        absences->told = false;
        return;
    }
    if (!absences->waited_since)
        absences->waited_since = now;
    absences->again.due = look_again;
    absences->again.owner = engine;
    if (!engine->options.until_idle || now - absences->waited_since < ABSENT_GONE)
        deadline_set(&engine->deadlines, &absences->again, now + ABSENT_LOOK);
}
