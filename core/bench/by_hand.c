/* The by-hand channel: nothing to drive, nothing to read, nothing to make safe. */
#include "bench/by_hand.h"

#include <math.h>
#include <stdlib.h>

#include "base/text.h"

struct by_hand {
    struct channel channel;
    char title[128];
};

static int insert(struct channel *channel, const struct cell_facts *cell, struct error *error)
{
    (void)channel, (void)cell, (void)error; /* the first question says which cell goes where */
    return 0;
}

static enum channel_reply cannot(struct channel *channel, struct error *error)
{
    error_set(error, ERROR_BENCH, channel->name, "answer the engine's questions: perdure attend",
              "the channel is worked by hand");
    return CHANNEL_FAILED;
}

static enum channel_reply drive(struct channel *channel, const struct drive *wanted,
                                struct error *error)
{
    (void)wanted;
    return cannot(channel, error);
}

static enum channel_reply read_cell(struct channel *channel, struct reading *out,
                                    struct error *error)
{
    (void)out;
    return cannot(channel, error);
}

static enum channel_reply make_safe(struct channel *channel, struct error *error)
{
    (void)channel, (void)error;
    return CHANNEL_NOW;
}

static void take_out(struct channel *channel)
{
    (void)channel;
}

static void close_channel(struct channel *channel)
{
    free(channel);
}

static const struct channel_ops ops = {"by hand", insert,   drive,        read_cell,
                                       make_safe, take_out, close_channel};

struct channel *by_hand_channel(const char *name, const char *title)
{
    struct by_hand *by_hand = xcalloc(1, sizeof *by_hand);
    struct channel *channel = &by_hand->channel;
    channel->ops = &ops;
    string_copy(channel->name, sizeof channel->name, name);
    string_copy(by_hand->title, sizeof by_hand->title, title ? title : "");
    channel->limits = LIMITS_NONE;
    channel->accuracy = STATES_NOTHING;
    channel->tick_least = channel->tick_most = channel->rest_most = 1;
    channel->void_after = NAN;
    channel->measures_resistance = true; /* a person says what some display does */
    return channel;
}

bool channel_is_by_hand(const struct channel *channel)
{
    return channel->ops == &ops;
}

const char *channel_title(const struct channel *channel)
{
    const struct by_hand *by_hand = (const struct by_hand *)channel;
    return channel_is_by_hand(channel) && by_hand->title[0] ? by_hand->title : channel->name;
}
