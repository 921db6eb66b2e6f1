/* Every end: that it comes, when it comes, and where the last stretch is cut. */
#include "step/feed.h"

static void ended(const struct step *step, enum step_end end)
{
    struct outcome out = outcome_of(step);
    assert_string_equal(step_end_name(out.ended_by), step_end_name(end));
    assert_int_equal(out.guard, GUARD_NONE);
}

static struct step begun(struct step_plan plan)
{
    struct step step;
    feed_begin(&step, &plan, &LIMITS_NONE);
    return step;
}

static void by_time(void **state)
{
    struct step_plan plan = rig_charge(1, NAN);
    (void)state;
    plan.time = 100;
    struct step step = begun(plan);
    assert_int_equal(feed(&step, 0, 1.3, 1), STEP_GO_ON);
    assert_int_equal(feed(&step, 60, 1.3, 1), STEP_GO_ON);
    assert_true(step_next(&step) <= 40);                     /* never past it */
    assert_int_equal(feed(&step, 110, 1.35, 1), STEP_ENDED); /* came late: cut back */
    ended(&step, END_TIME);
    assert_within(step.charge, 100, 1e-9);
    assert_near(step.last.voltage, 1.34, 1e-9);
    assert_int_equal(step.last.t_us, 100000000);
}

static void a_rest_of_no_time_ends_at_once(void **state)
{
    struct step step = begun(rig_rest(0));
    (void)state;
    assert_int_equal(feed(&step, 0, 1.3, 0), STEP_ENDED);
    ended(&step, END_TIME);
    assert_int_equal(step.rows, 1);
}

static void a_read_is_one_reading(void **state)
{
    struct step step = begun(feed_plan(STEP_READ));
    (void)state;
    assert_int_equal(feed(&step, 0, 1.234, 0), STEP_ENDED);
    struct outcome out = outcome_of(&step);
    assert_true(out.last_voltage == 1.234 && out.mean_voltage == 1.234);
    assert_true(out.duration == 0 && isnan(out.charge));
}

/* How sharply an end was found goes into its uncertainty. */
static void an_end_says_how_sharp_it_was(void **state)
{
    struct step_plan plan = rig_discharge(DRIVE_CURRENT, -1);
    (void)state;
    plan.voltage = 1.0;
    struct step step = begun(plan);
    feed(&step, 0, 1.1, -1);
    feed(&step, 10, 1.05, -1);
    assert_int_equal(feed(&step, 14, 0.95, -1),
                     STEP_ENDED); /* crossed at 12 s, 1.05 V kept at 10 */
    struct outcome out = outcome_of(&step);
    assert_near(out.end_span, 4, 1e-9);
    assert_near(out.end_slope, -0.05 / 2, 1e-9);

    plan.voltage = NAN;
    plan.time = 12; /* the clock itself: no crossing to be found */
    step = begun(plan);
    feed(&step, 0, 1.1, -1);
    assert_int_equal(feed(&step, 14, 0.95, -1), STEP_ENDED);
    out = outcome_of(&step);
    assert_true(out.end_span == 0 && isnan(out.end_slope));
}

static void by_voltage_down(void **state)
{
    struct step_plan plan = rig_discharge(DRIVE_CURRENT, -1);
    (void)state;
    plan.voltage = 1.0;
    struct step step = begun(plan);
    feed(&step, 0, 1.1, -1);
    assert_int_equal(feed(&step, 10, 1.02, -1), STEP_GO_ON);
    assert_int_equal(feed(&step, 20, 0.94, -1), STEP_ENDED);
    ended(&step, END_VOLTAGE);
    assert_within(step.charge, 12.5, 1e-9);
    assert_true(step.last.voltage == 1.0);
    assert_within(step.energy, 12.5 * 1.05, 1e-9);
}

static void by_voltage_up(void **state)
{
    struct step_plan plan = rig_charge(1, NAN);
    (void)state;
    plan.voltage = 1.5;
    struct step step = begun(plan);
    feed(&step, 0, 1.4, 1);
    assert_int_equal(feed(&step, 10, 1.6, 1), STEP_ENDED);
    ended(&step, END_VOLTAGE);
    assert_within(step.active, 5, 1e-9);
}

