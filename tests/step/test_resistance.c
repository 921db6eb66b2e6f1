/* Internal resistance by two steps of direct current: Rdc = (U1 - U2)/(I2 - I1), U1 at the end of
 * I1 (10 s) and U2 at the end of I2 (3 s), after IEC 61951-2. The method and the pair 0.2/2 It are
 * from memory of the standard; the worked values follow from its formula by arithmetic. */
#include "step/feed.h"

static struct step_plan pulse(double first, double first_time, double second, double second_time)
{
    struct step_plan plan = feed_plan(STEP_PULSE);
    plan.level[0] = (struct drive){DRIVE_CURRENT, -first, NAN};
    plan.level[1] = (struct drive){DRIVE_CURRENT, -second, NAN};
    plan.level_time[0] = first_time;
    plan.level_time[1] = second_time;
    return plan;
}

/* 2000 mAh: It 2 A, I1 0.4 A, I2 4 A, U1 1.300 V, U2 1.210 V: 0.090 V/3.6 A = 25.0 mohm. */
static void worked_example(void **state)
{
    struct step step;
    struct step_plan plan = pulse(0.4, 10, 4, 3);
    (void)state;
    feed_begin(&step, &plan, &LIMITS_NONE);
    assert_true(step_drive(&step).amount == -0.4);
    assert_int_equal(feed(&step, 0, 1.310, -0.4), STEP_GO_ON);
    assert_int_equal(feed(&step, 5, 1.305, -0.4), STEP_GO_ON);
    assert_true(step_next(&step) <= 5);
    assert_int_equal(feed(&step, 10, 1.300, -0.4), STEP_REDRIVE);
    assert_true(step_next(&step) == 0);
    assert_true(step_drive(&step).amount == -4);
    assert_int_equal(feed(&step, 10, 1.230, -4), STEP_GO_ON);
    assert_int_equal(feed(&step, 13, 1.210, -4), STEP_ENDED);
    struct outcome out = outcome_of(&step);
    assert_within(out.resistance, 0.0250, 1e-9);
    assert_int_equal(out.ended_by, END_TIME);
    assert_within(out.duration, 13, 1e-9);
    assert_within(out.charge, 0.4 * 10 + 4 * 3, 1e-9);
    assert_string_equal(out.quality, "good");
}

/* Readings that come late do not move the instant that U1 and U2 are taken at. */
static void late_readings_are_put_back_to_their_time(void **state)
{
    struct step step;
    struct step_plan plan = pulse(0.4, 10, 4, 3);
    (void)state;
    feed_begin(&step, &plan, &LIMITS_NONE);
    feed(&step, 0, 1.310, -0.4);
    feed(&step, 9, 1.301, -0.4);
    assert_int_equal(feed(&step, 10.2, 1.301 - 0.0012, -0.4), STEP_REDRIVE);
    feed(&step, 10.3, 1.230, -4);
    feed(&step, 13.0, 1.212, -4);
    /* The second level began at 10.2 s and is over at 13.2 s. */
    assert_int_equal(feed(&step, 13.5, 1.2070, -4), STEP_ENDED);
    assert_within(outcome_of(&step).resistance, (1.300 - 1.210) / 3.6, 1e-6);
}

/* A Thevenin source: OCV 1.35 V, R0 20 mohm, R1 15 mohm, tau 30 s. */
static double thevenin(double second, double second_time)
{
    struct rig rig;
    struct simcell_truth truth = rig_ideal(2, 1.35, 0.020);
    struct step_plan plan = pulse(0.4, 10, second, second_time);
    truth.r1 = 0.015;
    truth.c1 = 30 / 0.015;
    rig_open(&rig, "NiMH", 2, &truth);
    const struct outcome *out = rig_run(&rig, &plan);
    double resistance = out->resistance;
    assert_near(rig.step.level_voltage[0], 1.340299, 5e-7);
    assert_within(out->duration, 10 + second_time, 1e-9);
    rig_close(&rig);
    return resistance;
}

/* 0.2/2 It in 10 s and 3 s (IEC 61951-2, nickel) and 0.2/1 It in 10 s and 1 s (IEC 61960-3,
 * lithium): the same source gives 21.541 and 20.580 mohm. They are not to be mixed. */
static void the_two_standards_differ_on_one_source(void **state)
{
    (void)state;
    assert_near(thevenin(4, 3), 0.021541, 5e-7);
    assert_near(thevenin(2, 1), 0.020580, 5e-7);
}

static void a_gap_voids_a_pulse(void **state)
{
    struct step step;
    struct step_plan plan = pulse(0.4, 10, 4, 3);
    (void)state;
    feed_begin(&step, &plan, &LIMITS_NONE);
    feed(&step, 0, 1.310, -0.4);
    step_interrupt(&step, 100);
    feed(&step, 101, 1.310, -0.4);
    assert_int_equal(feed(&step, 111, 1.300, -0.4), STEP_REDRIVE);
    feed(&step, 111, 1.230, -4);
    assert_int_equal(feed(&step, 114, 1.210, -4), STEP_ENDED);
    assert_true(isnan(outcome_of(&step).resistance));
    assert_string_equal(outcome_of(&step).quality, "void");
}

static void a_pulse_ends_early_by_voltage(void **state)
{
    struct step step;
    struct step_plan plan = pulse(0.4, 10, 4, 3);
    (void)state;
    plan.voltage = 0.9;
    feed_begin(&step, &plan, &LIMITS_NONE);
    feed(&step, 0, 1.2, -0.4);
    feed(&step, 10, 1.1, -0.4);
    feed(&step, 10, 0.95, -4);
    assert_int_equal(feed(&step, 12, 0.85, -4), STEP_ENDED);
    assert_int_equal(outcome_of(&step).ended_by, END_VOLTAGE);
    assert_true(isnan(outcome_of(&step).resistance));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(worked_example),
        cmocka_unit_test(late_readings_are_put_back_to_their_time),
        cmocka_unit_test(the_two_standards_differ_on_one_source),
        cmocka_unit_test(a_gap_voids_a_pulse),
        cmocka_unit_test(a_pulse_ends_early_by_voltage),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
