/* What is refused before anything is energised, and what a charge is given. */
#include "step/feed.h"

static struct cell_facts facts;
static struct limits limits;

static void with(const char *chemistry, double rated_ah)
{
    facts = rig_facts(chemistry, rated_ah);
    limits =
        facts.profile != NULL ? profile_limits(facts.profile, facts.rated_charge) : LIMITS_NONE;
}

static void refused(struct step_plan plan, const char *why)
{
    struct error error = {0};
    assert_int_equal(step_plan_check(&plan, &facts, &limits, &error), ERROR_SCRIPT);
    assert_string_equal(error.what, step_kind_name(plan.kind));
    assert_true(strlen(error.todo) > 0);
    if (strstr(error.why, why) == NULL)
        fail_msg("\"%s\" does not say \"%s\"", error.why, why);
}

static struct step_plan accepted(struct step_plan plan)
{
    struct error error = {0};
    if (step_plan_check(&plan, &facts, &limits, &error))
        fail_msg("%s: %s", error.what, error.why);
    return plan;
}

static struct step_plan charging(double current, double time)
{
    struct step_plan plan = rig_charge(current, NAN);
    plan.time = time;
    return plan;
}

static struct step_plan draining(double current, double voltage)
{
    struct step_plan plan = rig_discharge(DRIVE_CURRENT, current);
    plan.voltage = voltage;
    return plan;
}

static void no_end(void **state)
{
    (void)state;
    with("NiMH", 2);
    refused(rig_charge(0.2, NAN), "no end");
    refused(rig_discharge(DRIVE_CURRENT, -0.4), "no end");
    refused(rig_rest(NAN), "no end");
    struct step_plan plan = rig_rest(NAN);
    plan.when = true;
    accepted(plan);
}

static void wrong_signs_and_numbers(void **state)
{
    (void)state;
    with("NiMH", 2);
    refused(charging(-0.2, 3600), "positive");
    refused(charging(0, 3600), "nothing to charge with");
    refused(charging(NAN, 3600), "nothing to charge with");
    refused(draining(0.4, 1.0), "negative");
    refused(charging(0.2, -1), "time is -1");
    refused(charging(0.2, INFINITY), "time is inf");
    refused(charging(0.2, 0), "time is 0");
    struct step_plan plan = draining(-0.4, 1.0);
    plan.charge = -5;
    refused(plan, "charge is -5");
    plan = rig_discharge(DRIVE_RESISTANCE, -2);
    plan.voltage = 1;
    refused(plan, "ohm");
    plan = charging(0.2, 3600);
    plan.drop = 0;
    refused(plan, "drop is 0");
    plan = charging(0.2, 3600);
    plan.blind = -1;
    refused(plan, "blind is -1");
    plan = charging(0.2, 3600);
    plan.every = -1;
    refused(plan, "record every");
}

static void wrong_drives(void **state)
{
    struct step_plan plan;
    (void)state;
    with("NiMH", 2);
    plan = charging(0.2, 3600);
    plan.drive.mode = DRIVE_RESISTANCE;
    refused(plan, "nothing to charge with");
    plan = draining(-0.4, 1);
    plan.drive.mode = DRIVE_OFF;
    refused(plan, "nothing to discharge with");
    plan = draining(-0.4, 1);
    plan.drive.ceiling = 1.4;
    refused(plan, "no voltage to hold");
    plan = rig_rest(10);
    plan.drive = (struct drive){DRIVE_CURRENT, -1, NAN};
    refused(plan, "not to drive");
}

static void primary_cells_are_not_charged(void **state)
{
    static const char *const names[] = {"alkaline", "zinc-carbon", "lithium", "Li-FeS2"};
    (void)state;
    for (size_t i = 0; i < sizeof(names) / sizeof(names[0]); i++) {
        struct step_plan plan;
        with(names[i], 2);
        refused(charging(0.01, 3600), "must never be charged");
        plan = rig_charge(0.01, NAN);
        plan.drive.mode = DRIVE_POWER;
        plan.time = 10;
        refused(plan, "must never be charged");
        accepted(draining(-0.1, facts.profile->end_voltage));
        accepted(rig_rest(10));
    }
}

static void unknown_chemistries_are_not_energised(void **state)
{
    (void)state;
    with("unknown", 2);
    refused(charging(0.2, 3600), "chemistry");
    refused(draining(-0.4, 1.0), "chemistry");
    accepted(rig_rest(10));
    accepted(feed_plan(STEP_READ));
}