/* A rest ends when the voltage comes across, from either side. */
static void by_voltage_across(void **state)
{
    (void)state;
    for (int up = 0; up < 2; up++) {
        struct step_plan plan = rig_rest(NAN);
        double from = up ? 1.0 : 1.4;
        plan.voltage = 1.2;
        struct step step = begun(plan);
        assert_int_equal(feed(&step, 0, from, 0), STEP_GO_ON);
        assert_int_equal(feed(&step, 100, from + 0.75 * (1.2 - from), 0), STEP_GO_ON);
        assert_int_equal(feed(&step, 200, from + 1.25 * (1.2 - from), 0), STEP_ENDED);
        ended(&step, END_VOLTAGE);
        assert_within(step.active, 150, 1e-6);
    }
}

static void already_past_the_voltage(void **state)
{
    struct step_plan plan = rig_discharge(DRIVE_CURRENT, -1);
    (void)state;
    plan.voltage = 1.0;
    struct step step = begun(plan);
    assert_int_equal(feed(&step, 0, 0.98, -1), STEP_ENDED);
    ended(&step, END_VOLTAGE);
    assert_true(step.charge == 0 &&
                step.last.voltage == 0.98); /* what was read, nothing invented */
    assert_int_equal(step.rows, 1);
}

static void by_taper(void **state)
{
    struct step_plan plan = rig_charge(1, 4.2);
    (void)state;
    plan.current = 0.1;
    struct step step = begun(plan);
    /* The source has not come up yet: that is no taper. */
    assert_int_equal(feed(&step, 0, 3.7, 0.02), STEP_GO_ON);
    assert_int_equal(feed(&step, 1, 3.8, 1), STEP_GO_ON);
    assert_int_equal(feed(&step, 2, 4.2, 0.2), STEP_GO_ON);
    assert_int_equal(feed(&step, 12, 4.2, 0.05), STEP_ENDED);
    ended(&step, END_CURRENT);
    assert_near(step.last.current, 0.1, 1e-12);
    assert_within(step.active, 2 + 10 * 2.0 / 3, 1e-6);
}

static void a_full_cell_tapers_at_once(void **state)
{
    struct step_plan plan = rig_charge(1, 4.2);
    (void)state;
    plan.current = 0.1;
    struct step step = begun(plan);
    assert_int_equal(feed(&step, 0, 4.2, 0.02), STEP_ENDED);
    ended(&step, END_CURRENT);
}

static void by_charge(void **state)
{
    struct step_plan plan = rig_discharge(DRIVE_CURRENT, -1);
    (void)state;
    plan.charge = 15;
    struct step step = begun(plan);
    feed(&step, 0, 1.3, -1);
    feed(&step, 10, 1.3, -1);
    feed(&step, 12, 1.3, -1);
    assert_near(step_next(&step), 3, 1e-3); /* foreseen */
    assert_int_equal(feed(&step, 20, 1.3, -1), STEP_ENDED);
    ended(&step, END_CHARGE);
    assert_within(step.charge, 15, 1e-12);
}

/* The current goes in a line, so the charge goes in a parabola: 0..2 A in 10 s is 2.5 A.s at 5
 * s. */
static void by_charge_while_the_current_changes(void **state)
{
    struct step_plan plan = rig_charge(1, NAN);
    (void)state;
    plan.charge = 2.5;
    struct step step = begun(plan);
    feed(&step, 0, 1.3, 0);
    assert_int_equal(feed(&step, 10, 1.3, 2), STEP_ENDED);
    assert_within(step.active, 5, 1e-9);
    assert_within(step.charge, 2.5, 1e-9);
}

