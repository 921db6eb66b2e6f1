/* The thinned record: few rows, the shape of the curve, and a charge that can be recomputed. */
#include "step/feed.h"

static struct step begun(struct step_plan plan)
{
    struct step step;
    feed_begin(&step, &plan, &LIMITS_NONE);
    return step;
}

static struct step_plan draining(void)
{
    struct step_plan plan = rig_discharge(DRIVE_CURRENT, -1);
    plan.time = 1000;
    plan.by_current = 0.02;
    return plan;
}

static void the_first_and_the_last(void **state)
{
    struct step step = begun(draining());
    (void)state;
    feed(&step, 0, 1.3, -1);
    assert_int_equal(step.rows, 1);
    feed(&step, 10, 1.3, -1);
    assert_int_equal(step.rows, 0);
    assert_int_equal(feed(&step, 1000, 1.3, -1), STEP_ENDED);
    assert_int_equal(step.rows, 1);
    assert_int_equal(step.row[0].t_us, 1000 * US_PER_S);
    assert_int_equal(step.row_count, 2);
}

static void after_an_interval(void **state)
{
    struct step step = begun(draining());
    int rows = 0;
    (void)state;
    for (int t = 0; t < 1000; t += 10) {
        feed(&step, t, 1.3, -1);
        rows += step.rows;
    }
    assert_int_equal(rows, 9); /* 0, 120, ... 960 */
}

static void on_a_change(void **state)
{
    struct step step = begun(draining());
    (void)state;
    feed(&step, 0, 1.3, -1);
    feed(&step, 10, 1.2980, -1);
    assert_int_equal(step.rows, 0);
    feed(&step, 20, 1.2969, -1); /* came slowly: this row is enough */
    assert_int_equal(step.rows, 1);
    feed(&step, 30, 1.2960, -1);
    feed(&step, 40, 1.2800, -1); /* came at once: the reading before it too */
    assert_int_equal(step.rows, 2);
    assert_int_equal(step.row[0].t_us, 30 * US_PER_S);
    assert_int_equal(step.row[1].t_us, 40 * US_PER_S);
    feed(&step, 50, 1.28, -1.03);
    assert_int_equal(step.rows, 1);
    feed_warm(&step, 60, 1.28, -1.03, 20.6);
    assert_int_equal(step.rows, 1);
}

/* As a real channel has it: each reading a little late. Rows stay on their times, none is left out,
 * and lateness does not add up; what a second's stall takes with it is passed over once. */
static void late_readings_leave_no_row_out(void **state)
{
    struct step_plan plan = draining();
    struct step step;
    double at = 0;
    int rows = 0;
    (void)state;
    plan.every = 1;
    step = begun(plan);
    feed(&step, at, 1.3, -1);
    for (int i = 1; i <= 300; i++) {
        at += step_next(&step) + 0.001 * (i % 9 + 1);
        assert_true(at >= i && at < i + 0.02);
        feed(&step, at, 1.3, -1);
        rows += step.rows;
    }
    assert_int_equal(rows, 300);
    feed(&step, 303.4, 1.3, -1); /* for 301; 302 and 303 are lost */
    assert_int_equal(step.rows, 1);
    assert_near(303.4 + step_next(&step), 304, 1e-9);
    feed(&step, 303.9, 1.3, -1);
    assert_int_equal(step.rows, 0);
}

/* Not much faster than the channel can be read, to make up for one that came very late. */
static void a_late_reading_does_not_rush_the_next(void **state)
{
    struct step_plan plan = draining();
    struct step step;
    (void)state;
    plan.every = 1;
    step = begun(plan);
    feed(&step, 0, 1.3, -1);
    feed(&step, 1.95, 1.3, -1);
    assert_near(step_next(&step), 0.5, 1e-9);
}

/* A record every 5 s needs a reading every 5 s. */
static void an_interval_asks_for_readings(void **state)
{
    struct step_plan plan = draining();
    (void)state;
    plan.every = 5;
    struct step step = begun(plan);
    for (int t = 0; t < 100; t += 5)
        feed(&step, t, 1.3, -1);
    assert_true(step_next(&step) == 5);
}

