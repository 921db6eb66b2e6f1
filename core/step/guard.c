/* Guards: what no script lifts. Looked at before any end, on every reading.
 *
 * A limit has some room, so that a step which ends on it, or a meter's last digit, trips nothing.
 * The sizes are this project's own choice. */
#include <math.h>

#include "step/parts.h"

#define ROOM_BELOW         0.1   /* V under the least voltage: a discharge may end on the limit */
#define ROOM_ABOVE         0.005 /* V over the most voltage: a charge may be held on the limit */
#define ROOM_NEGATIVE      0.005 /* V under zero: a meter's offset */
#define ROOM_CURRENT       0.05  /* of the current asked for, or of the limit... */
#define ROOM_CURRENT_LEAST 0.020 /* ...and this, A */
#define ODD_READINGS       3     /* in a row, until a current that was not asked for trips */

const char *step_guard_name(enum step_guard guard)
{
    static const char *const names[] = {
#define X(name, text, about) text,
        STEP_GUARDS(X)
#undef X
    };
    return (unsigned)guard < STEP_GUARD_COUNT ? names[guard] : "unknown";
}

const char *step_guard_about(enum step_guard guard)
{
    static const char *const abouts[] = {
#define X(name, text, about) about,
        STEP_GUARDS(X)
#undef X
    };
    return (unsigned)guard < STEP_GUARD_COUNT ? abouts[guard] : "";
}

static bool possible(const struct step *step, const struct reading *reading)
{
    bool fresh = step->interrupted || step->origin == BENCH_NEVER;
    return fabs(reading->voltage) <= VOLTAGE_POSSIBLE &&
           fabs(reading->current) <= CURRENT_POSSIBLE &&
           (isnan(reading->temperature) ||
            (reading->temperature > -80 && reading->temperature < 200)) &&
           (fresh || reading->at >= step->origin + step->last.t_us);
}

static enum step_guard temperature_guard(const struct step *step, double temperature)
{
    const struct limits *limits = &step->limits;
    bool charge = step->plan.kind == STEP_CHARGE;
    double least = charge ? limits->charge_temperature_least : limits->discharge_temperature_least;
    double most = charge ? limits->charge_temperature_most : limits->discharge_temperature_most;
    if (temperature > most)
        return GUARD_OVER_TEMPERATURE;
    return temperature < least ? GUARD_UNDER_TEMPERATURE : GUARD_NONE;
}

/* The current that the drive should make at this voltage; *less tells that less is no fault. */
static double asked_current(const struct drive *drive, double voltage, bool *less)
{
    *less = drive->amount > 0 && voltage > 0.99 * drive->ceiling; /* held at the ceiling */
    switch (drive->mode) {
    case DRIVE_OFF: break;
    case DRIVE_CURRENT: return drive->amount;
    case DRIVE_POWER: return voltage > 0 ? drive->amount / voltage : drive->amount;
    case DRIVE_RESISTANCE: *less = false; return -voltage / drive->amount;
    }
    return 0;
}

static bool over_current(struct step *step, const struct reading *reading)
{
    const struct limits *limits = &step->limits;
    double most =
        reading->current > 0 ? limits->charge_current_most : limits->discharge_current_most;
    struct drive drive = step_drive(step);
    bool less;
    double asked = asked_current(&drive, reading->voltage, &less);
    double off = reading->current - asked;
    double room = ROOM_CURRENT * fabs(asked) + ROOM_CURRENT_LEAST;
    bool odd = fabs(off) > room && !(less && off < 0 && reading->current > -ROOM_CURRENT_LEAST);
    step->odd_currents = odd ? step->odd_currents + 1 : 0;
    return step->odd_currents >= ODD_READINGS ||
           fabs(reading->current) > most * (1 + ROOM_CURRENT) + ROOM_CURRENT_LEAST;
}

enum step_guard step_guarded(struct step *step, const struct reading *reading)
{
    const struct limits *limits = &step->limits;
    bool energised = step->plan.kind != STEP_REST && step->plan.kind != STEP_READ;
    double voltage = reading->voltage;
    if (!possible(step, reading))
        return GUARD_IMPOSSIBLE;
    if (step->plan.logged)
        return GUARD_NONE;
    if (voltage < -ROOM_NEGATIVE)
        return GUARD_REVERSED;
    if (energised) {
        if (step->row_count == 0 && voltage < step->present_least)
            return GUARD_MISSING;
        if (voltage > limits->voltage_most + ROOM_ABOVE)
            return GUARD_OVER_VOLTAGE;
        /* A charge may begin with a cell that stands low: it is there to mend that. */
        if (step->plan.kind != STEP_CHARGE && voltage < limits->voltage_least - ROOM_BELOW)
            return GUARD_UNDER_VOLTAGE;
        if (over_current(step, reading))
            return GUARD_OVER_CURRENT;
    }
    return temperature_guard(step, reading->temperature);
}
