/* A cell and the power terminals wired to it: what flows when a supply, a load and a two-quadrant
 * source, or several at once, are on. No I/O and no clock of its own.
 *
 *   supply ---------+
 *   load -----------+-- relay -- cell -- meter of its own, or scanner -- shared meter
 *   two-quadrant ---+
 *
 * Whoever changes anything: set_advance to now first, change the fields, then set_changed. */
#ifndef EMULATOR_CELL_SET_H
#define EMULATOR_CELL_SET_H

#include <stdbool.h>

#include "bench/simcell.h"

struct supply_output {
    bool on;
    double volts, amps; /* held, and given at most */
};

struct load_input {
    bool on;
    enum drive_mode mode; /* DRIVE_CURRENT, DRIVE_POWER or DRIVE_RESISTANCE */
    double amps, watts, ohms;
};

struct quadrant_output {
    bool on;
    double amps;         /* into the cell; negative: out of it */
    double volts, floor; /* never above while it gives, never below while it takes */
};

struct cell_set {
    int number;           /* from 1 */
    struct simcell *cell; /* borrowed from a world */
    bool cell_out;        /* nothing in the holder */
    bool reversed;        /* the cell is in it the wrong way round, behind a diode: nothing flows */
    bool relay_open;
    bool scanned; /* a scanner joins it to the meter that the sets share */
    struct supply_output supply;
    struct load_input load;
    struct quadrant_output quadrant;
};

/* What an ideal instrument there would show. */
struct terminal {
    double volts;
    double amps; /* at the cell and at a two-quadrant source: into the cell; else the instrument's
                    own sense, never negative */
};

void set_advance(struct cell_set *set, utc_us now);
void set_changed(struct cell_set *set);

struct terminal set_at_cell(const struct cell_set *set);
struct terminal set_at_supply(const struct cell_set *set);
struct terminal set_at_load(const struct cell_set *set);
struct terminal set_at_quadrant(const struct cell_set *set);
double set_temperature(const struct cell_set *set); /* degC, of the cell, or of the empty holder */

#endif
