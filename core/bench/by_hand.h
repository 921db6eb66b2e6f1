/* A channel worked by hand: a place in a device that only has a display. It drives and reads
 * nothing by itself; whoever runs a step on it asks a person to do so and to type what the display
 * says. */
#ifndef PERDURE_BENCH_BY_HAND_H
#define PERDURE_BENCH_BY_HAND_H

#include "bench/channel.h"

/* `title` is what a person calls the place: "slot 1 of the charger on the shelf". */
struct channel *by_hand_channel(const char *name, const char *title);

bool channel_is_by_hand(const struct channel *channel);

/* What a person calls it; the channel's name where it has no title. */
const char *channel_title(const struct channel *channel);

#endif