static void lithium_ion_gets_its_ceiling(void **state)
{
    struct step_plan plan = rig_charge(1, NAN);
    (void)state;
    with("Li-ion", 2);
    plan.current = 0.1;
    assert_true(accepted(plan).drive.ceiling == 4.2);
    plan.drive.ceiling = 4.1;
    assert_true(accepted(plan).drive.ceiling == 4.1);
    plan.drive.ceiling = 4.3;
    refused(plan, "most that a Li-ion cell is charged to");
    plan.drive.ceiling = NAN;
    limits.voltage_most = 4.15; /* a careful bench */
    assert_true(accepted(plan).drive.ceiling == 4.15);
    plan.drive.ceiling = 4.2;
    refused(plan, "above the limit of 4.15");
    plan.drive.ceiling = -1;
    refused(plan, "no voltage to hold");
}

static void rates_above_the_limit(void **state)
{
    struct step_plan plan;
    (void)state;
    with("NiMH", 2);
    refused(charging(2.5, 600), "2.5");
    accepted(charging(2.0, 600));
    refused(draining(-11, 1.0), "above the limit of 10");
    plan = rig_discharge(DRIVE_POWER, -12);
    plan.voltage = 1.0;
    refused(plan, "12 A is above");
    plan = rig_discharge(DRIVE_RESISTANCE, 0.1);
    plan.voltage = 1.0;
    refused(plan, "above the limit");
    limits.discharge_current_most = 0.3; /* what the channel can sink */
    refused(draining(-0.4, 1.0), "above the limit of 300 mA");
}

static void ends_beyond_the_limits(void **state)
{
    struct step_plan plan = charging(0.2, 100);
    (void)state;
    with("NiMH", 2);
    plan.voltage = 1.9;
    refused(plan, "above the limit");
    with("Li-ion", 2);
    refused(draining(-0.4, 2.0), "below the limit");
}

static void ends_that_never_come(void **state)
{
    struct step_plan plan;
    (void)state;
    with("NiMH", 2);
    plan = charging(0.2, 100);
    plan.current = 0.05;
    refused(plan, "stays constant");
    plan = draining(-0.4, 1.0);
    plan.current = 0.05;
    refused(plan, "does not fall");
    plan = draining(-0.4, 1.0);
    plan.drop = 0.005;
    refused(plan, "belongs to a charge");
    plan = draining(-0.4, 1.0);
    plan.flat = 0.005;
    refused(plan, "belongs to a charge or a rest");
    plan = rig_rest(10);
    plan.charge = 10;
    refused(plan, "not to move any charge");
    with("Li-ion", 2);
    plan = rig_charge(0.2, 4.1);
    plan.voltage = 4.2;
    refused(plan, "is held at");
    plan = rig_charge(0.2, 4.1);
    plan.current = 0.3;
    refused(plan, "begins with");
    plan = rig_discharge(DRIVE_RESISTANCE, 10);
    plan.current = 0.1;
    accepted(plan);
}

static void pulses(void **state)
{
    struct step_plan plan = feed_plan(STEP_PULSE);
    (void)state;
    with("NiMH", 2);
    plan.level[0] = (struct drive){DRIVE_CURRENT, -0.4, NAN};
    plan.level[1] = (struct drive){DRIVE_CURRENT, -4, NAN};
    plan.level_time[0] = 10;
    refused(plan, "no time to last");
    plan.level_time[1] = 3;
    accepted(plan);
    plan.level[1].amount = 4;
    refused(plan, "a pulse discharges");
    plan.level[1].amount = -0.4;
    refused(plan, "the same current");
    plan.level[1].amount = -40;
    refused(plan, "above the limit");
    plan.level[1] = (struct drive){DRIVE_POWER, -4, NAN};
    refused(plan, "no current");
}

/* Common practice, no source: at a fast rate no more than 120 % of the rated capacity; the standard
 * charge of IEC 61951-2 puts in 160 % at 0.1 It. */
