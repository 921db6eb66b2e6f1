#include "engine/lost.h"

#include <inttypes.h>
#include <stdio.h>

#include "base/calendar.h"
#include "base/text.h"
#include "engine/absent.h"
#include "engine/engine_internal.h"
#include "engine/notify.h"

/* Losses within LOSSES_WITHIN after which a run has failed. */
#define LOSSES_MOST   5
#define LOSSES_WITHIN (3600 * (bench_us)US_PER_S)
/* Before it goes on after the first loss; each further one rests four times as long: 85 s in all,
 * which an instrument that was switched off and on has for its start. */
#define REST_FIRST (1 * (bench_us)US_PER_S)

static bench_us now_of(const struct live_run *run)
{
    return clock_bench(run->engine->options.clock);
}

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
    run_ends_as(run, RUN_FAILED, why);
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
    if (!engine->unguarded && !absent_instrument(run->channel)) {
        go_on(run);
        return;
    }
    if (!run->losses.told && now_of(run) - run->losses.last >= ABSENT_TOLD) {
        notify_lost(run);
        run->losses.told = true;
    }
    if (!engine->options.until_idle || now_of(run) - run->losses.last < ABSENT_GONE)
        deadline_set(&engine->deadlines, &run->deadline, now_of(run) + ABSENT_LOOK);
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
