/* Everything that one emulator serves: cells, instruments, ports. */
#ifndef EMULATOR_HOUSE_H
#define EMULATOR_HOUSE_H

#include "bench/world.h"
#include "plan.h"

struct house {
    const struct plan *plan; /* borrowed */
    struct loop *loop;       /* borrowed */
    struct world *world;
    struct cell_set *sets; /* of plan->sets */
    struct instrument *instruments;
    int instrument_count;
    struct ports *ports; /* the i-th reaches the i-th instrument */
    struct pace pace;
    struct record *record;
};

int house_open(struct house *house, const struct plan *plan, struct loop *loop,
               struct error *error);
void house_close(struct house *house);

/* Moves all cells to the present, so that what has to trip does without being asked. */
void house_advance(struct house *house);

utc_us house_now(const struct house *house);

/* "supply-1 pty PATH DEVICE" or "meter-1 tcp 127.0.0.1:PORT", a line an instrument. */
void house_print(const struct house *house, FILE *stream);

#endif
