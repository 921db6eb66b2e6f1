/* Whole steps on ideal cells against closed forms: charge, energy, duration, end voltage. */
#include "step/rig.h"

static struct simcell_truth linear(double capacity_ah, double low, double high, double r0)
{
    struct simcell_truth truth = rig_ideal(capacity_ah, low, r0);
    truth.ocv_points = 2;
    truth.ocv_soc[1] = 1;
    truth.ocv[1] = high;
    return truth;
}

/* A constant voltage behind a resistance, drained by charge: V = E - I*R all the way. */
static void constant_current_discharge(void **state)
{
    struct rig rig;
    struct simcell_truth truth = rig_ideal(2, 1.3, 0.05);
    struct step_plan plan = rig_discharge(DRIVE_CURRENT, -0.4);
    (void)state;
    rig_open(&rig, "NiMH", 2, &truth);
    plan.charge = 1.5 * AH;
    const struct outcome *out = rig_run(&rig, &plan);
    assert_int_equal(out->ended_by, END_CHARGE);
    assert_within(out->charge, 1.5 * AH, 1e-9);
    assert_within(out->energy, 1.28 * 1.5 * AH, 1e-6);
    assert_within(out->duration, 13500, 1e-6);
    assert_near(out->last_voltage, 1.28, 1e-12);
    assert_near(out->mean_voltage, 1.28, 1e-9);
    assert_near(out->mid_voltage, 1.28, 1e-9);
    assert_string_equal(out->quality, "good");
    assert_within(-rig_rows_charge(&rig), out->charge, 1e-6);
    rig_close(&rig);
}

/* I = (E - sqrt(E^2 - 4*R*P))/(2*R). */
static void constant_power_discharge(void **state)
{
    struct rig rig;
    struct simcell_truth truth = rig_ideal(2, 1.3, 0.05);
    struct step_plan plan = rig_discharge(DRIVE_POWER, -0.8);
    double current = (1.3 - sqrt(1.3 * 1.3 - 4 * 0.05 * 0.8)) / (2 * 0.05);
    (void)state;
    rig_open(&rig, "NiMH", 2, &truth);
    plan.energy = 0.8 * 7200;
    const struct outcome *out = rig_run(&rig, &plan);
    assert_int_equal(out->ended_by, END_ENERGY);
    assert_within(out->energy, 0.8 * 7200, 1e-9);
    assert_within(out->charge, current * 7200, 1e-6);
    assert_within(out->duration, 7200, 1e-6);
    rig_close(&rig);
}

/* I = E/(R + Rload), constant: OCV is. */
static void constant_resistance_discharge(void **state)
{
    struct rig rig;
    struct simcell_truth truth = rig_ideal(2, 1.3, 0.05);
    struct step_plan plan = rig_discharge(DRIVE_RESISTANCE, 2.55);
    (void)state;
    rig_open(&rig, "NiMH", 2, &truth);
    plan.time = 3600;
    const struct outcome *out = rig_run(&rig, &plan);
    assert_int_equal(out->ended_by, END_TIME);
    assert_true(out->duration == 3600); /* exactly */
    assert_within(out->charge, 0.5 * 3600, 1e-6);
    assert_within(out->energy, 0.25 * 2.55 * 3600, 1e-6);
    rig_close(&rig);
}

/* OCV a line from 1.4 to 1.0 V over 2 Ah: 0.4 A for 5 h give 2.0 Ah and 2.400 Wh. */
static void linear_discharge(void **state)
{
    struct rig rig;
    struct simcell_truth truth = linear(2.5, 0.9, 1.4, 0);
    struct step_plan plan = rig_discharge(DRIVE_CURRENT, -0.4);
    (void)state;
    rig_open(&rig, "NiMH", 2, &truth);
    plan.voltage = 1.0;
    const struct outcome *out = rig_run(&rig, &plan);
    assert_int_equal(out->ended_by, END_VOLTAGE);
    assert_true(out->last_voltage == 1.0); /* exactly */
    assert_within(out->charge, 2.0 * AH, 1e-6);
    assert_within(out->energy, 2.4 * AH, 1e-6);
    assert_within(out->duration, 5 * 3600, 1e-6);
    assert_near(out->mean_voltage, 1.2, 1e-6);
    assert_near(out->mid_voltage, 1.2, 1e-6);
    assert_true(out->first_voltage == 1.4 && out->peak_voltage == 1.4);
    assert_within(-rig_rows_charge(&rig), out->charge, 1e-6);
    rig_close(&rig);
}

/* Looked at rarely while little happens, and closely near the end. */
static void ticks_close_in_on_the_end(void **state)
{
    struct rig rig;
    struct simcell_truth truth = linear(2.5, 0.9, 1.4, 0);
    struct step_plan plan = rig_discharge(DRIVE_CURRENT, -0.4);
    (void)state;
    rig_open(&rig, "NiMH", 2, &truth);
    plan.voltage = 1.0;
    rig_run(&rig, &plan);
    assert_true(rig.step.tick <= 2); /* the last stretch */
    assert_in_range(rig.readings, 5 * 60, 5 * 60 + 30);
    rig_close(&rig);
}

