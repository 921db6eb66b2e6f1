/* What one step is to do: what to drive, when it ends, what to record. Plain data, SI units, made
 * by the bindings from a script's table, checked here before anything is energised. */
#ifndef PERDURE_STEP_PLAN_H
#define PERDURE_STEP_PLAN_H

#include <stdbool.h>
#include <stddef.h>

#include "base/quantity.h"
#include "bench/channel.h"
#include "bench/profile.h"
#include "bench/reading.h"

enum step_kind { STEP_CHARGE, STEP_DISCHARGE, STEP_REST, STEP_PULSE, STEP_READ };

/* Ways to end, also the values of `ended_by`. The first to come true ends the step. */
#define STEP_ENDS(X)                                                                               \
    X(END_NONE, "none")                                                                            \
    X(END_TIME, "time")                                                                            \
    X(END_VOLTAGE, "voltage") /* charge: at or above; discharge: at or below; rest: across */      \
    X(END_CURRENT, "current") /* at or below: the taper of a constant-voltage charge */            \
    X(END_CHARGE, "charge")                                                                        \
    X(END_ENERGY, "energy")                                                                        \
    X(END_DROP, "drop")                         /* below the peak by: -dV */                       \
    X(END_FLAT, "flat")                         /* voltage slope at or below, in magnitude */      \
    X(END_TEMPERATURE, "temperature")           /* at or above */                                  \
    X(END_TEMPERATURE_RATE, "temperature_rate") /* at or above */                                  \
    X(END_WHEN, "when")                         /* a script's own function of the reading */       \
    X(END_BACKSTOP_TIME, "backstop_time")       /* the chemistry's, where the script named none */ \
    X(END_BACKSTOP_CHARGE, "backstop_charge")                                                      \
    X(END_GUARD, "guard")     /* not an end but a failure: see step.h */                           \
    X(END_PERSON, "person")   /* by hand: a person said that it has ended */                       \
    X(END_STOPPED, "stopped") /* by a person, or with the run */                                   \
    X(END_RECORD, "record")   /* imported: it goes no further in the file */

enum step_end {
#define X(name, text) name,
    STEP_ENDS(X)
#undef X
        STEP_END_COUNT
};

const char *step_end_name(enum step_end end);
const char *step_kind_name(enum step_kind kind);

#define PULSE_LEVELS 2

/* By alternating current, of a cell at rest: where the channel can; in any case; never. */
enum resistance_wish { RESISTANCE_IF_ANY, RESISTANCE_MUST, RESISTANCE_NEVER };

struct step_plan {
    enum step_kind kind;
    struct drive drive;

    /* Ends, each with its row in step_limits; NAN (or false) where not asked for. */
    double time;             /* s */
    double voltage;          /* V */
    double current;          /* A, magnitude */
    double charge;           /* A.s, magnitude */
    double energy;           /* J, magnitude */
    double drop;             /* V below the peak */
    double flat;             /* V/s */
    double blind;            /* s from the start in which drop, flat and temperature_rate wait */
    double temperature;      /* degC */
    double temperature_rate; /* K/s */
    bool when;               /* the caller evaluates a predicate on each reading */
    enum resistance_wish resistance; /* of a read */
    double backstop_time;            /* s; filled by step_plan_check */
    double backstop_charge;          /* A.s; filled by step_plan_check */

    /* A pulse: the levels in turn, each for its time; resistance = (U1 - U2) / (I2 - I1), U1 and U2
     * at the end of each level (IEC 61951-2, two-step direct current). */
    struct drive level[PULSE_LEVELS];
    double level_time[PULSE_LEVELS]; /* s */

    /* Record: first and last always; else after `every`, or on a change. NAN for never. */
    double every;          /* s */
    double by_voltage;     /* V */
    double by_current;     /* A; 0: step_plan_check puts 2 % of the drive, at least 1 mA */
    double by_temperature; /* K */

    bool logged; /* nothing is driven: readings logged elsewhere are looked at afterwards, so that
                    of the guards only an impossible reading trips */
};

/* What can be said of the limit of any end: of these rows a plan is cleared, checked and put on
 * record. */
struct step_limit {
    const char *name;      /* in scripts and refusals */
    const char *on_record; /* its key in the plan's JSON */
    size_t place;          /* of its double in struct step_plan */
    enum dimension dimension;
    double least;    /* SI: what is below no step can come to */
    unsigned equals; /* 1 << kind: those that may be given the least itself */
    bool waits;      /* no end: how long others wait */
};
extern const struct step_limit step_limits[]; /* up to one without a name */

/* What the plan asks for, in SI; NAN where it does not. */
double step_limit_of(const struct step_plan *plan, const struct step_limit *limit);

/* A plan of the kind with every end unset and the usual record. */
void step_plan_init(struct step_plan *plan, enum step_kind kind);

/* Refuses what must not be energised: no end, a quantity of the wrong sign or not finite, a drive
 * beyond the limits, a charge of a chemistry that must not be charged, a charge over the ceiling of
 * a chemistry that needs one (and sets that ceiling when none was asked). Gives every charge its
 * backstops. `limits` is the meet of channel, chemistry and cell. */
int step_plan_check(struct step_plan *plan, const struct cell_facts *cell,
                    const struct limits *limits, struct error *error);

#endif
