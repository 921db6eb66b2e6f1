/* A step fed by hand: readings from numbers, no cell behind them. */
#ifndef PERDURE_TESTS_STEP_FEED_H
#define PERDURE_TESTS_STEP_FEED_H

#include "step/rig.h"

/* Begins without asking step_plan_check: what is tested is the step, whatever the plan. Guards are
 * those of `limits`. */
static inline void feed_begin(struct step *step, const struct step_plan *plan,
                              const struct limits *limits)
{
    struct cell_facts facts = rig_facts("NiMH", 2);
    step_begin(step, plan, &facts, limits, 1, 60, 3600);
}

static inline enum step_verdict feed(struct step *step, double t, double voltage, double current)
{
    struct reading reading = {llround((1e6 + t) * 1e6), voltage, current, 20, NAN};
    return step_feed(step, &reading, false);
}

static inline enum step_verdict feed_warm(struct step *step, double t, double voltage,
                                          double current, double temperature)
{
    struct reading reading = {llround((1e6 + t) * 1e6), voltage, current, temperature, NAN};
    return step_feed(step, &reading, false);
}

static inline struct outcome outcome_of(const struct step *step)
{
    struct outcome out;
    step_outcome(step, &out);
    return out;
}

static inline struct step_plan feed_plan(enum step_kind kind)
{
    struct step_plan plan;
    step_plan_init(&plan, kind);
    return plan;
}

#endif
