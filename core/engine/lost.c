#include "engine/lost.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>

#include "base/calendar.h"
#include "base/text.h"
#include "bench/wired.h"
#include "engine/engine_internal.h"
#include "engine/notify.h"

/* Losses within LOSSES_WITHIN after which a run has failed. */
#define LOSSES_MOST   5
#define LOSSES_WITHIN (3600 * (bench_us)US_PER_S)
/* Before it goes on after the first loss; each further one rests four times as long: 85 s in all,
 * which an instrument that was switched off and on has for its start. */
#define REST_FIRST (1 * (bench_us)US_PER_S)
/* Between two looks whether they are ready. */
#define LOOK_EVERY (1 * (bench_us)US_PER_S)
/* A line that is back by itself is nobody's trouble. */
#define TELL_AFTER (60 * (bench_us)US_PER_S)
/* An engine that ends when nothing is left to do waits so long for one that is gone; the run stays
 * open. */
#define GONE_AFTER (600 * (bench_us)US_PER_S)

static bench_us now_of(const struct live_run *run)
{
    return clock_bench(run->engine->options.clock);
}

const struct instrument *lost_instrument(const struct channel *channel)
{
    for (int i = 0; i < WIRED_INSTRUMENTS; i++) {
        const struct instrument *instrument = wired_instrument(channel, i);
        if (instrument && instrument_state(instrument) != INSTRUMENT_READY)
            return instrument;
    }
    return NULL;
}

bool lost_is_there(const struct channel *channel)
{
    return !lost_instrument(channel);
}

const char *lost_trouble(const struct instrument *instrument)
{
    const struct error *trouble = instrument_trouble(instrument);
    return trouble->code ? trouble->why : instrument_state_name(instrument_state(instrument));
}

/* --- before anything is begun --------------------------------------------------------------------
 */

/* One that ends when nothing is left to do ends though a channel stays away. */
static void watch_unused(struct engine *engine)
{
    bench_us now = clock_bench(engine->options.clock);
    if (!engine->options.until_idle || (engine->runs && now - engine->unused_since < GONE_AFTER))
        deadline_set(&engine->deadlines, &engine->watch_unused, now + LOOK_EVERY);
}

static void look_who_is_back(void *owner)
{
    lost_look_who_is_back(owner);
}

void lost_tell(struct engine *engine)
{
    const struct bench *bench = engine->options.bench;
    engine->unused = xcalloc((size_t)bench->count + 1, sizeof *engine->unused);
    engine->unused_since = clock_bench(engine->options.clock);
    engine->watch_unused.due = look_who_is_back;
    engine->watch_unused.owner = engine;
    for (int i = 0; i < bench->count; i++) {
        const struct instrument *instrument = lost_instrument(bench->channels[i]);
        if (!instrument)
            continue;
        char text[1024];
        snprintf(text, sizeof text, "channel %s is not used until %s answers: %s",
                 bench->channels[i]->name, instrument_name(instrument), lost_trouble(instrument));
        engine_tell(engine, "warning", text);
        engine->unused[i] = true;
        engine->unused_count++;
    }
    if (engine->unused_count)
        watch_unused(engine);
}

void lost_look_who_is_back(struct engine *engine)
{
    const struct bench *bench = engine->options.bench;
    for (int i = 0; i < bench->count && engine->unused_count; i++) {
        if (!engine->unused[i] || !lost_is_there(bench->channels[i]))
            continue;
        char text[128];
        snprintf(text, sizeof text, "channel %s is used again: all its instruments answer",
                 bench->channels[i]->name);
        engine_tell(engine, "warning", text);
        engine->unused[i] = false;
        engine->unused_count--;
    }
    if (engine->unused_count)
        watch_unused(engine);
}

void lost_forget(struct engine *engine)
{
    free(engine->unused);
    engine->unused = NULL;
    engine->unused_count = 0;
}

static void look_again(void *owner)
{
    struct engine *engine = owner;
    engine->queue_changed = true;
}

