/* Inside bench: one channel's way to a shared meter through a scanner. Never are two cells joined
 * to the meter's leads: that would join the cells.
 *
 *   AWAY --scan_begin--> WAITING --its turn--> JOINING --closed--> THERE
 *    ^                      |                     |                  | scan_end
 *    +----- scan_end -------+                     +------> LEAVING <-+
 *    +---------------------------- opened --------------------+ */
#ifndef PERDURE_BENCH_SCAN_H
#define PERDURE_BENCH_SCAN_H

#include "bench/instrument.h"

enum scan_place { SCAN_AWAY, SCAN_WAITING, SCAN_JOINING, SCAN_THERE, SCAN_LEAVING };

struct scan {
    struct instrument *scanner;
    int point;
    struct turn *turn;
    struct turn_wait wait;
    enum scan_place place;
    bool wanted; /* begun again while it leaves */
    bool closed; /* freed once it has left */
    void (*there)(void *owner, const struct error *failure);
    void *owner;
};

/* `there` comes when the meter sees the cell, or cannot; maybe from inside. On failure it is AWAY
 * or on the way. */
void scan_begin(struct scan *scan);
/* Calls nobody; what was begun is undone. */
void scan_end(struct scan *scan);
/* The scan (from xcalloc) ends and frees itself. */
void scan_close(struct scan *scan);

#endif
