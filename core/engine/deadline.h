/* Deadlines: a heap of moments on the running clock, embedded in what waits for them. Ties fall due
 * in the order in which they were set, so that the same work always happens in the same order. */
#ifndef PERDURE_ENGINE_DEADLINE_H
#define PERDURE_ENGINE_DEADLINE_H

#include <stdbool.h>
#include <stddef.h>

#include "base/clock.h"

struct deadline {
    bench_us when;
    uint64_t order;
    int place; /* in the heap, from 1; 0 when not set */
    void (*due)(void *owner);
    void *owner;
};

/* When and in which order stand beside the pointer: comparing need not look at what waits. */
struct deadline_slot {
    bench_us when;
    uint64_t order;
    struct deadline *deadline;
};

struct deadlines {
    struct deadline_slot *heap; /* [1..count] */
    int count, room;
    uint64_t next_order;
    struct deadline *firing; /* being called; in the heap until it is set anew or done */
};

void deadlines_free(struct deadlines *deadlines);

/* Sets it, or moves it if it is set already. */
void deadline_set(struct deadlines *deadlines, struct deadline *deadline, bench_us when);
void deadline_clear(struct deadlines *deadlines, struct deadline *deadline);

/* The earliest moment; BENCH_NEVER when nothing waits. */
bench_us deadlines_next(const struct deadlines *deadlines);

/* Calls everything that was due at `now` when called: what these set anew, even for now, waits for
 * the next call. Returns how many. */
int deadlines_fire(struct deadlines *deadlines, bench_us now);

#endif
