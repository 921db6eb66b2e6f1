/* Instrument accuracy into uncertainties of charge, energy and resistance. Figures follow by hand
 * from the law of propagation (JCGM 100:2008, 5.2.2) and rectangular limits (4.3.7). */
#include "analysis/check.h"

#include <string.h>

#include "analysis/accuracy.h"

static void entries_are_read(void **state)
{
    (void)state;
    struct error error;
    struct accuracy a;
    assert_int_equal(accuracy_read("0.05 % + 2 mV", DIM_VOLTAGE, &a, &error), 0);
    assert_close(a.relative, 0.0005, 1e-14);
    assert_close(a.absolute, 0.002, 1e-14);
    assert_true(a.resolution == 0);
    assert_int_equal(accuracy_read("3 mA + 0.2 %", DIM_CURRENT, &a, &error), 0);
    assert_close(a.relative, 0.002, 1e-14);
    assert_close(a.absolute, 0.003, 1e-14);
    assert_int_equal(accuracy_read("0.1 %", DIM_CURRENT, &a, &error), 0);
    assert_true(a.absolute == 0);
    assert_int_equal(accuracy_read("1 s", DIM_TIME, &a, &error), 0);
    assert_true(a.relative == 0 && a.absolute == 1);
}

static void wrong_entries_are_refused(void **state)
{
    (void)state;
    struct error error;
    struct accuracy a;
    const char *wrong[] = {"",      "0.05 % + 2 mA", "0.05 % + 0.1 %", "2 mV + 1 mV",
                           "-2 mV", "0.05 % +",      "a lot"};
    for (size_t i = 0; i < COUNT(wrong); i++) {
        error_clear(&error);
        assert_true(accuracy_read(wrong[i], DIM_VOLTAGE, &a, &error) != 0);
        assert_true(error.code != ERROR_NONE && strlen(error.todo) > 0);
        assert_nan(a.relative);
    }
}

static void an_error_that_is_known_has_a_sign(void **state)
{
    (void)state;
    struct error error;
    struct accuracy a;
    assert_int_equal(accuracy_read_error("-0.3 % + 1 mA", DIM_CURRENT, &a, &error), 0);
    assert_close(a.relative, -0.003, 1e-14);
    assert_close(a.absolute, 0.001, 1e-14);
    assert_int_equal(accuracy_read_error("0.1 % + -2 mV", DIM_VOLTAGE, &a, &error), 0);
    assert_close(a.absolute, -0.002, 1e-14);
    assert_true(accuracy_read_error("2 mA", DIM_VOLTAGE, &a, &error) != 0);
}

/* 0.05 % + 2 mV at 1.2 V is 2.6 mV of limits: 2.6 / sqrt(3) = 1.501 mV. */
static void one_reading(void **state)
{
    (void)state;
    struct accuracy a = {0.0005, 0.002, 0};
    assert_close(accuracy_standard(&a, 1.2), 0.0026 / sqrt(3), 1e-14);
    assert_close(accuracy_standard(&a, -1.2), 0.0026 / sqrt(3), 1e-14);
    a.resolution = 0.001;
    assert_close(accuracy_standard(&a, 1.2), sqrt(0.0026 * 0.0026 / 3 + 1e-6 / 12), 1e-14);
    a.absolute = -1;
    assert_nan(accuracy_standard(&a, 1.2));
}

/* An offset of 1 mA over 10 h is 10 mAh (fact of arithmetic; common practice: zero the channel). */
static void offset_adds_up_in_a_charge(void **state)
{
    (void)state;
    struct meters meters = {.current = {0, 0.001, 0}};
    struct delivered run = {.charge = 4 * 3600, .duration = 10 * 3600};
    double u;
    assert_ok(accuracy_of_charge(&meters, &run, &u));
    assert_close(u / 3.6, 10 / sqrt(3), 1e-13); /* mAh */
}

/* 0.4 A for 5 h: 2 Ah. Current 0.1 % + 1 mA: limits 2 mAh + 5 mAh. Clock 0.01 % + 1 s: limits 1.8 s
 * + 1 s at 0.4 A: 0.3111 mAh. */
static void parts_of_a_charge(void **state)
{
    (void)state;
    struct meters meters = {.current = {0.001, 0.001, 0}, .time = {0.0001, 1, 0}};
    struct delivered run = {.charge = 7200, .duration = 18000};
    double u;
    assert_ok(accuracy_of_charge(&meters, &run, &u));
    assert_close(u / 3.6, hypot(7, 2.8 * 0.4 / 3.6) / sqrt(3), 1e-13);
}

