/* Gaps: nothing is counted over one, it is told, and limits go on where they stood. */
#include "step/feed.h"

static struct step begun(struct step_plan plan)
{
    struct step step;
    plan.by_current = NAN;
    feed_begin(&step, &plan, &LIMITS_NONE);
    return step;
}

static void nothing_is_integrated_over_a_gap(void **state)
{
    struct step_plan plan = rig_discharge(DRIVE_CURRENT, -1);
    (void)state;
    plan.time = 100;
    struct step step = begun(plan);
    feed(&step, 0, 1.3, -1);
    feed(&step, 10, 1.2995, -1);
    step_interrupt(&step, 500);
    assert_int_equal(step.rows, 0);
    /* Bench time is another after a restart: only the length of the gap counts. */
    assert_int_equal(feed(&step, 77, 1.2995, -1), STEP_GO_ON);
    assert_within(step.charge, 10, 1e-9);
    assert_int_equal(step.last.t_us, 510 * US_PER_S);
    assert_int_equal(step.rows, 2); /* both banks of the gap are on record */
    assert_int_equal(step.row[0].t_us, 10 * US_PER_S);
    assert_int_equal(step.row[1].t_us, 510 * US_PER_S);
    feed(&step, 97, 1.3, -1);
    assert_within(step.charge, 30, 1e-9);
    assert_int_equal(feed(&step, 177, 1.3, -1), STEP_ENDED); /* 10 s before and 90 s after */
    struct outcome out = outcome_of(&step);
    assert_within(out.duration, 100, 1e-9);
    assert_within(out.charge, 100, 1e-9);
    assert_int_equal(out.gaps, 1);
    assert_within(out.gap_time, 500, 1e-12);
    assert_string_equal(out.quality, "gap");
}

static void a_rest_counts_the_gap(void **state)
{
    struct step step = begun(rig_rest(1000));
    (void)state;
    feed(&step, 0, 1.3, 0);
    feed(&step, 100, 1.3, 0);
    step_interrupt(&step, 600);
    assert_int_equal(feed(&step, 5000, 1.3, 0), STEP_GO_ON);
    assert_true(step_next(&step) <= 300);
    assert_int_equal(feed(&step, 5300, 1.3, 0), STEP_ENDED);
    assert_true(outcome_of(&step).duration == 1000);
    assert_within(outcome_of(&step).mean_voltage, 1.3, 1e-12);
}

static void a_rest_may_be_over_in_the_gap(void **state)
{
    struct step step = begun(rig_rest(1000));
    (void)state;
    feed(&step, 0, 1.3, 0);
    step_interrupt(&step, 5000);
    assert_int_equal(feed(&step, 100, 1.29, 0), STEP_ENDED);
    assert_true(outcome_of(&step).duration == 5000); /* as long as it was, not as was asked */
    assert_int_equal(outcome_of(&step).ended_by, END_TIME);
}

static void one_gap_however_often_it_is_told(void **state)
{
    struct step step = begun(rig_rest(1000));
    (void)state;
    feed(&step, 0, 1.3, 0);
    step_interrupt(&step, 10);
    step_interrupt(&step, 20);
    feed(&step, 100, 1.29, 0);
    assert_int_equal(step.gaps, 1);
    assert_within(step.gap_time, 30, 1e-12);
    step_interrupt(&step, 5);
    assert_int_equal(step.gaps, 2);
}

static void before_the_first_reading(void **state)
{
    struct step step = begun(rig_rest(1000));
    (void)state;
    step_interrupt(&step, 10);
    assert_int_equal(feed(&step, 0, 1.3, 0), STEP_GO_ON);
    assert_int_equal(step.rows, 1);
    assert_int_equal(step.last.t_us, 10 * US_PER_S);
}

/* The cell has cooled and relaxed meanwhile: what comes after is no drop from what was before, and
 * the blind time runs again. */
