/* Every guard: trips on what it is for, comes before any end, and lets the ordinary pass. */
#include "step/feed.h"

static struct limits limits_of(const char *chemistry)
{
    return profile_limits(profile_find(chemistry), 2 * AH);
}

static struct step begun(struct step_plan plan, const char *chemistry)
{
    struct step step;
    struct cell_facts facts = rig_facts(chemistry, 2);
    struct limits limits = limits_of(chemistry);
    step_begin(&step, &plan, &facts, &limits, 1, 60, 3600);
    return step;
}

static void tripped(struct step *step, enum step_verdict verdict, enum step_guard guard)
{
    struct outcome out = outcome_of(step);
    assert_int_equal(verdict, STEP_TRIPPED);
    assert_string_equal(step_guard_name(out.guard), step_guard_name(guard));
    assert_int_equal(out.ended_by, END_GUARD);
    assert_string_equal(out.quality, "void");
    assert_true(strlen(step_guard_about(guard)) > 10);
}

static struct step_plan charging(void)
{
    struct step_plan plan = rig_charge(1, NAN);
    plan.voltage = 1.6;
    return plan;
}

static struct step_plan draining(void)
{
    struct step_plan plan = rig_discharge(DRIVE_CURRENT, -1);
    plan.voltage = 1.0;
    return plan;
}

static void over_voltage(void **state)
{
    struct step_plan plan = charging();
    (void)state;
    plan.by_current = NAN;
    struct step step = begun(plan, "NiMH");
    feed(&step, 0, 1.4, 1);
    feed(&step, 0.5, 1.4, 1);
    assert_int_equal(step.rows, 0);
    /* Beyond the end as well: the guard comes first. */
    tripped(&step, feed(&step, 1, 1.81, 1), GUARD_OVER_VOLTAGE);
    assert_int_equal(step.rows, 2); /* the reading that tripped it, and the one before the jump */
    assert_true(step.row[1].voltage == 1.81);
    assert_within(step.charge, 1, 1e-9);
}

static void held_on_the_limit_is_no_fault(void **state)
{
    struct step_plan plan = rig_charge(1, 4.25);
    struct step step;
    (void)state;
    plan.current = 0.1;
    step = begun(plan, "Li-ion");
    assert_int_equal(feed(&step, 0, 4.2502, 0.9), STEP_GO_ON); /* a meter's last digit */
}

static void under_voltage(void **state)
{
    struct step_plan plan = rig_discharge(DRIVE_CURRENT, -1);
    (void)state;
    plan.voltage = 2.5;
    struct step step = begun(plan, "Li-ion");
    feed(&step, 0, 3.0, -1);
    tripped(&step, feed(&step, 1, 2.3, -1), GUARD_UNDER_VOLTAGE);
    step = begun(plan, "Li-ion");
    feed(&step, 0, 3.0, -1);
    assert_int_equal(feed(&step, 1, 2.45, -1), STEP_ENDED); /* an end on the limit is an end */
    assert_int_equal(outcome_of(&step).ended_by, END_VOLTAGE);
}

static void reversed(void **state)
{
    struct step step = begun(draining(), "NiMH");
    (void)state;
    feed(&step, 0, 1.2, -1);
    tripped(&step, feed(&step, 1, -0.1, -1), GUARD_REVERSED);
    step = begun(rig_rest(100), "NiMH"); /* swapped leads are seen at rest too */
    tripped(&step, feed(&step, 0, -1.2, 0), GUARD_REVERSED);
    step = begun(rig_rest(100), "NiMH");
    assert_int_equal(feed(&step, 0, -0.001, 0), STEP_GO_ON); /* a meter's offset */
}

static void missing(void **state)
{
    struct step step = begun(draining(), "NiMH");
    (void)state;
    tripped(&step, feed(&step, 0, 0.05, 0), GUARD_MISSING);
    /* A lithium-ion cell found under 2 V is not charged (IEC 62133-2's principle, from memory). */
    struct step_plan plan = rig_charge(1, 4.2);
    plan.current = 0.1;
    step = begun(plan, "Li-ion");
    tripped(&step, feed(&step, 0, 1.8, 1), GUARD_MISSING);
    step = begun(rig_rest(100), "NiMH");
    assert_int_equal(feed(&step, 0, 0.05, 0), STEP_GO_ON);
}

/* Missing is said of the first reading alone: later a low voltage has other names. */
static void a_cell_that_was_there_is_not_missing(void **state)
{
    struct step_plan plan = draining();
    (void)state;
    plan.voltage = 0.1;
    struct step step = begun(plan, "NiMH");
    feed(&step, 0, 1.2, -1);
    assert_int_equal(feed(&step, 1, 0.25, -1), STEP_GO_ON);
}

