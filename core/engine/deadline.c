/* The deadline heap: binary, intrusive, stable for ties. */
#include "engine/deadline.h"

#include <stdlib.h>

#include "base/text.h"

static inline bool earlier(const struct deadline_slot *a, const struct deadline_slot *b)
{
    return a->when != b->when ? a->when < b->when : a->order < b->order;
}

static inline void put(struct deadlines *deadlines, struct deadline_slot slot, int place)
{
    deadlines->heap[place] = slot;
    slot.deadline->place = place;
}

static void sift_up(struct deadlines *deadlines, struct deadline_slot slot, int place)
{
    while (place > 1 && earlier(&slot, &deadlines->heap[place / 2])) {
        put(deadlines, deadlines->heap[place / 2], place);
        place /= 2;
    }
    put(deadlines, slot, place);
}

static void sift_down(struct deadlines *deadlines, struct deadline_slot slot, int place)
{
    for (;;) {
        int child = 2 * place;
        if (child > deadlines->count)
            break;
        if (child < deadlines->count &&
            earlier(&deadlines->heap[child + 1], &deadlines->heap[child]))
            child++;
        if (!earlier(&deadlines->heap[child], &slot))
            break;
        put(deadlines, deadlines->heap[child], place);
        place = child;
    }
    put(deadlines, slot, place);
}

/* Where a deadline of changed time belongs, from `place`, which is free. */
static void settle(struct deadlines *deadlines, struct deadline_slot slot, int place)
{
    if (place > 1 && earlier(&slot, &deadlines->heap[place / 2]))
        sift_up(deadlines, slot, place);
    else
        sift_down(deadlines, slot, place);
}

void deadlines_free(struct deadlines *deadlines)
{
    free(deadlines->heap);
    *deadlines = (struct deadlines){0};
}

void deadline_set(struct deadlines *deadlines, struct deadline *deadline, bench_us when)
{
    if (deadlines->firing == deadline)
        deadlines->firing = NULL;
    deadline->when = when;
    deadline->order = deadlines->next_order++;
    struct deadline_slot slot = {deadline->when, deadline->order, deadline};
    if (deadline->place) {
        settle(deadlines, slot, deadline->place);
        return;
    }
    if (deadlines->count + 1 >= deadlines->room) {
        deadlines->room = deadlines->room ? 2 * deadlines->room : 64;
        deadlines->heap =
            xrealloc(deadlines->heap, (size_t)deadlines->room * sizeof *deadlines->heap);
    }
    sift_up(deadlines, slot, ++deadlines->count);
}

void deadline_clear(struct deadlines *deadlines, struct deadline *deadline)
{
    int place = deadline->place;
    if (!place)
        return;
    if (deadlines->firing == deadline)
        deadlines->firing = NULL;
    deadline->place = 0;
    struct deadline_slot last = deadlines->heap[deadlines->count--];
    if (last.deadline != deadline)
        settle(deadlines, last, place);
}

bench_us deadlines_next(const struct deadlines *deadlines)
{
    return deadlines->count ? deadlines->heap[1].when : BENCH_NEVER;
}

int deadlines_fire(struct deadlines *deadlines, bench_us now)
{
    /* What is set while firing gets a later order: the fence tells it from what was due before. */
    uint64_t fence = deadlines->next_order;
    int fired = 0;
    while (deadlines->count && deadlines->heap[1].when <= now && deadlines->heap[1].order < fence) {
        /* Most are set anew at once: one move in the heap then, instead of out and in. */
        struct deadline *first = deadlines->heap[1].deadline;
        deadlines->firing = first;
        first->due(first->owner);
        if (deadlines->firing == first)
            deadline_clear(deadlines, first);
        fired++;
    }
    return fired;
}