static void a_gap_is_no_drop(void **state)
{
    struct step_plan plan = rig_charge(1, NAN);
    (void)state;
    plan.drop = 0.005;
    plan.blind = 60;
    struct step step = begun(plan);
    for (int t = 0; t < 200; t++)
        assert_int_equal(feed(&step, t, 1.45 + t * 1e-5, 1), STEP_GO_ON);
    step_interrupt(&step, 3600);
    for (int t = 0; t < 50; t++)
        assert_int_equal(feed(&step, t, 1.42 - t * 4e-4, 1), STEP_GO_ON);
    enum step_verdict verdict = STEP_GO_ON;
    for (int t = 50; t < 250; t++)
        verdict = verdict == STEP_GO_ON ? feed(&step, t, 1.42 - t * 4e-4, 1) : verdict;
    assert_int_equal(verdict, STEP_ENDED);
    assert_int_equal(step.ended_by, END_DROP);
}

/* The same without a blind time: the old peak is not looked back to. */
static void a_peak_before_a_gap_is_forgotten(void **state)
{
    struct step_plan plan = rig_charge(1, NAN);
    (void)state;
    plan.drop = 0.005;
    struct step step = begun(plan);
    for (int t = 0; t < 200; t++)
        feed(&step, t, 1.45 + t * 1e-5, 1);
    step_interrupt(&step, 3600);
    for (int t = 0; t < 200; t++)
        assert_int_equal(feed(&step, t, 1.42 + t * 1e-5, 1), STEP_GO_ON);
}

/* Nor is a slope taken across one. */
static void a_jump_over_a_gap_is_no_slope(void **state)
{
    struct step_plan plan = rig_charge(1, NAN);
    (void)state;
    plan.temperature_rate = 1.0 / 60;
    struct step step = begun(plan);
    for (int t = 0; t < 200; t++)
        assert_int_equal(feed_warm(&step, t, 1.4, 1, 20), STEP_GO_ON);
    step_interrupt(&step, 10);
    for (int t = 210; t < 400; t++)
        assert_int_equal(feed_warm(&step, t, 1.4, 1, 25), STEP_GO_ON);
}

static void odd_currents_before_a_gap_do_not_count(void **state)
{
    struct step_plan plan = rig_charge(1, NAN);
    (void)state;
    plan.time = 1000;
    struct step step = begun(plan);
    feed(&step, 0, 1.4, 0.5);
    feed(&step, 1, 1.4, 0.5);
    step_interrupt(&step, 10);
    assert_int_equal(feed(&step, 20, 1.4, 0.5), STEP_GO_ON);
}

static void backstops_do_not_start_anew(void **state)
{
    struct step_plan plan = rig_charge(1, NAN);
    (void)state;
    plan.voltage = 2;
    plan.backstop_charge = 100;
    struct step step = begun(plan);
    feed(&step, 0, 1.4, 1);
    feed(&step, 60, 1.4, 1);
    step_interrupt(&step, 30);
    feed(&step, 0, 1.4, 1);
    assert_int_equal(feed(&step, 60, 1.4, 1), STEP_ENDED);
    assert_int_equal(step.ended_by, END_BACKSTOP_CHARGE);
    assert_within(step.charge, 100, 1e-9);
    assert_within(step.active, 100, 1e-9);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nothing_is_integrated_over_a_gap),
        cmocka_unit_test(a_rest_counts_the_gap),
        cmocka_unit_test(a_rest_may_be_over_in_the_gap),
        cmocka_unit_test(one_gap_however_often_it_is_told),
        cmocka_unit_test(before_the_first_reading),
        cmocka_unit_test(a_gap_is_no_drop),
        cmocka_unit_test(a_peak_before_a_gap_is_forgotten),
        cmocka_unit_test(a_jump_over_a_gap_is_no_slope),
        cmocka_unit_test(odd_currents_before_a_gap_do_not_count),
        cmocka_unit_test(backstops_do_not_start_anew),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
