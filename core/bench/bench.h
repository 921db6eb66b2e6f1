/* The bench: the channels at hand, by name, and the instruments that they are made of. Filled by
 * whoever reads the bench file. */
#ifndef PERDURE_BENCH_BENCH_H
#define PERDURE_BENCH_BENCH_H

#include "bench/channel.h"

struct instrument;

struct bench {
    char title[128];
    struct channel **channels; /* owned, in the order of the file */
    int count;
    struct instrument **instruments; /* owned, shared by the channels */
    int instrument_count;
    void *uv_loop;             /* borrowed: that the instruments are on; NULL without instruments */
    struct guardian *guardian; /* borrowed: hears a sign of life while this waits; may be NULL */
};

/* Takes the channel over; refuses a second one of the same name (the channel is closed then). */
int bench_add(struct bench *bench, struct channel *channel, struct error *error);
struct channel *bench_find(const struct bench *bench, const char *name);

void bench_add_instrument(struct bench *bench, struct instrument *instrument);

/* Runs the loop until every instrument is ready or known to be in trouble, at most `seconds` of
 * real time; says how many are not ready. */
int bench_reach(struct bench *bench, double seconds);

/* Makes every channel safe, waits for that a moment where instruments have to answer, closes and
 * frees all. The loop must run once more to let go of the links (loop_free does). */
void bench_close(struct bench *bench);

#endif
