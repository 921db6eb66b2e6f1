/* Chemistry profiles: what a cell of a chemistry may be put through, and the backstops of a charge
 * whose script names none. And limits, the guards that no script lifts.
 *
 * The values are the trade's usual ones and are editable where a bench file says so; set them from
 * the cell maker's sheet and your own copy of the standard. Each value's origin is in profile.c. */
#ifndef PERDURE_BENCH_PROFILE_H
#define PERDURE_BENCH_PROFILE_H

#include <stdbool.h>

#include "base/error.h"

/* All SI, currents as magnitudes. A limit that is not set is NAN. */
struct limits {
    double voltage_least, voltage_most;                       /* V at the cell, while energised */
    double charge_current_most;                               /* A */
    double discharge_current_most;                            /* A */
    double charge_temperature_least, charge_temperature_most; /* degC */
    double discharge_temperature_least, discharge_temperature_most; /* degC */
    double reading_age_most; /* s without a reading before the step fails */
};

extern const struct limits LIMITS_NONE;

/* The tighter of each pair. */
struct limits limits_meet(const struct limits *a, const struct limits *b);

struct profile {
    const char *chemistry;      /* "NiMH", "NiCd", "Li-ion" */
    bool rechargeable;          /* false: refused for anything that charges */
    const char *why_not;        /* what to say then */
    double nominal_voltage;     /* V */
    double end_voltage;         /* V, the usual end of a 0.2 It discharge */
    double charge_ceiling;      /* V, required constant-voltage ceiling of a charge; NAN for none */
    double charge_rate_most;    /* It */
    double discharge_rate_most; /* It */
    double present_least;       /* V below which no healthy cell is thought to be in the channel */
    double backstop_charge;     /* of rated capacity, the most that one charge step may put in */
    double backstop_slow;       /* the same at 0.1 It and below, which sealed nickel cells bear */
    double backstop_time;       /* times the time that the rated capacity takes at its current */
    struct limits limits;       /* voltages and temperatures; currents are left NAN */
};

/* Names are compared without case; synonyms as the trade writes them ("Ni-MH", "LiIon"). NULL when
 * not known. Primary cells are known, and refused. */
const struct profile *profile_find(const char *chemistry);

/* The i-th profile, or NULL past the last: for listings. */
const struct profile *profile_at(int i);

/* Limits of one cell: the profile's, with its rates turned to amperes by the rated charge (A.s). */
struct limits profile_limits(const struct profile *profile, double rated_charge);

#endif
