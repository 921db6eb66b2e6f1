/* The list of channels: owns them, finds them by name, makes them all safe at the end. */
#include "bench/bench.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "bench/guardian.h"
#include "bench/instrument.h"
#include "link/loop.h"

/* s: the longest that closing waits for outputs to be seen to be off. */
#define CLOSE_PATIENCE 2.0
#define REACH_GRACE    2.0 /* s in which a line that is in use is asked for again */
/* s between two looks at the instruments. */
#define LOOK_EVERY 0.01

int bench_add(struct bench *bench, struct channel *channel, struct error *error)
{
    if (bench_find(bench, channel->name) != NULL) {
        error_set(error, ERROR_BENCH, channel->name, "give each channel a name of its own",
                  "the bench already has a channel of this name");
        channel->ops->close(channel);
        return ERROR_BENCH;
    }
    size_t size = sizeof(bench->channels[0]) * ((size_t)bench->count + 1);
    bench->channels = xrealloc(bench->channels, size);
    bench->channels[bench->count++] = channel;
    return 0;
}

struct channel *bench_find(const struct bench *bench, const char *name)
{
    for (int i = 0; i < bench->count; i++)
        if (strcmp(bench->channels[i]->name, name) == 0)
            return bench->channels[i];
    return NULL;
}

void bench_add_instrument(struct bench *bench, struct instrument *instrument)
{
    size_t size = sizeof(bench->instruments[0]) * ((size_t)bench->instrument_count + 1);
    bench->instruments = xrealloc(bench->instruments, size);
    bench->instruments[bench->instrument_count++] = instrument;
}

/* Runs the loop until none of the instruments `waits`, or time is up; says how many do. */
static int wait_while(struct bench *bench, bool (*waits)(const struct instrument *instrument),
                      double seconds)
{
    struct clock clock;
    clock_open_real(&clock);
    bench_us end = clock_bench(&clock) + (bench_us)(seconds * 1e6);
    for (;;) {
        int count = 0;
        for (int i = 0; i < bench->instrument_count; i++)
            count += waits(bench->instruments[i]);
        if (count == 0 || clock_bench(&clock) >= end)
            return count;
        if (bench->guardian)
            guardian_beat(bench->guardian);
        loop_run(bench->uv_loop, LOOK_EVERY, NULL);
    }
}

static bool is_unready(const struct instrument *instrument)
{
    return instrument_state(instrument) != INSTRUMENT_READY;
}

static bool is_unknown(const struct instrument *instrument)
{
    return is_unready(instrument) && instrument_trouble(instrument)->code == ERROR_NONE;
}

/* What is down cannot be waited for: it is made safe when it comes back, or by its guardian. */
static bool may_be_on(const struct instrument *instrument)
{
    return instrument_state(instrument) != INSTRUMENT_DOWN && !instrument_is_off(instrument);
}

int bench_reach(struct bench *bench, double seconds)
{
    int unready = 0;
    /* The guardian of an engine that was killed just now lets go of the lines within half a
     * second. */
    double grace = fmin(seconds, REACH_GRACE);
    wait_while(bench, is_unready, grace);
    wait_while(bench, is_unknown, seconds - grace);
    for (int i = 0; i < bench->instrument_count; i++)
        unready += is_unready(bench->instruments[i]);
    return unready;
}

void bench_close(struct bench *bench)
{
    /* All safe before any is closed: closing one may take time, and the others wait energised. */
    for (int i = 0; i < bench->count; i++) {
        bench->channels[i]->notify = NULL;
        bench->channels[i]->ops->make_safe(bench->channels[i], NULL);
    }
    wait_while(bench, may_be_on, CLOSE_PATIENCE);
    for (int i = 0; i < bench->count; i++)
        bench->channels[i]->ops->close(bench->channels[i]);
    for (int i = 0; i < bench->instrument_count; i++)
        instrument_close(bench->instruments[i]);
    free(bench->channels);
    free(bench->instruments);
    bench->channels = NULL;
    bench->instruments = NULL;
    bench->count = bench->instrument_count = 0;
}
