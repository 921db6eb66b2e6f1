/* The control tick of one step, as pure logic: readings in; rows to keep, the word to go on or end,
 * and at last an outcome out. No input or output, no clock, no allocation: testable with an array.
 *
 *   step_begin --> step_feed ... step_feed --> STEP_ENDED | STEP_TRIPPED --> step_outcome
 *
 * 1. Charge and energy are integrated by the trapezoid over the readings' own times, at every tick.
 * 2. At an end by voltage, current, charge, energy or time the last stretch is cut where the line
 *    between the last two readings crosses the limit, so a result does not depend on the tick.
 * 3. A guard is looked at before any end.
 * 4. After step_interrupt (a gap) the next reading starts a new stretch: nothing is integrated over
 *    the gap, and limits of time and charge go on counting where they stood. A rest counts the gap
 *    as time: time passes on the shelf whether we look or not. */
#ifndef PERDURE_STEP_STEP_H
#define PERDURE_STEP_STEP_H

#include <stdint.h>

#include "step/plan.h"

enum step_verdict {
    STEP_GO_ON,
    STEP_REDRIVE, /* a pulse moved to its next level: drive step_drive(), then go on feeding */
    STEP_ENDED,
    STEP_TRIPPED /* a guard: make safe, fail the run; step->guard says which */
};

/* One row for the record. `t` counts from the step's start and includes gaps. */
struct step_row {
    int64_t t_us;
    double voltage, current, temperature;
};

/* Guards. Each trips on one reading; GUARD_STALE on the lack of one, which the caller notices. */
#define STEP_GUARDS(X)                                                                             \
    X(GUARD_NONE, "none", "")                                                                      \
    X(GUARD_OVER_VOLTAGE, "over-voltage", "the cell's voltage is above the limit")                 \
    X(GUARD_UNDER_VOLTAGE, "under-voltage", "the cell's voltage is below the limit")               \
    X(GUARD_REVERSED, "reversed", "the voltage is negative: cell reversed or leads swapped")       \
    X(GUARD_MISSING, "missing", "no cell seems to be in the channel")                              \
    X(GUARD_OVER_CURRENT, "over-current", "the current is beyond the limit or not what was asked") \
    X(GUARD_OVER_TEMPERATURE, "over-temperature", "the cell is too hot")                           \
    X(GUARD_UNDER_TEMPERATURE, "under-temperature", "the cell is too cold")                        \
    X(GUARD_STALE, "stale", "no fresh reading came in time")                                       \
    X(GUARD_IMPOSSIBLE, "impossible", "a reading is not a possible value")

enum step_guard {
#define X(name, text, about) name,
    STEP_GUARDS(X)
#undef X
        STEP_GUARD_COUNT
};
const char *step_guard_name(enum step_guard guard);
const char *step_guard_about(enum step_guard guard);

#define STEP_WINDOW 16
#define STEP_PAST   32

struct step {
    struct step_plan plan;
    struct limits limits;
    double present_least; /* V, below it no cell is thought present at the start; NAN: not looked */
    double rated;         /* A.s; 0 when not known */
    double tick_least, tick_most, rest_most; /* s, as in the channel */

    /* Progress: all of it is saved by checkpoint.h. Arrays are last: few readings touch them. */
    int64_t elapsed_us;  /* since the start, gaps included: the t of the last reading */
    double active;       /* s, gaps excluded (for a rest: included) */
    double charge;       /* A.s, magnitude in the step's direction */
    double energy;       /* J, same */
    double voltage_time; /* V.s, for the mean */
    double first_voltage, peak_voltage, low_voltage, max_temperature, min_temperature;
    double smooth_voltage, smooth_peak; /* for -dV under noise */
    double past_spacing;                /* A.s, for mid_voltage, as the arrays of the past */
    double stretch_start;               /* active when this stretch began: `blind` counts from it */
    struct step_row last, kept;         /* the last reading and the last row recorded */
    int odd_currents;                   /* readings in a row whose current is not what was asked */
    bool tapering; /* the current has been seen above its end, or the voltage at the ceiling */
    int past_count, window_count, level, gaps;
    int64_t row_count;  /* k of the next row */
    int64_t row_due_us; /* t at which `every` wants it */

    /* The last call's results. */
    enum step_end ended_by;
    enum step_guard guard;
    bool interrupted; /* the next reading starts a new stretch */
    int rows;         /* how many of `row` are to be kept */
    struct step_row row[3];
    bench_us origin;   /* bench time of t = 0, moved at each new stretch; BENCH_NEVER before
                          the first reading and after a load. Never saved */
    double tick;       /* s to the next wanted reading */
    double end_span;   /* s between the readings that the end was found between; 0: at one */
    double end_slope;  /* V/s up to an end by voltage; NAN */
    double resistance; /* ohm, of the last reading */

    /* Progress again. */
    double past_charge[STEP_PAST], past_voltage[STEP_PAST];
    double window_t[STEP_WINDOW], window_v[STEP_WINDOW], window_temperature[STEP_WINDOW];
    double level_start; /* active when the level began */
    double level_voltage[PULSE_LEVELS], level_current[PULSE_LEVELS];
    double gap_time; /* s */
};

/* `plan` must have passed step_plan_check. Ticks come from the channel. Copies everything. */
void step_begin(struct step *step, const struct step_plan *plan, const struct cell_facts *cell,
                const struct limits *limits, double tick_least, double tick_most, double rest_most);

/* The drive that holds now (changes only within a pulse). */
struct drive step_drive(const struct step *step);

/* Takes one reading. `when` is the script's predicate, already evaluated on this reading. */
enum step_verdict step_feed(struct step *step, const struct reading *reading, bool when);

/* When the next reading is wanted, in seconds from the last: as rarely as the channel allows, and
 * as often as the nearest end needs. 0 after STEP_REDRIVE: at once, when the level is driven. */
double step_next(const struct step *step);

/* A gap of `seconds` (by the calendar) begins after the last reading. */
void step_interrupt(struct step *step, double seconds);

/* Ends the step from outside, at its last reading. */
void step_stop(struct step *step, enum step_end end, enum step_guard guard);

/* What a step gives back; SI. NAN where it has no meaning. */
struct outcome {
    enum step_kind kind;
    double charge, energy, duration;
    double first_voltage, last_voltage, mean_voltage, mid_voltage, peak_voltage;
    double last_current, max_temperature;
    double resistance; /* ohm; of a pulse by direct current, of a read by alternating current */
    double level_voltage[PULSE_LEVELS], level_current[PULSE_LEVELS]; /* pulse only */
    double end_span, end_slope;                                      /* as in struct step */
    enum step_end ended_by;
    enum step_guard guard;
    int gaps;
    double gap_time;
    const char *quality; /* "good", "gap" (interrupted), "void" (do not use) */
};
void step_outcome(const struct step *step, struct outcome *out);

#endif
