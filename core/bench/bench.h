/* The bench: the channels at hand, by name. Filled by whoever reads the bench file. */
#ifndef PERDURE_BENCH_BENCH_H
#define PERDURE_BENCH_BENCH_H

#include "bench/channel.h"

struct bench {
    char title[128];
    struct channel **channels; /* owned, in the order of the file */
    int count;
};

/* Takes the channel over; refuses a second one of the same name (the channel is closed then). */
int bench_add(struct bench *bench, struct channel *channel, struct error *error);
struct channel *bench_find(const struct bench *bench, const char *name);

/* Makes every channel safe, closes and frees all. */
void bench_close(struct bench *bench);

#endif
