/* The model of a cell against closed forms: what a textbook's equivalent circuit comes to. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "bench/simcell.h"

#define AH 3600.0
#define NEAR(value, expected, off)                                                                 \
    do {                                                                                           \
        double value_ = (value), expected_ = (expected);                                           \
        if (!(fabs(value_ - expected_) <= (off)))                                                  \
            fail_msg("%s is %.15g, not %.15g", #value, value_, expected_);                         \
    } while (0)

static struct simcell_truth ideal(void)
{
    struct simcell_truth truth = {.capacity = 2 * AH,
                                  .ocv_points = 1,
                                  .ocv = {1.3},
                                  .r0 = 0.02,
                                  .efficiency = 1,
                                  .knee = 1,
                                  .ambient = 20,
                                  .soc_new = 0.5};
    return truth;
}

static struct simcell made(const struct simcell_truth *truth)
{
    struct simcell cell;
    assert_int_equal(simcell_truth_check(truth, NULL), 0);
    simcell_new(&cell, truth, 0, 1);
    return cell;
}

static struct reading shown(struct simcell *cell)
{
    struct reading reading = {0};
    simcell_read(cell, &reading);
    return reading;
}

static utc_us seconds(double s)
{
    return (utc_us)llround(s * 1e6);
}

static void resistance_alone(void **state)
{
    struct simcell_truth truth = ideal();
    struct simcell cell = made(&truth);
    (void)state;
    cell.drive = (struct drive){DRIVE_CURRENT, -0.5, NAN};
    NEAR(shown(&cell).voltage, 1.3 - 0.5 * 0.02, 1e-12);
    simcell_advance(&cell, seconds(3600));
    NEAR(cell.charge, AH - 0.5 * 3600, 1e-9);
    NEAR(cell.throughput, 0.5 * 3600, 1e-9);
    NEAR(shown(&cell).voltage, 1.29, 1e-12);
    cell.drive = (struct drive){DRIVE_CURRENT, 0.5, NAN};
    NEAR(shown(&cell).voltage, 1.31, 1e-12);
}

/* P = (E + I*R)*I and I = -E/(R + Rload). */
static void power_and_resistance_drives(void **state)
{
    struct simcell_truth truth = ideal();
    struct simcell cell = made(&truth);
    struct reading reading;
    (void)state;
    cell.drive = (struct drive){DRIVE_POWER, -1.0, NAN};
    reading = shown(&cell);
    NEAR(reading.voltage * reading.current, -1.0, 1e-12);
    NEAR(reading.voltage, 1.3 + reading.current * 0.02, 1e-12);
    cell.drive = (struct drive){DRIVE_RESISTANCE, 2.58, NAN};
    reading = shown(&cell);
    NEAR(reading.current, -0.5, 1e-12);
    NEAR(reading.voltage / -reading.current, 2.58, 1e-9);
    simcell_advance(&cell, seconds(1000));
    NEAR(cell.charge, AH - 500, 1e-9);
}

/* More than E^2/(4*R) cannot be drawn. */
static void no_more_power_than_a_cell_has(void **state)
{
    struct simcell_truth truth = ideal();
    struct simcell cell = made(&truth);
    (void)state;
    cell.drive = (struct drive){DRIVE_POWER, -1000, NAN};
    NEAR(shown(&cell).current, -1.3 / 0.04, 1e-9);
    NEAR(shown(&cell).voltage, 0.65, 1e-9);
}

/* No load pulls a cell below zero: what flows then is E/R. */
static void no_load_pulls_below_zero(void **state)
{
    struct simcell_truth truth = ideal();
    struct simcell cell = made(&truth);
    (void)state;
    cell.drive = (struct drive){DRIVE_CURRENT, -100, NAN};
    NEAR(shown(&cell).voltage, 0, 1e-12);
    NEAR(shown(&cell).current, -65, 1e-9);
    simcell_advance(&cell, seconds(10));
    NEAR(cell.charge, AH - 650, 1e-9);
}

/* v1 = I*R1*(1 - exp(-t/tau)) under a step, v1*exp(-t/tau) after it. */
static void pair_charges_and_relaxes(void **state)
{
    struct simcell_truth truth = ideal();
    truth.r1 = 0.015;
    truth.c1 = 30 / 0.015;
    struct simcell cell = made(&truth);
    (void)state;
    cell.drive = (struct drive){DRIVE_CURRENT, -2, NAN};
    for (int i = 1; i <= 100; i++) {
        simcell_advance(&cell, seconds(i * 0.37));
        double t = i * 0.37;
        NEAR(shown(&cell).voltage, 1.3 - 2 * 0.02 - 2 * 0.015 * (1 - exp(-t / 30)), 1e-9);
    }
    double v1 = cell.v1;
    cell.drive = DRIVE_NOTHING;
    simcell_advance(&cell, seconds(37 + 45));
    NEAR(shown(&cell).voltage, 1.3 + v1 * exp(-45.0 / 30), 1e-12);
}

