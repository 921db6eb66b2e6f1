/* A simulated channel: an instrument around a simulated cell, on any clock. It is ideal unless it
 * is told to misread: what it reads then differs from the truth, always in the same way, while the
 * cell is driven exactly as asked. */
#ifndef PERDURE_BENCH_SIMULATED_H
#define PERDURE_BENCH_SIMULATED_H

#include "base/clock.h"
#include "bench/channel.h"
#include "bench/world.h"

/* Limits, ticks and name of the result may be changed before its first use. `truth` may be NULL;
 * it is copied. Clock and world are borrowed and must outlive the channel. */
struct channel *simulated_channel(const char *name, const struct clock *clock, struct world *world,
                                  const struct simcell_truth *truth);

/* Errors of a reading, with their sign: reading = truth x (1 + relative) + absolute. */
struct misreading {
    struct stated_accuracy voltage, current, resistance;
};
void simulated_misread(struct channel *channel, const struct misreading *misreading);

#endif
