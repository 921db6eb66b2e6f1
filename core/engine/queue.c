/* Channels for the runs that are queued. */
#include "engine/queue.h"

#include <string.h>

#include "engine/absent.h"
#include "engine/engine_internal.h"
#include "engine/unfit.h"

/* Where the cell is still in from its last run, nobody has to move it; NULL when that is not known,
 * not free, or not worth asking. */
static struct channel *where_it_is(struct engine *engine, const struct live_run *run)
{
    char name[32];
    struct bench *bench = engine->options.bench;
    if (bench->channels[bench->count - 1]->simulated ||
        logbook_where_is_cell(engine->options.logbook, run->record.id, name, engine_error(engine)))
        return NULL;
    struct channel *channel = bench_find(bench, name);
    const bool fits = channel && !channel->owner && !channel->simulated &&
                      !absent_instrument(channel) && !unfit_for(run, channel);
    return fits ? channel : NULL;
}

/* A run that was going on keeps its channel, there or not; a queued one may name the channel it
 * wants. */
struct channel *queue_channel(struct engine *engine, const struct live_run *run,
                              const struct channel **gone)
{
    *gone = NULL;
    struct bench *bench = engine->options.bench;
    const bool begins = run->record.state == RUN_QUEUED;
    if (run->record.channel[0]) {
        struct channel *channel = bench_find(bench, run->record.channel);
        if (!channel || channel->owner)
            return NULL;
        if (!begins || !absent_instrument(channel))
            return channel;
        *gone = channel;
        return NULL;
    }
    struct channel *free = NULL, *unfit = NULL;
    for (int i = bench->count - 1; i >= 0; i--) {
        struct channel *channel = bench->channels[i];
        if (!channel->owner && absent_instrument(channel))
            *gone = channel;
        else if (!channel->owner && unfit_for(run, channel))
            unfit = channel;
        else if (!channel->owner)
            free = channel;
    }
    if (!free && unfit && unfit_everywhere(run))
        return unfit; /* its script is to hear that none can do it */
    struct channel *known = free ? where_it_is(engine, run) : NULL;
    return known ? known : free;
}

/* Runs that are taken up come first: their cell is still in their channel. */
static bool needs_channel(const struct live_run *run)
{
    return strcmp(run->record.kind, "study") != 0;
}

static bool is_fresh(const struct live_run *run)
{
    if (run->record.state != RUN_QUEUED)
        return false;
    /* A person may have been asked to put this one's cell there. */
    const struct channel *channel =
        run->record.channel[0] && needs_channel(run)
            ? bench_find(run->engine->options.bench, run->record.channel)
            : NULL;
    return !channel || channel->simulated;
}

void queue_begin(struct engine *engine)
{
    if (engine->unguarded)
        return;
    engine->queue_changed = false;
    absent_look_who_is_back(engine); /* said before anything is begun there */
    bool waits = false;
    for (int fresh = 0; fresh <= 1; fresh++)
        for (struct live_run *run = engine->runs; run; run = run->next) {
            if (run->phase != LIVE_QUEUED || is_fresh(run) != fresh)
                continue;
            if (run->record.due_at > clock_utc(engine->options.clock)) {
                run->until = run->record.due_at;
                perform_rearm(run);
                continue;
            }
            const struct channel *gone = NULL;
            struct channel *channel = needs_channel(run) ? queue_channel(engine, run, &gone) : NULL;
            if (channel || !needs_channel(run)) {
                run_begin(run, channel);
            } else {
                absent_queued(run, gone);
                waits |= gone != NULL;
            }
        }
    absent_awaited(engine, waits);
}