static void by_energy(void **state)
{
    struct step_plan plan = rig_discharge(DRIVE_CURRENT, -1);
    (void)state;
    plan.energy = 13;
    struct step step = begun(plan);
    feed(&step, 0, 1.3, -1);
    assert_int_equal(feed(&step, 20, 1.3, -1), STEP_ENDED);
    ended(&step, END_ENERGY);
    assert_within(step.energy, 13, 1e-12);
    assert_within(step.active, 10, 1e-9);
}

/* Rises, then falls by 1 mV/s: 5 mV below the peak of a voltage smoothed over 30 s. */
static void by_drop(void **state)
{
    struct step_plan plan = rig_charge(1, NAN);
    double t = 0;
    (void)state;
    plan.drop = 0.005;
    plan.blind = 60;
    struct step step = begun(plan);
    enum step_verdict verdict = STEP_GO_ON;
    for (; verdict == STEP_GO_ON && t < 1000; t += 1)
        verdict = feed(&step, t, t < 300 ? 1.4 + t * 1e-4 : 1.43 - (t - 300) * 1e-3, 1);
    assert_int_equal(verdict, STEP_ENDED);
    ended(&step, END_DROP);
    assert_near(step.active, 322, 8); /* a lag of up to 30 s, and never before 5 s */
    assert_true(outcome_of(&step).peak_voltage == 1.43);
}

/* A cell that was long unused shows a first peak that means nothing. */
static void a_drop_is_not_seen_while_blind(void **state)
{
    struct step_plan plan = rig_charge(1, NAN);
    (void)state;
    plan.drop = 0.005;
    plan.blind = 120;
    plan.time = 600;
    struct step step = begun(plan);
    enum step_verdict verdict = STEP_GO_ON;
    for (double t = 0; verdict == STEP_GO_ON; t += 1)
        verdict = feed(&step, t, t < 60 ? 1.45 - t * 1e-3 : 1.39 + (t - 60) * 1e-5, 1);
    ended(&step, END_TIME);
    plan.blind = 0;
    step = begun(plan);
    verdict = STEP_GO_ON;
    for (double t = 0; verdict == STEP_GO_ON; t += 1)
        verdict = feed(&step, t, t < 60 ? 1.45 - t * 1e-3 : 1.39 + (t - 60) * 1e-5, 1);
    ended(&step, END_DROP);
}

/* One bad reading is no drop. */
static void a_spike_is_no_drop(void **state)
{
    struct step_plan plan = rig_charge(1, NAN);
    (void)state;
    plan.drop = 0.005;
    plan.time = 600;
    struct step step = begun(plan);
    enum step_verdict verdict = STEP_GO_ON;
    for (double t = 0; verdict == STEP_GO_ON; t += 1)
        verdict = feed(&step, t, 1.4 + t * 1e-5 + (t == 300 ? 0.02 : 0) - (t == 400 ? 0.02 : 0), 1);
    ended(&step, END_TIME);
}

static void by_flat(void **state)
{
    struct step_plan plan = rig_charge(1, NAN);
    (void)state;
    plan.flat = 1e-5;
    plan.blind = 30;
    struct step step = begun(plan);
    enum step_verdict verdict = STEP_GO_ON;
    for (double t = 0; verdict == STEP_GO_ON && t < 5000; t += 5)
        verdict = feed(&step, t, 1.45 - 0.1 * exp(-t / 300), 1);
    ended(&step, END_FLAT);
    /* 0.1/300*exp(-t/300) = 1e-5 at 1052 s; the window looks back by 75 s in the middle. */
    assert_near(step.active, 1052 + 75, 40);
}

/* A few readings that happen to be level say nothing. */
static void a_slope_needs_a_while(void **state)
{
    struct step_plan plan = rig_charge(1, NAN);
    (void)state;
    plan.flat = 1e-5;
    struct step step = begun(plan);
    for (double t = 0; t < 300; t += 5)
        assert_int_equal(feed(&step, t, t < 45 ? 1.3 : 1.3 + (t - 45) * 1e-4, 1), STEP_GO_ON);
}