/* A lithium-ion cell between 2.0 and 2.5 V may be brought back by a charge. */
static void a_low_cell_may_be_charged(void **state)
{
    struct step_plan plan = rig_charge(0.2, 4.2);
    (void)state;
    plan.current = 0.1;
    struct step step = begun(plan, "Li-ion");
    assert_int_equal(feed(&step, 0, 2.2, 0.2), STEP_GO_ON);
}

static void not_the_current_that_was_asked(void **state)
{
    struct step step = begun(charging(), "NiMH");
    (void)state;
    feed(&step, 0, 1.4, 1);
    step.tick = 60;
    assert_int_equal(feed(&step, 1, 1.4, 1.2), STEP_GO_ON);
    assert_true(step_next(&step) == 1); /* looked at again soon */
    assert_int_equal(feed(&step, 2, 1.4, 1.2), STEP_GO_ON);
    assert_int_equal(feed(&step, 3, 1.4, 1.0), STEP_GO_ON); /* not in a row */
    assert_int_equal(feed(&step, 4, 1.4, 0.5), STEP_GO_ON);
    assert_int_equal(feed(&step, 5, 1.4, 0.5), STEP_GO_ON);
    tripped(&step, feed(&step, 6, 1.4, 0.5), GUARD_OVER_CURRENT);
}

static void the_wrong_way(void **state)
{
    struct step step = begun(charging(), "NiMH");
    (void)state;
    feed(&step, 0, 1.3, -1);
    feed(&step, 1, 1.3, -1);
    tripped(&step, feed(&step, 2, 1.3, -1), GUARD_OVER_CURRENT);
}

static void beyond_the_limit_at_once(void **state)
{
    struct step step = begun(charging(), "NiMH");
    (void)state;
    feed(&step, 0, 1.4, 1);
    tripped(&step, feed(&step, 1, 1.4, 2.2), GUARD_OVER_CURRENT);
}

static void small_currents_have_room(void **state)
{
    struct step_plan plan = rig_charge(0.02, NAN);
    (void)state;
    plan.time = 100;
    struct step step = begun(plan, "NiMH");
    for (int i = 0; i < 10; i++)
        assert_int_equal(feed(&step, i, 1.3, 0.035), STEP_GO_ON);
}

static void a_taper_is_no_fault(void **state)
{
    struct step_plan plan = rig_charge(1, 4.2);
    (void)state;
    plan.current = 0.05;
    struct step step = begun(plan, "Li-ion");
    for (int i = 0; i < 10; i++)
        assert_int_equal(feed(&step, i, 4.2, 1 - 0.09 * i), STEP_GO_ON);
    for (int i = 10; i < 12; i++)
        assert_int_equal(feed(&step, i, 3.9, 0.1), STEP_GO_ON);
    tripped(&step, feed(&step, 12, 3.9, 0.1), GUARD_OVER_CURRENT); /* below the ceiling it is */
}

static void power_and_resistance_are_checked_by_their_law(void **state)
{
    struct step_plan plan = rig_discharge(DRIVE_POWER, -1.2);
    (void)state;
    plan.voltage = 1.0;
    struct step step = begun(plan, "NiMH");
    for (int i = 0; i < 10; i++)
        assert_int_equal(feed(&step, i, 1.2, -1.0), STEP_GO_ON);
    feed(&step, 10, 1.1, -0.8);
    feed(&step, 11, 1.1, -0.8);
    tripped(&step, feed(&step, 12, 1.1, -0.8), GUARD_OVER_CURRENT);
    plan = rig_discharge(DRIVE_RESISTANCE, 1.2);
    plan.voltage = 1.0;
    step = begun(plan, "NiMH");
    for (int i = 0; i < 10; i++)
        assert_int_equal(feed(&step, i, 1.2, -1.0), STEP_GO_ON);
    feed(&step, 10, 1.2, -1.2);
    feed(&step, 11, 1.2, -1.2);
    tripped(&step, feed(&step, 12, 1.2, -1.2), GUARD_OVER_CURRENT);
}

static void temperatures(void **state)
{
    (void)state;
    struct step step = begun(charging(), "NiMH");
    feed_warm(&step, 0, 1.4, 1, 50);
    tripped(&step, feed_warm(&step, 1, 1.4, 1, 56), GUARD_OVER_TEMPERATURE);
    step = begun(charging(), "NiMH"); /* a frozen cell is not charged */
    tripped(&step, feed_warm(&step, 0, 1.4, 1, -1), GUARD_UNDER_TEMPERATURE);
    step = begun(draining(), "NiMH"); /* but may be discharged */
    assert_int_equal(feed_warm(&step, 0, 1.4, -1, -1), STEP_GO_ON);
    step = begun(rig_rest(100), "NiMH");
    tripped(&step, feed_warm(&step, 0, 1.4, 0, 70), GUARD_OVER_TEMPERATURE);
    step = begun(charging(), "NiMH");
    assert_int_equal(feed_warm(&step, 0, 1.4, 1, NAN), STEP_GO_ON);
}

