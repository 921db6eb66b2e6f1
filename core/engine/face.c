/* What faces are shown of the engine. */
#include "engine/face.h"

#include <math.h>

#include "bench/instrument.h"
#include "engine/absent.h"
#include "engine/engine_internal.h"

bool engine_on_record(const struct engine *engine)
{
    if (engine->in_transaction || engine->trouble.code)
        return false;
    for (const struct live_run *run = engine->runs; run; run = run->next)
        if (run->unsaved)
            return false;
    return true;
}

struct engine_sight engine_see(const struct engine *engine)
{
    static const char *const clocks[] = {
        [CLOCK_REAL] = "real", [CLOCK_SCALED] = "scaled", [CLOCK_VIRTUAL] = "virtual"};
    return (struct engine_sight){
        .now = clock_utc(engine->options.clock),
        .clock = clocks[engine->options.clock->face],
        .held = engine->held,
        .unguarded = engine->unguarded,
        .changes = engine->changes,
        .channels = engine->options.bench->count,
        .counts = engine_count(engine),
    };
}

static void see_step(const struct step *step, struct channel_sight *out)
{
    out->step = step_kind_name(step->plan.kind);
    out->limit = fmin(step->plan.time, step->plan.backstop_time); /* the one that is a number */
    out->elapsed = (double)step->elapsed_us / 1e6;
    out->charge = step->charge;
    out->energy = step->energy;
    if (step->row_count + step->rows == 0)
        return; /* not read yet */
    out->voltage = step->last.voltage;
    out->current = step->last.current;
    out->temperature = step->last.temperature;
}

void engine_see_channels(const struct engine *engine,
                         void (*visit)(void *context, const struct channel_sight *sight),
                         void *context)
{
    const struct bench *bench = engine->options.bench;
    for (int i = 0; i < bench->count; i++) {
        const struct channel *channel = bench->channels[i];
        const struct live_run *run = channel->owner;
        struct channel_sight sight = {.index = i,
                                      .name = channel->name,
                                      .how = channel->ops->kind,
                                      .cell = "",
                                      .elapsed = NAN,
                                      .limit = NAN,
                                      .voltage = NAN,
                                      .current = NAN,
                                      .temperature = NAN,
                                      .charge = NAN,
                                      .energy = NAN};
        const struct instrument *missing = absent_instrument(channel);
        if (missing) {
            sight.missing = instrument_name(missing);
            sight.trouble = absent_trouble(missing);
        }
        if (run) {
            sight.run = run->record.id;
            sight.cell = run->record.cell_label;
            sight.step_id = run->step_id;
            if (run->step)
                see_step(run->step, &sight);
        }
        visit(context, &sight);
    }
}

void engine_see_runs(const struct engine *engine,
                     void (*visit)(void *context, const struct run_sight *sight), void *context)
{
    static const char *const doing[] = {
        [LIVE_QUEUED] = "queued",   [LIVE_WORKING] = "working", [LIVE_STEPPING] = "stepping",
        [LIVE_WAITING] = "waiting", [LIVE_ASKING] = "asking",   [LIVE_PERFORMING] = "performing",
        [LIVE_PARKED] = "parked",   [LIVE_OVER] = "over"};
    for (const struct live_run *run = engine->runs; run; run = run->next) {
        struct run_sight sight = {
            .run = run->record.id,
            .state = run_state_name(run->record.state),
            .doing = doing[run->phase],
            .cell = run->record.cell_label,
            .script = run->record.script_name,
            .channel = run->record.channel,
            .until = run->phase == LIVE_WAITING || (run->phase == LIVE_QUEUED && run->until)
                         ? run->until
                         : 0,
            .why = run->record.why,
        };
        visit(context, &sight);
    }
}