static void by_temperature(void **state)
{
    struct step_plan plan = rig_charge(1, NAN);
    (void)state;
    plan.temperature = 45;
    struct step step = begun(plan);
    assert_int_equal(feed_warm(&step, 0, 1.4, 1, 44.9), STEP_GO_ON);
    assert_int_equal(feed_warm(&step, 1, 1.4, 1, 45), STEP_ENDED);
    ended(&step, END_TEMPERATURE);
    step = begun(plan);
    assert_int_equal(feed_warm(&step, 0, 1.4, 1, NAN), STEP_GO_ON); /* nothing measures it */
}

/* 1 K/min, the usual sign of a full nickel cell at 1 It (handbooks, from memory). */
static void by_temperature_rate(void **state)
{
    struct step_plan plan = rig_charge(1, NAN);
    (void)state;
    plan.temperature_rate = 1.0 / 60;
    plan.blind = 300;
    struct step step = begun(plan);
    enum step_verdict verdict = STEP_GO_ON;
    for (double t = 0; verdict == STEP_GO_ON && t < 5000; t += 5) /* warms early, then at 2000 s */
        verdict = feed_warm(&step, t, 1.4, 1,
                            20 + (t < 200 ? t / 40 : 5) + (t > 2000 ? (t - 2000) / 40 : 0));
    ended(&step, END_TEMPERATURE_RATE);
    assert_near(step.active, 2100, 60);
}

static void by_predicate(void **state)
{
    struct step_plan plan = rig_discharge(DRIVE_CURRENT, -1);
    struct reading reading = {5000000, 1.2, -1, 20, NAN};
    (void)state;
    plan.when = true;
    struct step step = begun(plan);
    assert_int_equal(step_feed(&step, &reading, false), STEP_GO_ON);
    assert_true(step_next(&step) <= 10);
    reading.at += 1000000;
    assert_int_equal(step_feed(&step, &reading, true), STEP_ENDED);
    ended(&step, END_WHEN);
}

static void by_backstops(void **state)
{
    struct step_plan plan = rig_charge(1, NAN);
    (void)state;
    plan.voltage = 1.7; /* never comes */
    plan.backstop_time = 100;
    plan.backstop_charge = 1000;
    struct step step = begun(plan);
    feed(&step, 0, 1.4, 1);
    feed(&step, 50, 1.4, 1);
    assert_true(step_next(&step) <= 50);
    assert_int_equal(feed(&step, 101, 1.4, 1), STEP_ENDED);
    ended(&step, END_BACKSTOP_TIME);
    assert_within(step.active, 100, 1e-9);
    plan.backstop_charge = 70;
    step = begun(plan);
    feed(&step, 0, 1.4, 1);
    assert_int_equal(feed(&step, 90, 1.4, 1), STEP_ENDED);
    ended(&step, END_BACKSTOP_CHARGE);
    assert_within(step.charge, 70, 1e-9);
}

/* Two limits on one stretch: the earlier crossing is the end. */
static void the_first_to_come_ends(void **state)
{
    struct step_plan plan = rig_discharge(DRIVE_CURRENT, -1);
    (void)state;
    plan.voltage = 1.0;
    plan.charge = 3;
    struct step step = begun(plan);
    feed(&step, 0, 1.1, -1);
    feed(&step, 10, 0.9, -1);
    ended(&step, END_CHARGE);
    assert_within(step.active, 3, 1e-9);
    assert_near(step.last.voltage, 1.04, 1e-12);
    plan.charge = 7;
    step = begun(plan);
    feed(&step, 0, 1.1, -1);
    feed(&step, 10, 0.9, -1);
    ended(&step, END_VOLTAGE);
    assert_within(step.charge, 5, 1e-9);
}

static void from_outside(void **state)
{
    struct step_plan plan = rig_discharge(DRIVE_CURRENT, -1);
    (void)state;
    plan.time = 1000;
    plan.by_current = NAN;
    struct step step = begun(plan);
    feed(&step, 0, 1.3, -1);
    feed(&step, 1, 1.3, -1);
    assert_int_equal(step.rows, 0);
    step_stop(&step, END_STOPPED, GUARD_NONE);
    ended(&step, END_STOPPED);
    assert_int_equal(step.rows, 1); /* the last reading is kept */
    assert_int_equal(step.row[0].t_us, 1000000);
    assert_string_equal(outcome_of(&step).quality, "void");
    assert_int_equal(step_drive(&step).mode, DRIVE_OFF);
}

