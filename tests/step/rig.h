/* A step on one simulated cell, run to its end as an engine would: drive, read, feed, wait. Keeps
 * the rows and counts the readings. For the tests of the step layer. */
#ifndef PERDURE_TESTS_STEP_RIG_H
#define PERDURE_TESTS_STEP_RIG_H

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "bench/simulated.h"
#include "step/step.h"

#define AH       3600.0
#define RIG_ROWS 200000

struct rig {
    struct clock clock;
    struct world *world;
    struct channel *channel;
    struct cell_facts facts;
    struct limits limits;
    struct step step;
    struct outcome out;
    struct step_row *rows;
    int row_count;
    long readings;
};

/* A cell of the chemistry with a label, rated in Ah. */
static inline struct cell_facts rig_facts(const char *chemistry, double rated_ah)
{
    struct cell_facts facts = {.label = "KES-01",
                               .model = "Kestrel 2000",
                               .profile = profile_find(chemistry),
                               .rated_charge = rated_ah * AH,
                               .seed = 7};
    return facts;
}

/* One voltage, one resistance, nothing else: every result has a closed form. */
static inline struct simcell_truth rig_ideal(double capacity_ah, double ocv, double r0)
{
    struct simcell_truth truth = {.capacity = capacity_ah * AH,
                                  .ocv_points = 1,
                                  .ocv = {ocv},
                                  .r0 = r0,
                                  .efficiency = 1,
                                  .knee = 1,
                                  .ambient = 20,
                                  .soc_new = 1};
    return truth;
}

static inline void rig_open(struct rig *rig, const char *chemistry, double rated_ah,
                            const struct simcell_truth *truth)
{
    struct error error = {0};
    memset(rig, 0, sizeof(*rig));
    rig->facts = rig_facts(chemistry, rated_ah);
    clock_open_virtual(&rig->clock, 1772438400 * US_PER_S); /* 2026-03-02T08:00Z */
    assert_int_equal(world_open(&rig->world, NULL, &error), 0);
    rig->channel = simulated_channel("S1", &rig->clock, rig->world, truth);
    assert_int_equal(rig->channel->ops->insert(rig->channel, &rig->facts, &error), 0);
    rig->limits = rig->facts.profile != NULL
                      ? profile_limits(rig->facts.profile, rig->facts.rated_charge)
                      : LIMITS_NONE;
    rig->rows = malloc(RIG_ROWS * sizeof(*rig->rows));
    assert_non_null(rig->rows);
}

static inline void rig_close(struct rig *rig)
{
    rig->channel->ops->close(rig->channel);
    world_close(rig->world);
    free(rig->rows);
}

static inline struct simcell *rig_cell(struct rig *rig)
{
    struct simcell *cell = world_cell(rig->world, &rig->facts, NULL, 0, NULL);
    assert_non_null(cell);
    return cell;
}

static inline void rig_keep_rows(struct rig *rig)
{
    for (int i = 0; i < rig->step.rows; i++) {
        assert_true(rig->row_count < RIG_ROWS);
        rig->rows[rig->row_count++] = rig->step.row[i];
    }
}

static inline void rig_drive(struct rig *rig)
{
    struct drive drive = step_drive(&rig->step);
    if (drive.mode == DRIVE_OFF)
        rig->channel->ops->make_safe(rig->channel, NULL);
    else
        rig->channel->ops->drive(rig->channel, &drive, NULL);
}

static inline struct reading rig_read(struct rig *rig)
{
    struct reading reading;
    assert_int_equal(rig->channel->ops->read(rig->channel, &reading, NULL), CHANNEL_NOW);
    return reading;
}

/* Checks the plan, begins the step and drives. */
static inline void rig_begin(struct rig *rig, struct step_plan *plan)
{
    struct error error = {0};
    if (step_plan_check(plan, &rig->facts, &rig->limits, &error))
        fail_msg("plan refused: %s: %s", error.what, error.why);
    step_begin(&rig->step, plan, &rig->facts, &rig->limits, rig->channel->tick_least,
               rig->channel->tick_most, rig->channel->rest_most);
    rig->row_count = 0;
    rig->readings = 0;
    rig_drive(rig);
}

/* One reading, fed; then the clock goes on to the next. */
static inline enum step_verdict rig_tick(struct rig *rig)
{
    struct reading reading = rig_read(rig);
    enum step_verdict verdict = step_feed(&rig->step, &reading, false);
    rig->readings++;
    rig_keep_rows(rig);
    if (verdict == STEP_REDRIVE)
        rig_drive(rig);
    if (verdict == STEP_GO_ON)
        clock_advance(&rig->clock, clock_bench(&rig->clock) + llround(step_next(&rig->step) * 1e6));
    return verdict;
}

static inline const struct outcome *rig_run(struct rig *rig, struct step_plan *plan)
{
    enum step_verdict verdict = STEP_GO_ON;
    rig_begin(rig, plan);
    for (long i = 0; i < 10000000 && (verdict == STEP_GO_ON || verdict == STEP_REDRIVE); i++)
        verdict = rig_tick(rig);
    assert_true(verdict == STEP_ENDED || verdict == STEP_TRIPPED);
    rig->channel->ops->make_safe(rig->channel, NULL);
    step_outcome(&rig->step, &rig->out);
    return &rig->out;
}

static inline struct step_plan rig_charge(double current, double ceiling)
{
    struct step_plan plan;
    step_plan_init(&plan, STEP_CHARGE);
    plan.drive = (struct drive){DRIVE_CURRENT, current, ceiling};
    return plan;
}

static inline struct step_plan rig_discharge(enum drive_mode mode, double amount)
{
    struct step_plan plan;
    step_plan_init(&plan, STEP_DISCHARGE);
    plan.drive = (struct drive){mode, amount, NAN};
    return plan;
}

static inline struct step_plan rig_rest(double seconds)
{
    struct step_plan plan;
    step_plan_init(&plan, STEP_REST);
    plan.time = seconds;
    return plan;
}

/* Charge by the trapezoid over rows, in A.s, signed. */
static inline double rig_rows_charge(const struct rig *rig)
{
    double charge = 0;
    for (int i = 1; i < rig->row_count; i++)
        charge += (double)(rig->rows[i].t_us - rig->rows[i - 1].t_us) * 1e-6 / 2 *
                  (rig->rows[i].current + rig->rows[i - 1].current);
    return charge;
}

static inline void assert_within(double value, double expected, double relative)
{
    if (!(fabs(value - expected) <= relative * fabs(expected)))
        fail_msg("%.12g is not %.12g within %g", value, expected, relative);
}

static inline void assert_near(double value, double expected, double off)
{
    if (!(fabs(value - expected) <= off))
        fail_msg("%.12g is not %.12g within %g", value, expected, off);
}

#endif