/* The result must not hang on how the time was cut up. */
static void one_piece_or_many(void **state)
{
    struct simcell_truth truth = ideal();
    truth.r1 = 0.015;
    truth.c1 = 2000;
    struct simcell once = made(&truth), often = once;
    (void)state;
    once.drive = often.drive = (struct drive){DRIVE_CURRENT, -0.4, NAN};
    simcell_advance(&once, seconds(5000));
    for (int i = 1; i <= 50000; i++)
        simcell_advance(&often, seconds(i * 0.1));
    NEAR(once.charge, often.charge, 1e-7);
    NEAR(once.v1, often.v1, 1e-9);
}

/* dI/dt = -I/tau with tau = R*C/(dOCV/ds) at a constant voltage, when OCV is a line over charge. */
static void constant_voltage_current_decays(void **state)
{
    struct simcell_truth truth = ideal();
    truth.ocv_points = 2;
    truth.ocv_soc[1] = 1;
    truth.ocv[0] = 3.0;
    truth.ocv[1] = 4.4;
    truth.r0 = 0.1;
    truth.soc_new = 0.8; /* 4.12 V */
    struct simcell cell = made(&truth);
    double tau = 0.1 * 2 * AH / 1.4, first = (4.2 - 4.12) / 0.1;
    (void)state;
    cell.drive = (struct drive){DRIVE_CURRENT, 1, 4.2};
    NEAR(shown(&cell).current, first, 1e-9);
    for (int i = 1; i <= 1000; i++)
        simcell_advance(&cell, seconds(i));
    NEAR(shown(&cell).current, first * exp(-1000 / tau), 1e-6);
    NEAR(shown(&cell).voltage, 4.2, 1e-12);
}

/* At a constant voltage the pair and the current act on each other; a long tick must not make them
 * swing. */
static void constant_voltage_with_a_pair(void **state)
{
    struct simcell_truth truth = ideal();
    truth.r1 = 0.04; /* twice R0, and a tick of twice its time constant */
    truth.c1 = 30 / 0.04;
    struct simcell coarse = made(&truth), fine;
    (void)state;
    coarse.drive = (struct drive){DRIVE_CURRENT, 5, 1.36};
    fine = coarse;
    for (int i = 1; i <= 5; i++) {
        simcell_advance(&coarse, seconds(i * 60));
        while (fine.as_of < seconds(i * 60))
            simcell_advance(&fine, fine.as_of + 10000);
        NEAR(shown(&coarse).current, shown(&fine).current, 0.01);
        NEAR(coarse.charge, fine.charge, 0.3);
    }
    NEAR(shown(&coarse).current, 0.06 / 0.06, 0.001); /* settled: V - OCV over R0 + R1 */
}

/* Second order: a tick three times as long is nine times as wrong. */
static void power_drive_is_of_second_order(void **state)
{
    struct simcell_truth truth = ideal();
    double off[2];
    (void)state;
    truth.ocv_points = 2;
    truth.ocv_soc[1] = 1;
    truth.ocv[0] = 1.0;
    truth.ocv[1] = 1.4;
    truth.r0 = 0.05;
    struct simcell exact = made(&truth);
    exact.drive = (struct drive){DRIVE_POWER, -4, NAN};
    for (int i = 1; i <= 36000; i++)
        simcell_advance(&exact, seconds(i * 0.01));
    for (int k = 0; k < 2; k++) {
        struct simcell cell = made(&truth);
        int tick = k == 0 ? 60 : 20;
        cell.drive = exact.drive;
        for (int t = tick; t <= 360; t += tick)
            simcell_advance(&cell, seconds(t));
        off[k] = fabs(cell.charge - exact.charge);
    }
    NEAR(off[0] / off[1], 9, 1.0);
}

/* q = q0*exp(-k*t): a year in one call as in many. */
static void self_discharge_is_exponential(void **state)
{
    struct simcell_truth truth = ideal();
    truth.self_discharge = 0.001;
    truth.soc_new = 1;
    struct simcell year = made(&truth), days = year;
    (void)state;
    simcell_advance(&year, seconds(365 * 86400.0));
    for (int i = 1; i <= 365; i++)
        simcell_advance(&days, seconds(i * 86400.0));
    NEAR(year.charge / (2 * AH), exp(-0.365), 1e-12);
    NEAR(days.charge, year.charge, 1e-8);
    NEAR(year.throughput, 0, 0);
}