/* From the shortest on, each wait is at most twice the one before. */
static void waits_double_at_most(void **state)
{
    struct step step = begun(draining());
    double t = 0, before = 1;
    (void)state;
    for (int i = 0; i < 10; i++) {
        feed(&step, t, 1.3, -1);
        assert_true(step_next(&step) <= 2 * before && step_next(&step) <= 60);
        before = step_next(&step);
        t += before;
    }
    assert_true(before == 60);
}

/* While a voltage moves it is looked at more often: 10 mV apart when energised, 3 mV at rest. */
static void waits_are_short_while_the_voltage_moves(void **state)
{
    struct step energised = begun(draining()), resting = begun(rig_rest(86400));
    (void)state;
    energised.tick = resting.tick = 60;
    feed(&energised, 0, 1.3, -1);
    feed(&resting, 0, 1.3, 0);
    energised.tick = resting.tick = 60;
    feed(&energised, 10, 1.29, -1); /* 1 mV/s */
    feed(&resting, 10, 1.31, 0);
    assert_near(step_next(&energised), 10, 1e-6);
    assert_near(step_next(&resting), 3, 1e-6);
}

static void a_pulse_keeps_every_reading(void **state)
{
    struct step_plan plan = feed_plan(STEP_PULSE);
    (void)state;
    plan.level[0].mode = plan.level[1].mode = DRIVE_CURRENT;
    plan.level[0].amount = -1;
    plan.level[1].amount = -2;
    plan.level_time[0] = plan.level_time[1] = 10;
    struct step step = begun(plan);
    for (int t = 0; t < 9; t++) {
        feed(&step, t, 1.3, -1);
        assert_int_equal(step.rows, 1);
    }
}

/* A day of a cell: fill in 16 h, rest, empty at 0.2 It: few rows, and the charge can be had from
 * them. With noise, as a meter has. */
static void a_day_costs_few_rows_and_keeps_the_charge(void **state)
{
    struct rig rig;
    struct step_plan plan;
    int rows = 0;
    (void)state;
    rig_open(&rig, "NiMH", 2, NULL);
    plan = rig_charge(0.2, NAN);
    plan.time = 16 * 3600;
    const struct outcome *out = rig_run(&rig, &plan);
    assert_within(rig_rows_charge(&rig), out->charge, 1e-6);
    rows += rig.row_count;
    plan = rig_rest(4 * 3600);
    rig_run(&rig, &plan);
    assert_in_range(rig.row_count, 8, 60);
    assert_true(rig.rows[4].t_us < 600 * US_PER_S); /* dense while the voltage settles */
    rows += rig.row_count;
    plan = rig_discharge(DRIVE_CURRENT, -0.4);
    plan.voltage = 1.0;
    out = rig_run(&rig, &plan);
    assert_within(-rig_rows_charge(&rig), out->charge, 1e-6);
    double energy = 0;
    for (int i = 1; i < rig.row_count; i++)
        energy += (double)(rig.rows[i].t_us - rig.rows[i - 1].t_us) * 1e-6 / 2 *
                  -(rig.rows[i].voltage * rig.rows[i].current +
                    rig.rows[i - 1].voltage * rig.rows[i - 1].current);
    assert_within(energy, out->energy, 2e-4); /* the curve between the rows is near a line */
    rows += rig.row_count;
    assert_in_range(rows, 300, 1000);
    rig_close(&rig);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_first_and_the_last),
        cmocka_unit_test(after_an_interval),
        cmocka_unit_test(late_readings_leave_no_row_out),
        cmocka_unit_test(a_late_reading_does_not_rush_the_next),
        cmocka_unit_test(on_a_change),
        cmocka_unit_test(an_interval_asks_for_readings),
        cmocka_unit_test(waits_double_at_most),
        cmocka_unit_test(waits_are_short_while_the_voltage_moves),
        cmocka_unit_test(a_pulse_keeps_every_reading),
        cmocka_unit_test(a_day_costs_few_rows_and_keeps_the_charge),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