static void every_charge_has_backstops(void **state)
{
    struct step_plan plan;
    (void)state;
    with("NiMH", 2);
    plan = rig_charge(1, NAN); /* 0.5 It */
    plan.drop = 0.005;
    plan = accepted(plan);
    assert_within(plan.backstop_time, 1.6 * 2 * 3600, 1e-12);
    assert_within(plan.backstop_charge, 1.2 * 2 * AH, 1e-12);
    plan = accepted(charging(0.2, 16 * 3600)); /* the script's own time is the end */
    assert_true(isnan(plan.backstop_time));
    assert_true(plan.backstop_charge > 1.6 * 2 * AH);
    plan = accepted(charging(0.2, 48 * 3600)); /* the overcharge test: named, and slow */
    assert_true(plan.backstop_charge > 0.2 * 48 * 3600);
    plan = accepted(charging(0.5, 48 * 3600)); /* named, but not slow */
    assert_within(plan.backstop_charge, 1.2 * 2 * AH, 1e-12);
    plan = charging(0.2, 3600);
    plan.charge = AH;
    plan = accepted(plan);
    assert_true(isnan(plan.backstop_time) && isnan(plan.backstop_charge));
    plan = draining(-0.4, 1.0);
    plan = accepted(plan);
    assert_true(isnan(plan.backstop_time) && isnan(plan.backstop_charge));

    with("Li-ion", 2); /* bears no overcharge, however slow */
    plan = accepted(charging(0.1, 100 * 3600));
    assert_within(plan.backstop_charge, 1.2 * 2 * AH, 1e-12);

    with("NiMH", 0);
    plan = rig_charge(1, NAN);
    plan.drop = 0.005;
    refused(plan, "rated capacity");
    plan.time = 3600;
    plan.charge = AH;
    accepted(plan);
}

/* The 16 h of the standard charge end by time, not by a backstop a whisker early. */
static void the_standard_charge_runs_its_time(void **state)
{
    struct rig rig;
    struct step_plan plan = charging(0.2, 16 * 3600);
    (void)state;
    rig_open(&rig, "NiMH", 2, NULL);
    const struct outcome *out = rig_run(&rig, &plan);
    assert_int_equal(out->ended_by, END_TIME);
    assert_true(out->duration == 57600);
    rig_close(&rig);
}

static void a_forgotten_end_meets_its_backstop(void **state)
{
    struct rig rig;
    struct step_plan plan = rig_charge(1, NAN);
    (void)state;
    rig_open(&rig, "NiMH", 2, NULL);
    plan.voltage = 1.79; /* no cell comes there */
    const struct outcome *out = rig_run(&rig, &plan);
    assert_int_equal(out->ended_by, END_BACKSTOP_CHARGE);
    assert_within(out->charge, 1.2 * 2 * AH, 1e-9);
    rig_close(&rig);
}

static void the_record_follows_the_drive(void **state)
{
    (void)state;
    with("NiMH", 2);
    assert_within(accepted(draining(-0.4, 1.0)).by_current, 0.008, 1e-12);
    assert_within(accepted(draining(-0.01, 1.0)).by_current, 0.001, 1e-12);
    struct step_plan plan = draining(-0.4, 1.0);
    plan.by_current = NAN;
    assert_true(isnan(accepted(plan).by_current));
}

static void names(void **state)
{
    (void)state;
    assert_string_equal(step_kind_name(STEP_CHARGE), "charge");
    assert_string_equal(step_kind_name(STEP_READ), "read");
    assert_string_equal(step_end_name(END_TEMPERATURE_RATE), "temperature_rate");
    assert_string_equal(step_end_name(END_BACKSTOP_CHARGE), "backstop_charge");
    assert_string_equal(step_guard_name(GUARD_STALE), "stale");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_end),
        cmocka_unit_test(wrong_signs_and_numbers),
        cmocka_unit_test(wrong_drives),
        cmocka_unit_test(primary_cells_are_not_charged),
        cmocka_unit_test(unknown_chemistries_are_not_energised),
        cmocka_unit_test(lithium_ion_gets_its_ceiling),
        cmocka_unit_test(rates_above_the_limit),
        cmocka_unit_test(ends_beyond_the_limits),
        cmocka_unit_test(ends_that_never_come),
        cmocka_unit_test(pulses),
        cmocka_unit_test(every_charge_has_backstops),
        cmocka_unit_test(the_standard_charge_runs_its_time),
        cmocka_unit_test(a_forgotten_end_meets_its_backstop),
        cmocka_unit_test(the_record_follows_the_drive),
        cmocka_unit_test(names),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