/* Twice as fast 10 K warmer: a rule of thumb of physical chemistry. */
static void warmth_hastens_self_discharge(void **state)
{
    struct simcell_truth truth = ideal();
    truth.self_discharge = 0.001;
    truth.soc_new = 1;
    truth.ambient = 30;
    struct simcell cell = made(&truth);
    (void)state;
    simcell_advance(&cell, seconds(100 * 86400.0));
    NEAR(cell.charge / (2 * AH), exp(-0.2), 1e-12);
}

/* A cell that was warm loses more: the closed form against many short pieces. */
static void cooling_is_counted_in_one_call(void **state)
{
    struct simcell_truth truth = ideal();
    truth.self_discharge = 0.2;
    truth.heat_capacity = 27;
    truth.heat_transfer = 0.05;
    struct simcell once = made(&truth), often;
    once.temperature = 55;
    often = once;
    (void)state;
    simcell_advance(&once, seconds(3600));
    for (int i = 1; i <= 360000; i++)
        simcell_advance(&often, seconds(i * 0.01));
    NEAR(once.charge, often.charge, 1e-3 * fabs(AH - once.charge));
    NEAR(once.temperature, 20 + 35 * exp(-3600 * 0.05 / 27), 1e-9);
    assert_true(once.charge < AH * exp(-0.2 / 24)); /* more than a cool cell loses */
}

/* T = Ta + P/h*(1 - exp(-t*h/C)) under a constant heat I^2*R. */
static void thermal_mass_warms(void **state)
{
    struct simcell_truth truth = ideal();
    truth.heat_capacity = 27;
    truth.heat_transfer = 0.05;
    struct simcell cell = made(&truth);
    (void)state;
    cell.drive = (struct drive){DRIVE_CURRENT, -2, NAN};
    simcell_advance(&cell, seconds(600));
    NEAR(cell.temperature, 20 + 4 * 0.02 / 0.05 * (1 - exp(-600 * 0.05 / 27)), 1e-9);
}

/* What a charge does not store is heat: (1 - efficiency)*I*V besides I^2*R. */
static void lost_charge_is_heat(void **state)
{
    struct simcell_truth truth = ideal();
    truth.efficiency = 0.75;
    truth.heat_capacity = 27;
    struct simcell cell = made(&truth);
    (void)state;
    cell.drive = (struct drive){DRIVE_CURRENT, 1, NAN};
    simcell_advance(&cell, seconds(100));
    NEAR(cell.charge, AH + 75, 1e-9);
    NEAR(cell.temperature, 20 + (0.02 + 0.25 * 1.32) * 100 / 27, 1e-9);
}

/* Past the knee 1 - x^2 of the charge is stored, x from 0 at the knee to 1 when full; from the knee
 * on that makes x = tanh(I*t/(C*(1 - knee))). */
static void efficiency_falls_as_a_tanh(void **state)
{
    struct simcell_truth truth = ideal();
    truth.knee = 0.75;
    truth.soc_new = 0.75;
    struct simcell cell = made(&truth);
    (void)state;
    cell.drive = (struct drive){DRIVE_CURRENT, 2, NAN};
    for (int minutes = 10; minutes <= 60; minutes += 10) {
        simcell_advance(&cell, seconds(60 * minutes));
        double past = tanh(2 * 60.0 * minutes / (0.25 * 2 * AH));
        NEAR(cell.charge / (2 * AH), 0.75 + 0.25 * past, 1.5e-4);
    }
}

static void throughput_ages_a_cell(void **state)
{
    struct simcell_truth truth = ideal();
    truth.fade = 0.001;
    truth.growth = 0.002;
    struct simcell cell = made(&truth);
    (void)state;
    cell.throughput = 100 * truth.capacity;
    NEAR(simcell_capacity(&cell), 2 * AH * 0.9, 1e-9);
    NEAR(simcell_r0(&cell), 0.02 * 1.2, 1e-12);
    cell.throughput = 1e6 * truth.capacity;
    assert_true(simcell_capacity(&cell) > 0);
}

