/* The simulated channel: moves its cell to the present before every look and every change. */
#include "bench/simulated.h"

#include <stdlib.h>

#include "base/text.h"

struct simulated {
    struct channel channel; /* first: a channel is cast to this */
    const struct clock *clock;
    struct world *world;
    bool has_truth;
    struct simcell_truth truth;
    struct misreading misreading;
    struct simcell *cell; /* NULL when empty; lives in the world */
};

static struct simulated *of(struct channel *channel)
{
    return (struct simulated *)channel;
}

static bench_us to_present(struct simulated *simulated)
{
    bench_us now = clock_bench(simulated->clock);
    simcell_advance(simulated->cell, clock_utc_at(simulated->clock, now));
    return now;
}

static int refuse_empty(const struct channel *channel, struct error *error)
{
    return error_set(error, ERROR_BENCH, channel->name, "put a cell in first",
                     "the channel is empty");
}

static int insert(struct channel *channel, const struct cell_facts *facts, struct error *error)
{
    struct simulated *simulated = of(channel);
    if (simulated->cell != NULL)
        return error_set(error, ERROR_BENCH, channel->name, "take the other cell out first",
                         "the channel already holds a cell");
    simulated->cell =
        world_cell(simulated->world, facts, simulated->has_truth ? &simulated->truth : NULL,
                   clock_utc(simulated->clock), error);
    return simulated->cell != NULL ? 0 : ERROR_BENCH;
}

static enum channel_reply drive(struct channel *channel, const struct drive *wanted,
                                struct error *error)
{
    struct simulated *simulated = of(channel);
    if (simulated->cell == NULL) {
        refuse_empty(channel, error);
        return CHANNEL_FAILED;
    }
    to_present(simulated);
    simulated->cell->drive = *wanted;
    return CHANNEL_NOW;
}

static double misread(const struct stated_accuracy *error, double truth)
{
    return truth * (1 + error->relative) + error->absolute;
}

static enum channel_reply read_cell(struct channel *channel, struct reading *out,
                                    struct error *error)
{
    struct simulated *simulated = of(channel);
    if (simulated->cell == NULL) {
        refuse_empty(channel, error);
        return CHANNEL_FAILED;
    }
    out->at = to_present(simulated);
    simcell_read(simulated->cell, out);
    out->voltage = misread(&simulated->misreading.voltage, out->voltage);
    out->current = misread(&simulated->misreading.current, out->current);
    out->resistance = NAN;
    if (channel->asks_resistance && simulated->cell->drive.mode == DRIVE_OFF)
        out->resistance =
            misread(&simulated->misreading.resistance, simcell_read_resistance(simulated->cell));
    return CHANNEL_NOW;
}

static enum channel_reply make_safe(struct channel *channel, struct error *error)
{
    struct simulated *simulated = of(channel);
    (void)error;
    if (simulated->cell != NULL) {
        to_present(simulated);
        simulated->cell->drive = DRIVE_NOTHING;
    }
    return CHANNEL_NOW;
}

static void remove_cell(struct channel *channel)
{
    make_safe(channel, NULL);
    of(channel)->cell = NULL;
}

static void close_channel(struct channel *channel)
{
    remove_cell(channel);
    free(of(channel));
}

static const struct channel_ops ops = {
    .kind = "simulated",
    .insert = insert,
    .drive = drive,
    .read = read_cell,
    .make_safe = make_safe,
    .remove = remove_cell,
    .close = close_channel,
};

struct channel *simulated_channel(const char *name, const struct clock *clock, struct world *world,
                                  const struct simcell_truth *truth)
{
    struct simulated *simulated = xcalloc(1, sizeof(*simulated));
    simulated->channel = (struct channel){
        .ops = &ops,
        .limits = LIMITS_NONE,
        .tick_least = 1,
        .tick_most = 60,
        .rest_most = 3600,
        .physical = false,
        .simulated = true,
        .measures_resistance = true,
        .void_after = NAN,
        .accuracy = STATES_NOTHING,
    };
    string_copy(simulated->channel.name, sizeof(simulated->channel.name), name);
    simulated->clock = clock;
    simulated->world = world;
    simulated->has_truth = truth != NULL;
    if (truth != NULL)
        simulated->truth = *truth;
    return &simulated->channel;
}

void simulated_misread(struct channel *channel, const struct misreading *misreading)
{
    of(channel)->misreading = *misreading;
}
