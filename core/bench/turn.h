/* Turns at something that several channels share, such as a meter behind a scanner: one holds it at
 * a time, the others wait in order. */
#ifndef PERDURE_BENCH_TURN_H
#define PERDURE_BENCH_TURN_H

#include <stdbool.h>

struct turn_wait {
    struct turn_wait *next;
    void (*yours)(void *owner); /* called once, maybe from inside turn_take */
    void *owner;
};

struct turn {
    struct turn_wait *holder, *first;
};

/* `wait` is the caller's and must stay until the turn is left. */
void turn_take(struct turn *turn, struct turn_wait *wait);

/* Ends it, whether held or waited for; nothing when neither. Calls whoever comes next. */
void turn_leave(struct turn *turn, struct turn_wait *wait);

#endif