void lost_queued(struct live_run *run, const struct channel *gone)
{
    struct engine *engine = run->engine;
    if (gone && !run->record.why)
        run_waits_for(run, "waits: %s of channel %s does not answer",
                      instrument_name(lost_instrument(gone)), gone->name);
    else if (!gone && run->record.why)
        run_waits_no_more(run);
    /* One notice speaks for all that wait. */
    if (!gone || engine->gone_told || !engine->gone_since ||
        now_of(run) - engine->gone_since < TELL_AFTER)
        return;
    notify_lost(run);
    engine->gone_told = true;
}

void lost_look_again(struct engine *engine, bool waits)
{
    bench_us now = clock_bench(engine->options.clock);
    if (!waits) {
        engine->gone_since = 0;
        engine->gone_told = false;
        return;
    }
    if (!engine->gone_since)
        engine->gone_since = now;
    engine->look_again.due = look_again;
    engine->look_again.owner = engine;
    if (!engine->options.until_idle || now - engine->gone_since < GONE_AFTER)
        deadline_set(&engine->deadlines, &engine->look_again, now + LOOK_EVERY);
}

/* --- in the middle of a step ---------------------------------------------------------------------
 */

bool lost_wait(struct live_run *run, const struct error *failure)
{
    struct losses *losses = &run->losses;
    if (failure->code != ERROR_LOST)
        return false;
    if (losses->count && now_of(run) - losses->first > LOSSES_WITHIN)
        losses->count = 0;
    if (losses->count == 0)
        losses->first = now_of(run);
    if (++losses->count >= LOSSES_MOST)
        return false;
    losses->last = now_of(run);
    losses->waiting = true;
    losses->told = false;
    losses->n = run->journal.n;
    string_copy(losses->of, sizeof losses->of, failure->what);
    run_waits_for(run, "waits for %s: %s", failure->what, failure->why);
    run_event(run, "warning",
              "channel %s: %s: %s; it is made safe, and the run goes on when all its instruments "
              "answer again",
              run->channel->name, failure->what, failure->why);
    run_park(run);
    return true;
}

void lost_unsafe(struct live_run *run, const struct error *failure)
{
    char why[1200];
    if (!run->losses.waiting)
        return;
    run->losses.waiting = false;
    snprintf(why, sizeof why, "void: channel %s may have driven the cell unseen: %s: %s",
             run->channel->name, failure->what, failure->why);
    free(run->over_why);
    run->over_why = xstrdup(why);
    run->over_state = RUN_FAILED;
    run->after = AFTER_OVER;
}

static bench_us rest(const struct losses *losses)
{
    return REST_FIRST << 2 * (losses->count - 1);
}

void lost_parked(struct live_run *run)
{
    if (run->losses.waiting)
        deadline_set(&run->engine->deadlines, &run->deadline, now_of(run) + rest(&run->losses));
}

static void go_on(struct live_run *run)
{
    struct engine *engine = run->engine;
    struct losses losses = run->losses;
    int64_t id = run->record.id;
    losses.waiting = false;
    if (engine_retake(engine, run, "an instrument did not answer", engine_error(engine)))
        return;
    engine_find(engine, id)->losses = losses;
}

void lost_due(struct live_run *run)
{
    struct engine *engine = run->engine;
    if (!run->losses.waiting || run->record.state != RUN_RUNNING)
        return; /* paused meanwhile: a person takes it up */
    if (!engine->unguarded && lost_is_there(run->channel)) {
        go_on(run);
        return;
    }
    if (!run->losses.told && now_of(run) - run->losses.last >= TELL_AFTER) {
        notify_lost(run);
        run->losses.told = true;
    }
    if (!engine->options.until_idle || now_of(run) - run->losses.last < GONE_AFTER)
        deadline_set(&engine->deadlines, &run->deadline, now_of(run) + LOOK_EVERY);
}

/* A warning as the loss was: whoever reads of the one is to read of the other. */
void lost_over(struct live_run *run, double gap)
{
    char span[64];
    if (!run->losses.of[0])
        return;
    run_event(run, "warning", "%s answers again: run %" PRId64 " goes on, %s were not observed",
              run->losses.of, run->record.id, span_format(gap, span, sizeof span));
    run->losses.of[0] = '\0';
}
