/* A keeper: the guardian's thread for one instrument. Each has its own, because a device can hold
 * up whoever writes to it, sets it or closes it (a jammed serial line for 30 s, USBTMC until a read
 * of the engine's ends), O_NONBLOCK or not; so none delays another. Guardian only. */
#ifndef PERDURE_BENCH_GUARDIAN_KEEPER_H
#define PERDURE_BENCH_GUARDIAN_KEEPER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct keeper {
    struct keeper *next; /* these two are the owner's */
    int id;
    struct keeper_work *work;
    int orders; /* to fire, given */
};

/* Takes `fd` over; NULL, with it closed, when there is no thread or memory. `bound_us`: how long it
 * tries to write when it fires. */
struct keeper *keeper_start(int id, int fd, const char *safe, size_t length, int64_t bound_us);

/* Writes the safe bytes, several times, and stays. */
void keeper_fire(struct keeper *keeper);
/* The same, then ends: nobody comes back. */
void keeper_fire_last(struct keeper *keeper);
/* Whether what was ordered is still to be written. */
bool keeper_fires(const struct keeper *keeper);
/* Ends without writing. */
void keeper_leave(struct keeper *keeper);

/* After keeper_fire_last or keeper_leave: whether it has ended, and is freed. Never waits. */
bool keeper_ended(struct keeper *keeper);

#endif