static void impossible_readings(void **state)
{
    static const struct {
        double voltage, current, temperature;
    } readings[] = {{NAN, 1, 20},   {9.9e37, 1, 20}, {1.4, INFINITY, 20},
                    {1.4, NAN, 20}, {1.4, 1, -200},  {1.4, 1, 9.9e37}};
    (void)state;
    for (size_t i = 0; i < sizeof(readings) / sizeof(readings[0]); i++) {
        struct step step = begun(charging(), "NiMH");
        feed(&step, 0, 1.4, 1);
        feed(&step, 1, 1.4, 1);
        enum step_verdict verdict =
            feed_warm(&step, 2, readings[i].voltage, readings[i].current, readings[i].temperature);
        tripped(&step, verdict, GUARD_IMPOSSIBLE);
        assert_within(step.charge, 1, 1e-12); /* nothing of it was counted */
        assert_true(step.last.voltage == 1.4);
        for (int k = 0; k < step.rows; k++)
            assert_true(step.row[k].voltage == 1.4);
    }
    struct step step = begun(charging(), "NiMH");
    feed(&step, 10, 1.4, 1);
    tripped(&step, feed(&step, 9, 1.4, 1), GUARD_IMPOSSIBLE); /* time does not run back */
}

static void stale(void **state)
{
    struct step step = begun(charging(), "NiMH");
    (void)state;
    feed(&step, 0, 1.4, 1);
    step_stop(&step, END_GUARD, GUARD_STALE);
    tripped(&step, STEP_TRIPPED, GUARD_STALE);
}

static void a_rest_minds_no_current_or_voltage(void **state)
{
    struct step step = begun(rig_rest(100), "NiMH");
    (void)state;
    for (int i = 0; i < 10; i++)
        assert_int_equal(feed(&step, i, 2.0, 0.5), STEP_GO_ON);
}

/* What was logged elsewhere is looked at, not watched over; every reading is a row. */
static void logged_readings_trip_nothing(void **state)
{
    (void)state;
    struct step step;
    struct step_plan plan;
    struct cell_facts facts = {.rated_charge = 0};
    step_plan_init(&plan, STEP_DISCHARGE);
    plan.logged = true;
    plan.every = 0;
    step_begin(&step, &plan, &facts, &LIMITS_NONE, 1, 1, 1);
    for (int i = 0; i < 6; i++) { /* no drive asked for this current; the cell is reversed */
        assert_int_equal(feed(&step, 10 * i, 1 - 0.3 * i, -2), STEP_GO_ON);
        assert_int_equal(step.rows, 1);
    }
    assert_int_equal(feed(&step, 60, 1000, -2), STEP_TRIPPED); /* no voltage of a cell */
    step_begin(&step, &plan, &facts, &LIMITS_NONE, 1, 1, 1);
    feed(&step, 0, 1, -2);
    feed(&step, 10, 1, -2);
    step_stop(&step, END_RECORD, GUARD_NONE);
    struct outcome out = outcome_of(&step);
    assert_string_equal(step_end_name(out.ended_by), "record");
    assert_string_equal(out.quality, "good");
    assert_within(out.charge, 20, 1e-12);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(over_voltage),
        cmocka_unit_test(held_on_the_limit_is_no_fault),
        cmocka_unit_test(under_voltage),
        cmocka_unit_test(reversed),
        cmocka_unit_test(missing),
        cmocka_unit_test(a_cell_that_was_there_is_not_missing),
        cmocka_unit_test(a_low_cell_may_be_charged),
        cmocka_unit_test(not_the_current_that_was_asked),
        cmocka_unit_test(the_wrong_way),
        cmocka_unit_test(beyond_the_limit_at_once),
        cmocka_unit_test(small_currents_have_room),
        cmocka_unit_test(a_taper_is_no_fault),
        cmocka_unit_test(power_and_resistance_are_checked_by_their_law),
        cmocka_unit_test(temperatures),
        cmocka_unit_test(impossible_readings),
        cmocka_unit_test(stale),
        cmocka_unit_test(a_rest_minds_no_current_or_voltage),
        cmocka_unit_test(logged_readings_trip_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
