/* Names of kinds and ends, and a plan before anything is asked of it. */
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

void step_plan_init(struct step_plan *plan, enum step_kind kind)
{
    memset(plan, 0, sizeof(*plan));
    plan->kind = kind;
    plan->drive = DRIVE_NOTHING;
    plan->time = plan->voltage = plan->current = plan->charge = plan->energy = NAN;
    plan->drop = plan->flat = plan->temperature = plan->temperature_rate = NAN;
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
