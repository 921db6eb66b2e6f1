/* A simulated channel: an ideal instrument around a simulated cell, on any clock. */
#ifndef PERDURE_BENCH_SIMULATED_H
#define PERDURE_BENCH_SIMULATED_H

#include "base/clock.h"
#include "bench/channel.h"
#include "bench/world.h"

/* Limits, ticks and name of the result may be changed before its first use. `truth` may be NULL;
 * it is copied. Clock and world are borrowed and must outlive the channel. */
struct channel *simulated_channel(const char *name, const struct clock *clock, struct world *world,
                                  const struct simcell_truth *truth);

#endif