/* The same at 1.2 V in the mean: 2.4 Wh. Voltage 0.1 %: 2.4 mWh. Current 0.1 % + 1 mA: 2.4 + 6 mWh.
 * Two instruments: root of squares. One for both: the limits add. */
static void energy_and_shared_instrument(void **state)
{
    (void)state;
    struct meters meters = {.voltage = {0.001, 0, 0}, .current = {0.001, 0.001, 0}};
    struct delivered run = {
        .charge = 7200, .energy = 2.4 * 3600, .duration = 18000, .mean_voltage = 1.2};
    double u;
    assert_ok(accuracy_of_energy(&meters, &run, &u));
    assert_close(u / 3.6, hypot(2.4, 8.4) / sqrt(3), 1e-13);
    meters.shared = 1;
    assert_ok(accuracy_of_energy(&meters, &run, &u));
    assert_close(u / 3.6, (2.4 + 8.4) / sqrt(3), 1e-13);
}

/* R = 90 mV / 3.6 A = 25 mohm (IEC 61951-2 currents of a 2 Ah cell). An offset of 2 mV cancels when
 * it is the same moments later, else it costs sqrt(2) 2 mV / sqrt(3) / 3.6 A = 0.4536 mohm. */
static void offset_cancels_in_a_resistance(void **state)
{
    (void)state;
    struct meters meters = {.voltage = {0, 0.002, 0}};
    double u;
    assert_ok(accuracy_of_resistance(&meters, 1.300, 0.4, 1.210, 4, &u));
    assert_close(u, sqrt(2) * 0.002 / sqrt(3) / 3.6, 1e-13);
    meters.steady = 1;
    assert_ok(accuracy_of_resistance(&meters, 1.300, 0.4, 1.210, 4, &u));
    assert_within(u, 0, 1e-12);

    /* What is left is the gain: 0.1 % of either meter is 0.1 % of R; rounding to 1 mV stays too. */
    meters = (struct meters){.voltage = {0.001, 0.002, 0}, .steady = 1};
    assert_ok(accuracy_of_resistance(&meters, 1.300, 0.4, 1.210, 4, &u));
    assert_close(u, 0.025 * 0.001 / sqrt(3), 1e-9);
    meters = (struct meters){.current = {0.001, 0, 0}, .steady = 1};
    assert_ok(accuracy_of_resistance(&meters, 1.300, 0.4, 1.210, 4, &u));
    assert_close(u, 0.025 * 0.001 / sqrt(3), 1e-9);
    meters = (struct meters){.voltage = {0, 0.002, 0.001}, .steady = 1};
    assert_ok(accuracy_of_resistance(&meters, 1.300, 0.4, 1.210, 4, &u));
    assert_close(u, sqrt(2.0 / 12) * 0.001 / 3.6, 1e-9);
}

/* One meter whose gain is off alike for voltage and current reads the resistance right. */
static void shared_gain_cancels_in_a_resistance(void **state)
{
    (void)state;
    struct meters meters = {
        .voltage = {0.001, 0, 0}, .current = {0.001, 0, 0}, .shared = 1, .steady = 1};
    double u;
    assert_ok(accuracy_of_resistance(&meters, 1.300, 0.4, 1.210, 4, &u));
    assert_within(u, 0, 1e-10);
}

static void refuses_nonsense(void **state)
{
    (void)state;
    struct meters meters = {.voltage = {0.001, 0, 0}};
    struct delivered run = {.charge = 7200, .duration = 0};
    double u = 1;
    assert_int_equal(accuracy_of_charge(&meters, &run, &u), ANALYSIS_OUT_OF_RANGE);
    assert_nan(u);
    run.duration = NAN;
    assert_int_equal(accuracy_of_charge(&meters, &run, &u), ANALYSIS_NOT_FINITE);
    assert_int_equal(accuracy_of_resistance(&meters, 1.3, 2, 1.2, 2, &u), ANALYSIS_NO_CURRENT_STEP);
    meters.shared = 1.5;
    run.duration = 10;
    assert_int_equal(accuracy_of_charge(&meters, &run, &u), ANALYSIS_OUT_OF_RANGE);
    assert_nan(u);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(entries_are_read),
        cmocka_unit_test(wrong_entries_are_refused),
        cmocka_unit_test(an_error_that_is_known_has_a_sign),
        cmocka_unit_test(one_reading),
        cmocka_unit_test(offset_adds_up_in_a_charge),
        cmocka_unit_test(parts_of_a_charge),
        cmocka_unit_test(energy_and_shared_instrument),
        cmocka_unit_test(offset_cancels_in_a_resistance),
        cmocka_unit_test(shared_gain_cancels_in_a_resistance),
        cmocka_unit_test(refuses_nonsense),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
