/* Channels one of whose instruments does not answer: nothing is begun on them, they are told of,
 * and used when all of their instruments are ready. What becomes of a run whose instrument goes in
 * the middle of a step stands in lost.h. Nobody outside core/engine includes this. */
#ifndef PERDURE_ENGINE_ABSENT_H
#define PERDURE_ENGINE_ABSENT_H

#include "engine/live_run.h"

/* Between two looks whether they are ready. */
#define ABSENT_LOOK (1 * (bench_us)US_PER_S)
/* A line that is back by itself is nobody's trouble: told outside (notify.h) after that. */
#define ABSENT_TOLD (60 * (bench_us)US_PER_S)
/* An engine that ends when nothing is left to do waits so long for one that is gone; what waits for
 * it stays open. */
#define ABSENT_GONE (600 * (bench_us)US_PER_S)

/* The first of its instruments that is not ready; NULL: all are, or it has none. */
const struct instrument *absent_instrument(const struct channel *channel);
/* Why it is not. */
const char *absent_trouble(const struct instrument *instrument);

/* Of an engine: what it told of absences, and when it looks again. */
struct absences {
    bool *of; /* by channel, those that are told not to be used; owned */
    int count;
    bench_us since;        /* of the engine's beginning */
    bench_us waited_since; /* since then some queued run waits; 0: none does */
    bool told;             /* outside, of the runs that wait */
    struct deadline look;  /* who is back */
};

/* On record, of a bench on which an engine begins: which channels are not there, and why; and, once
 * one of these is there, that it is used again. */
void absent_tell(struct engine *engine);
void absent_look_who_is_back(struct engine *engine);
/* The engine ends. */
void absent_forget(struct engine *engine);

/* On record of a queued run that has no channel: that it waits for one that is not there (NULL: for
 * one that is in use). */
void absent_queued(struct live_run *run, const struct channel *gone);
/* Whether any queued run waits for a channel that is not there: the queue is looked at again
 * soon. */
void absent_awaited(struct engine *engine, bool waits);

#endif