static void empty_cell_collapses(void **state)
{
    struct simcell_truth truth = ideal();
    struct simcell cell = made(&truth);
    (void)state;
    cell.drive = (struct drive){DRIVE_CURRENT, -0.7, NAN};
    simcell_advance(&cell, seconds(2 * 3600));
    NEAR(cell.charge, 0, 0);
    NEAR(cell.throughput, AH, 1e-9); /* no more than was in it */
    NEAR(shown(&cell).voltage, 0, 0);
    NEAR(shown(&cell).current, 0, 0);
    cell.drive = DRIVE_NOTHING;
    NEAR(shown(&cell).voltage, 1.3, 0);
}

static void full_cell_stores_no_more(void **state)
{
    struct simcell_truth truth = ideal();
    truth.heat_capacity = 27;
    struct simcell cell = made(&truth);
    (void)state;
    cell.drive = (struct drive){DRIVE_CURRENT, 1, NAN};
    simcell_advance(&cell, seconds(3 * 3600));
    NEAR(cell.charge, 2 * AH, 0);
    assert_true(cell.temperature > 100); /* two hours of 1.3 W with nowhere to go */
}

static void time_never_runs_back(void **state)
{
    struct simcell_truth truth = ideal();
    struct simcell cell = made(&truth), before;
    (void)state;
    cell.as_of = seconds(1000);
    cell.drive = (struct drive){DRIVE_CURRENT, -1, NAN};
    before = cell;
    simcell_advance(&cell, seconds(999));
    assert_memory_equal(&cell, &before, sizeof(cell));
    simcell_advance(&cell, seconds(1001));
    NEAR(cell.charge, AH - 1, 1e-9);
}

static void noise_is_seeded_and_of_its_size(void **state)
{
    struct simcell_truth truth = ideal();
    struct simcell a = made(&truth), b = a;
    double sum = 0, squares = 0;
    (void)state;
    shown(&a);
    assert_memory_equal(&a, &b, sizeof(a)); /* no noise, no draws */
    a.truth.noise_voltage = b.truth.noise_voltage = 0.001;
    for (int i = 0; i < 10000; i++) {
        double off = shown(&a).voltage - 1.3;
        assert_true(off == shown(&b).voltage - 1.3);
        sum += off;
        squares += off * off;
    }
    NEAR(sum / 10000, 0, 4e-5);              /* 4 sd of the mean */
    NEAR(sqrt(squares / 10000), 1e-3, 3e-5); /* 4 sd of the sd */
}

static void impossible_truths_are_refused(void **state)
{
    struct error error = {0};
    struct simcell_truth truth = ideal();
    (void)state;
    truth.capacity = 0;
    assert_int_equal(simcell_truth_check(&truth, &error), ERROR_BENCH);
    assert_string_equal(error.what, "capacity");
    truth = ideal();
    truth.efficiency = 1.1;
    assert_int_equal(simcell_truth_check(&truth, &error), ERROR_BENCH);
    assert_string_equal(error.what, "efficiency");
    truth = ideal();
    truth.r0 = NAN;
    assert_int_equal(simcell_truth_check(&truth, &error), ERROR_BENCH);
    assert_string_equal(error.what, "r0");
    truth = ideal();
    truth.ocv_points = 2; /* both at 0 */
    assert_int_equal(simcell_truth_check(&truth, &error), ERROR_BENCH);
    assert_string_equal(error.what, "open_circuit");
    assert_non_null(strstr(error.why, "rise"));
    truth.ocv_points = SIMCELL_OCV_POINTS + 1;
    assert_int_equal(simcell_truth_check(&truth, &error), ERROR_BENCH);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(resistance_alone),
        cmocka_unit_test(power_and_resistance_drives),
        cmocka_unit_test(no_more_power_than_a_cell_has),
        cmocka_unit_test(no_load_pulls_below_zero),
        cmocka_unit_test(pair_charges_and_relaxes),
        cmocka_unit_test(one_piece_or_many),
        cmocka_unit_test(constant_voltage_current_decays),
        cmocka_unit_test(constant_voltage_with_a_pair),
        cmocka_unit_test(power_drive_is_of_second_order),
        cmocka_unit_test(self_discharge_is_exponential),
        cmocka_unit_test(warmth_hastens_self_discharge),
        cmocka_unit_test(cooling_is_counted_in_one_call),
        cmocka_unit_test(thermal_mass_warms),
        cmocka_unit_test(lost_charge_is_heat),
        cmocka_unit_test(efficiency_falls_as_a_tanh),
        cmocka_unit_test(throughput_ages_a_cell),
        cmocka_unit_test(empty_cell_collapses),
        cmocka_unit_test(full_cell_stores_no_more),
        cmocka_unit_test(time_never_runs_back),
        cmocka_unit_test(noise_is_seeded_and_of_its_size),
        cmocka_unit_test(impossible_truths_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
