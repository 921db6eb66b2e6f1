/* Names of kinds and ends, the table of their limits, and a plan before anything is asked of it. */
#include "step/plan.h"

#include <string.h>

static const char *const end_names[] = {
#define X(name, text) text,
    STEP_ENDS(X)
#undef X
};

const char *step_end_name(enum step_end end)
{
    return (unsigned)end < STEP_END_COUNT ? end_names[end] : "unknown";
}

const char *step_kind_name(enum step_kind kind)
{
    switch (kind) {
    case STEP_CHARGE: return "charge";
    case STEP_DISCHARGE: return "discharge";
    case STEP_REST: return "rest";
    case STEP_PULSE: return "pulse";
    case STEP_READ: return "read";
    }
    return "unknown";
}

#define AT(field) offsetof(struct step_plan, field)
#define NO_KIND   0u
#define ANY_KIND  (~0u)

const struct step_limit step_limits[] = {
    {"time", "time", AT(time), DIM_TIME, 0, 1u << STEP_REST | 1u << STEP_READ, false},
    {"voltage", "voltage", AT(voltage), DIM_VOLTAGE, 0, ANY_KIND, false},
    {"current", "current_end", AT(current), DIM_CURRENT, 0, NO_KIND, false},
    {"charge", "charge", AT(charge), DIM_CHARGE, 0, NO_KIND, false},
    {"energy", "energy", AT(energy), DIM_ENERGY, 0, NO_KIND, false},
    {"drop", "drop", AT(drop), DIM_VOLTAGE, 0, NO_KIND, false},
    {"flat", "flat", AT(flat), DIM_VOLTAGE_RATE, 0, NO_KIND, false},
    {"blind", "blind", AT(blind), DIM_TIME, 0, ANY_KIND, true},
    {"temperature", "temperature", AT(temperature), DIM_TEMPERATURE, -273.15, NO_KIND, false},
    {"temperature_rate", "temperature_rate", AT(temperature_rate), DIM_TEMPERATURE_RATE, 0, NO_KIND,
     false},
    {NULL},
};

double step_limit_of(const struct step_plan *plan, const struct step_limit *limit)
{
    return *(const double *)(const void *)((const char *)plan + limit->place);
}

void step_plan_init(struct step_plan *plan, enum step_kind kind)
{
    memset(plan, 0, sizeof(*plan));
    plan->kind = kind;
    plan->drive = DRIVE_NOTHING;
    for (const struct step_limit *limit = step_limits; limit->name; limit++)
        *(double *)(void *)((char *)plan + limit->place) = limit->waits ? 0 : NAN;
    plan->backstop_time = plan->backstop_charge = NAN;
    for (int i = 0; i < PULSE_LEVELS; i++) {
        plan->level[i] = DRIVE_NOTHING;
        plan->level_time[i] = NAN;
    }
    plan->by_voltage = 0.003;
    plan->by_temperature = 0.5;
    switch (kind) {
    case STEP_CHARGE:
    case STEP_DISCHARGE: plan->every = 120; break;
    case STEP_REST:
        plan->every = 3600;
        plan->by_voltage = 0.001; /* dense while it settles, then once an hour */
        plan->by_current = NAN;   /* nothing is driven */
        break;
    case STEP_PULSE:
    case STEP_READ:
        plan->every = 0; /* each reading */
        plan->by_current = NAN;
        break;
    }
    if (kind == STEP_READ)
        plan->time = 0; /* the first reading is the last */
}