/* The result must not depend on how often the channel is read. */
static void the_tick_does_not_matter(void **state)
{
    static const double ticks[] = {0.1, 1, 7, 30, 60};
    struct simcell_truth truth = linear(2.5, 0.9, 1.4, 0.1);
    (void)state;
    for (size_t i = 0; i < sizeof(ticks) / sizeof(ticks[0]); i++) {
        struct rig rig;
        struct step_plan plan = rig_discharge(DRIVE_CURRENT, -0.4);
        rig_open(&rig, "NiMH", 2, &truth);
        rig.channel->tick_least = rig.channel->tick_most = ticks[i];
        plan.voltage = 1.0;
        const struct outcome *out = rig_run(&rig, &plan);
        assert_within(out->charge, 1.8 * AH, 1e-7); /* 1.4 - 0.04 - 0.2 V/Ah * q = 1.0 */
        assert_within(out->energy, 1.8 * AH * 1.18, 1e-7);
        assert_true(out->last_voltage == 1.0);
        rig_close(&rig);
    }
}

/* Constant current until V = OCV + I*R meets the ceiling; then I falls with tau = R*C/(dOCV/ds) and
 * moves tau*(I - I_end) until it is I_end. */
static void constant_current_constant_voltage_charge(void **state)
{
    struct rig rig;
    struct simcell_truth truth = linear(2, 3.0, 4.4, 0.2);
    struct step_plan plan = rig_charge(1.0, 4.2);
    double tau = 0.2 * 2 * AH / 1.4, met = (4.2 - 0.2 - 3.0) / 1.4 * 2 * AH;
    (void)state;
    truth.soc_new = 0.1;
    rig_open(&rig, "Li-ion", 2, &truth);
    rig.channel->tick_least = 0.5;
    rig.channel->tick_most = 1;
    plan.current = 0.05;
    plan.every = 1;
    const struct outcome *out = rig_run(&rig, &plan);
    double first = met - 0.2 * AH, second = tau * (1.0 - 0.05);
    assert_int_equal(out->ended_by, END_CURRENT);
    assert_within(out->charge, first + second, 1e-6);
    assert_within(out->duration, first / 1.0 + tau * log(1 / 0.05), 1e-6);
    assert_near(out->last_current, 0.05, 1e-12);
    assert_near(out->last_voltage, 4.2, 1e-12);
    /* Energy: (OCV + I*R)*I over the first part, a trapezoid; 4.2 V over the second. */
    double begin = 3.0 + 1.4 * 0.1 + 0.2;
    assert_within(out->energy, (begin + 4.2) / 2 * first + 4.2 * second, 1e-6);
    assert_within(rig_rows_charge(&rig), out->charge, 1e-6);
    rig_close(&rig);
}

/* As the channel comes, ticks adapted: still well within what instruments can tell. */
static void adapted_ticks_keep_the_taper(void **state)
{
    struct rig rig;
    struct simcell_truth truth = linear(2, 3.0, 4.4, 0.2);
    struct step_plan plan = rig_charge(1.0, 4.2);
    double tau = 0.2 * 2 * AH / 1.4, met = (4.2 - 0.2 - 3.0) / 1.4 * 2 * AH;
    (void)state;
    truth.soc_new = 0.1;
    rig_open(&rig, "Li-ion", 2, &truth);
    plan.current = 0.05;
    const struct outcome *out = rig_run(&rig, &plan);
    assert_within(out->charge, met - 0.2 * AH + tau * 0.95, 1e-4);
    assert_within(rig_rows_charge(&rig), out->charge, 1e-3); /* what by_current = 2 % allows */
    assert_true(rig.readings < 1000);
    rig_close(&rig);
}

/* A year: many readings at rest are none too many, and the charge is exp(-k*t). */
static void a_year_at_rest(void **state)
{
    struct rig rig;
    struct simcell_truth truth = rig_ideal(2, 1.3, 0.05);
    struct step_plan plan = rig_rest(365 * 86400.0);
    (void)state;
    truth.self_discharge = 0.001;
    rig_open(&rig, "NiMH", 2, &truth);
    const struct outcome *out = rig_run(&rig, &plan);
    assert_int_equal(out->ended_by, END_TIME);
    assert_true(out->duration == 365 * 86400.0);
    assert_true(isnan(out->charge) && isnan(out->energy) && isnan(out->resistance));
    assert_within(rig_cell(&rig)->charge, 2 * AH * exp(-0.365), 1e-9);
    assert_true(rig.readings < 9000);
    rig_close(&rig);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(constant_current_discharge),
        cmocka_unit_test(constant_power_discharge),
        cmocka_unit_test(constant_resistance_discharge),
        cmocka_unit_test(linear_discharge),
        cmocka_unit_test(ticks_close_in_on_the_end),
        cmocka_unit_test(the_tick_does_not_matter),
        cmocka_unit_test(constant_current_constant_voltage_charge),
        cmocka_unit_test(adapted_ticks_keep_the_taper),
        cmocka_unit_test(a_year_at_rest),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