/* On a simulated cell with its noise, 5 mV below the peak is found with little overshoot, at every
 * usual rate; and 16 h at 0.1 It is never ended by it. */
static void a_drop_is_found_on_a_cell(void **state)
{
    static const double rates[] = {0.5, 0.7, 1.0};
    (void)state;
    for (size_t i = 0; i < sizeof(rates) / sizeof(rates[0]); i++) {
        struct rig rig;
        struct step_plan plan = rig_charge(2 * rates[i], NAN);
        rig_open(&rig, "NiMH", 2, NULL);
        rig_cell(&rig)->charge = 0.02 * simcell_capacity(rig_cell(&rig));
        plan.drop = 0.005;
        plan.blind = 300;
        const struct outcome *out = rig_run(&rig, &plan);
        ended(&rig.step, END_DROP);
        assert_near(out->peak_voltage - out->last_voltage, 0.006, 0.0015);
        assert_near(out->charge / (2 * AH), 1.08, 0.08);
        assert_true(rig_cell(&rig)->charge > 0.93 * simcell_capacity(rig_cell(&rig)));
        rig_close(&rig);
    }
    struct rig rig;
    struct step_plan plan = rig_charge(0.2, NAN);
    rig_open(&rig, "NiMH", 2, NULL);
    plan.drop = 0.005;
    plan.time = 16 * 3600;
    rig_run(&rig, &plan);
    ended(&rig.step, END_TIME);
    rig_close(&rig);
}

/* Taken up with a cell that is nearly full already: the peak comes soon and is still found. */
static void a_drop_is_found_on_a_nearly_full_cell(void **state)
{
    struct rig rig;
    struct step_plan plan = rig_charge(2, NAN);
    (void)state;
    rig_open(&rig, "NiMH", 2, NULL);
    rig_cell(&rig)->charge = 0.9 * simcell_capacity(rig_cell(&rig));
    plan.drop = 0.005;
    plan.blind = 60;
    const struct outcome *out = rig_run(&rig, &plan);
    ended(&rig.step, END_DROP);
    assert_true(out->charge < 0.5 * 2 * AH);
    assert_near(out->peak_voltage - out->last_voltage, 0.006, 0.002);
    rig_close(&rig);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(by_time),
        cmocka_unit_test(a_rest_of_no_time_ends_at_once),
        cmocka_unit_test(a_read_is_one_reading),
        cmocka_unit_test(an_end_says_how_sharp_it_was),
        cmocka_unit_test(by_voltage_down),
        cmocka_unit_test(by_voltage_up),
        cmocka_unit_test(by_voltage_across),
        cmocka_unit_test(already_past_the_voltage),
        cmocka_unit_test(by_taper),
        cmocka_unit_test(a_full_cell_tapers_at_once),
        cmocka_unit_test(by_charge),
        cmocka_unit_test(by_charge_while_the_current_changes),
        cmocka_unit_test(by_energy),
        cmocka_unit_test(by_drop),
        cmocka_unit_test(a_drop_is_not_seen_while_blind),
        cmocka_unit_test(a_spike_is_no_drop),
        cmocka_unit_test(by_flat),
        cmocka_unit_test(a_slope_needs_a_while),
        cmocka_unit_test(by_temperature),
        cmocka_unit_test(by_temperature_rate),
        cmocka_unit_test(by_predicate),
        cmocka_unit_test(by_backstops),
        cmocka_unit_test(the_first_to_come_ends),
        cmocka_unit_test(from_outside),
        cmocka_unit_test(a_drop_is_found_on_a_cell),
        cmocka_unit_test(a_drop_is_found_on_a_nearly_full_cell),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
