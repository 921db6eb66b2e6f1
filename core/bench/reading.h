/* One measurement, and what a channel is told to drive. The two small structs that the whole
 * control path passes around. Current is positive into the cell (charging), negative out of it. */
#ifndef PERDURE_BENCH_READING_H
#define PERDURE_BENCH_READING_H

#include <math.h>

#include "base/clock.h"

struct reading {
    bench_us at;        /* when it was taken, on the running clock */
    double voltage;     /* V at the cell */
    double current;     /* A, signed */
    double temperature; /* degC; NAN where nothing measures it */
    double resistance;  /* ohm, by alternating current (about 1 kHz); NAN unless it was asked for */
};

/* ohm: what a cell, its four contacts sound, may have by alternating current. Beyond it a unit, a
 * zero or a contact is wrong. Common practice, no source. */
#define RESISTANCE_LEAST 1e-4
#define RESISTANCE_MOST  10.0

/* V and A, as magnitudes, of a cell: beyond them a unit or a reading is wrong. */
#define VOLTAGE_POSSIBLE 100.0
#define CURRENT_POSSIBLE 1000.0

enum drive_mode { DRIVE_OFF, DRIVE_CURRENT, DRIVE_POWER, DRIVE_RESISTANCE };

struct drive {
    enum drive_mode mode;
    double amount;  /* A or W, positive to charge and negative to discharge; ohm, discharge only */
    double ceiling; /* V that a charge must not exceed (constant current, then constant voltage);
                       NAN for none */
};

#define DRIVE_NOTHING ((struct drive){DRIVE_OFF, 0, NAN})

#endif
