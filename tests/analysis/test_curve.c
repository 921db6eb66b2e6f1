/* Integrals of a curve against closed forms, end voltage, gaps, direction. */
#include "analysis/check.h"

#include <stdlib.h>

#include "analysis/curve.h"

struct record {
    struct curve curve;
    double *time, *voltage, *current;
};

static struct record make(size_t count)
{
    struct record r = {.time = calloc(count, sizeof(double)),
                       .voltage = calloc(count, sizeof(double)),
                       .current = calloc(count, sizeof(double))};
    r.curve = (struct curve){r.time, r.voltage, r.current, count};
    return r;
}

static void drop(struct record *r)
{
    free(r->time);
    free(r->voltage);
    free(r->current);
}

static const struct curve_options plain = {NAN, NAN, NAN};

/* 2 A for 3600 s in 1 s steps is 2 Ah. */
static void constant_current(void **state)
{
    (void)state;
    struct record r = make(3601);
    for (size_t k = 0; k <= 3600; k++) {
        r.time[k] = (double)k;
        r.voltage[k] = 1.2;
        r.current[k] = -2;
    }
    struct curve_options options = {2.5 * 3600, NAN, NAN};
    struct curve_measures out;
    assert_ok(curve_measure(&r.curve, &options, &out));
    assert_true(out.charge == 2 * 3600.0);
    assert_close(out.energy, 2.4 * 3600, 1e-14);
    assert_close(out.of_rating, 0.8, 1e-14);
    assert_true(out.duration == 3600 && out.gaps == 0 && out.gap_time == 0 && !out.reached);
    drop(&r);
}

/* A ramp 0 to 2 A in 1 h is 1 Ah, whatever the steps; with 1.4 to 1.0 V it is 1.4 - 0.8/3 Wh. Half
 * of the charge has passed after 1/sqrt(2) h, at 1.4 - 0.4/sqrt(2) V. */
static void ramp(void **state)
{
    (void)state;
    const size_t steps[] = {1, 7, 3600};
    for (size_t i = 0; i < COUNT(steps); i++) {
        struct record r = make(steps[i] + 1);
        for (size_t k = 0; k <= steps[i]; k++) {
            double part = (double)k / (double)steps[i];
            r.time[k] = 3600 * part;
            r.voltage[k] = 1.4 - 0.4 * part;
            r.current[k] = -2 * part;
        }
        struct curve_measures out;
        assert_ok(curve_measure(&r.curve, &plain, &out));
        assert_close(out.charge, 3600, 1e-13);
        assert_close(out.mid_voltage, 1.4 - 0.4 / sqrt(2), 1e-12);
        assert_close(out.mean_voltage, 1.2, 1e-13);
        if (steps[i] == 3600)
            assert_within(out.energy / 3600, 1.13333332, 0.5e-8); /* exact 1.13333333 */
        drop(&r);
    }
}

/* Half a sine of 1 A in 1800 s is 1/pi Ah; the trapezoid at 900, 450, 100 and 10 s as it must
 * be. */
static void half_sine(void **state)
{
    (void)state;
    const struct {
        double step, charge;
    } cases[] = {{900, 0.25}, {450, 0.3017766953}, {100, 0.3175014529}, {10, 0.3183018059}};
    for (size_t i = 0; i < COUNT(cases); i++) {
        size_t steps = (size_t)lround(1800 / cases[i].step);
        struct record r = make(steps + 1);
        for (size_t k = 0; k <= steps; k++) {
            r.time[k] = cases[i].step * (double)k;
            r.voltage[k] = 1;
            r.current[k] = sin(M_PI * r.time[k] / 1800);
        }
        struct curve_measures out;
        assert_ok(curve_measure(&r.curve, &plain, &out));
        assert_within(out.charge / 3600, cases[i].charge, 0.6e-10);
        double bound = 1800 * cases[i].step * cases[i].step / 12 * pow(M_PI / 1800, 2) / 3600;
        assert_true(1 / M_PI - out.charge / 3600 <= bound);
        drop(&r);
    }
}

/* exp(-t/1 h) A for 5 h is 0.993262053 Ah. */
static void decaying_current(void **state)
{
    (void)state;
    struct record r = make(18001);
    for (size_t k = 0; k <= 18000; k++) {
        r.time[k] = (double)k;
        r.voltage[k] = 1.45;
        r.current[k] = exp(-(double)k / 3600);
    }
    struct curve_measures out;
    assert_ok(curve_measure(&r.curve, &plain, &out));
    assert_within(out.charge / 3600, 0.993262053, 1e-8);
    drop(&r);
}

/* 0.4 A, 1.4 V falling to 1.0 V in 5 h: 2 Ah, 2.4 Wh, mean and middle 1.2 V. Sampled once in 7 min
 * on beyond 1.0 V: the end is found between samples. */
static void end_voltage_between_samples(void **state)
{
    (void)state;
    struct record r = make(50);
    for (size_t k = 0; k < 50; k++) {
        r.time[k] = 420 * (double)k;
        r.voltage[k] = 1.4 - 0.4 * r.time[k] / 18000;
        r.current[k] = -0.4;
    }
    struct curve_options options = {2.0 * 3600, 1.0, NAN};
    struct curve_measures out;
    assert_ok(curve_measure(&r.curve, &options, &out));
    assert_true(out.reached);
    assert_close(out.charge / 3600, 2, 1e-12);
    assert_close(out.energy / 3600, 2.4, 1e-12);
    assert_close(out.of_rating, 1, 1e-12);
    assert_close(out.duration, 18000, 1e-12);
    assert_close(out.mean_voltage, 1.2, 1e-12);
    assert_close(out.mid_voltage, 1.2, 1e-12);
    assert_close(out.last_voltage, 1.0, 1e-12);
    assert_true(out.first_voltage == 1.4);

    /* The same upwards: a charge that rises to 1.0 V... */
    for (size_t k = 0; k < 50; k++) {
        r.voltage[k] = 0.6 + 0.4 * r.time[k] / 18000;
        r.current[k] = 0.4;
    }
    assert_ok(curve_measure(&r.curve, &options, &out));
    assert_true(out.reached);
    assert_close(out.duration, 18000, 1e-12);

    /* ...and one that does not. */
    options.end_voltage = 1.6;
    assert_ok(curve_measure(&r.curve, &options, &out));
    assert_true(!out.reached && out.duration == 420 * 49);
    drop(&r);
}

/* A current that rises from 0 to 2 A while the voltage falls from 1.4 to 1.0 V, seen only at its
 * ends: cut at 1.2 V, half way, it has given a quarter of an Ah. */
static void current_at_the_end_voltage(void **state)
{
    (void)state;
    const double t[] = {0, 3600}, v[] = {1.4, 1.0}, i[] = {0, -2};
    struct curve curve = {t, v, i, 2};
    struct curve_options options = {NAN, 1.2, NAN};
    struct curve_measures out;
    assert_ok(curve_measure(&curve, &options, &out));
    assert_close(out.charge, 0.25 * 3600, 1e-13);
    assert_close(out.energy, 0.5 * 3600 * 1.2 * 1 / 2, 1e-13); /* trapezoid of 0 and 1.2 W */
}

/* A cell that is below the end voltage from the start gives nothing. */
static void empty_from_the_start(void **state)
{
    (void)state;
    const double t[] = {0, 10}, v[] = {0.95, 0.9}, i[] = {-1, -1};
    struct curve curve = {t, v, i, 2};
    struct curve_options options = {3600, 1.0, NAN};
    struct curve_measures out;
    assert_ok(curve_measure(&curve, &options, &out));
    assert_true(out.reached && out.charge == 0 && out.of_rating == 0);
    assert_nan(out.mid_voltage);
    assert_nan(out.mean_voltage);
}

static void gaps_are_told_and_not_bridged(void **state)
{
    (void)state;
    const double t[] = {0, 10, 20, 620, 630}, v[] = {1.3, 1.3, 1.3, 1.2, 1.2},
                 i[] = {-1, -1, -1, -1, -1};
    struct curve curve = {t, v, i, 5};
    struct curve_options options = {NAN, NAN, 60};
    struct curve_measures out;
    assert_ok(curve_measure(&curve, &options, &out));
    assert_true(out.gaps == 1 && out.gap_time == 600);
    assert_true(out.charge == 30 && out.duration == 30);
    assert_close(out.mid_voltage, 1.3, 1e-14);
    assert_ok(curve_measure(&curve, &plain, &out));
    assert_true(out.gaps == 0 && out.charge == 630);
}

static void a_rest_has_no_charge(void **state)
{
    (void)state;
    const double t[] = {0, 10, 20}, v[] = {1.31, 1.32, 1.33}, i[] = {0, 0, 0};
    struct curve curve = {t, v, i, 3};
    struct curve_options options = {3600, 1.0, NAN};
    struct curve_measures out;
    assert_ok(curve_measure(&curve, &options, &out));
    assert_true(out.charge == 0 && !out.reached);
    assert_nan(out.mid_voltage);
    assert_close(out.mean_voltage, 1.32, 1e-14);
}

/* 160 % of the rating put in, 100 % given back (0.1 It for 16 h; common practice, no source). */
static void efficiency(void **state)
{
    (void)state;
    double efficiency;
    assert_ok(curve_efficiency(2.0, 3.2, &efficiency));
    assert_close(efficiency, 0.625, 1e-15);
    assert_int_equal(curve_efficiency(2.0, 0, &efficiency), ANALYSIS_OUT_OF_RANGE);
    assert_nan(efficiency);
}

static void refuses_nonsense(void **state)
{
    (void)state;
    double t[] = {0, 10, 20}, v[] = {1.3, 1.3, 1.3}, i[] = {-1, -1, -1};
    struct curve curve = {t, v, i, 0};
    struct curve_measures out;
    assert_int_equal(curve_measure(&curve, &plain, &out), ANALYSIS_NO_DATA);
    assert_nan(out.charge);
    curve.count = 1;
    assert_int_equal(curve_measure(&curve, &plain, &out), ANALYSIS_TOO_FEW);
    curve.count = 3;
    v[1] = NAN;
    assert_int_equal(curve_measure(&curve, &plain, &out), ANALYSIS_NOT_FINITE);
    assert_nan(out.energy);
    v[1] = 1.3;
    t[1] = 30;
    assert_int_equal(curve_measure(&curve, &plain, &out), ANALYSIS_TIME_ORDER);
    t[1] = 10;
    i[2] = 5;
    assert_int_equal(curve_measure(&curve, &plain, &out), ANALYSIS_MIXED_DIRECTIONS);
    i[2] = -1;
    struct curve_options options = {0, NAN, NAN};
    assert_int_equal(curve_measure(&curve, &options, &out), ANALYSIS_OUT_OF_RANGE);
    assert_nan(out.of_rating);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(constant_current),
        cmocka_unit_test(ramp),
        cmocka_unit_test(half_sine),
        cmocka_unit_test(decaying_current),
        cmocka_unit_test(end_voltage_between_samples),
        cmocka_unit_test(current_at_the_end_voltage),
        cmocka_unit_test(empty_from_the_start),
        cmocka_unit_test(gaps_are_told_and_not_bridged),
        cmocka_unit_test(a_rest_has_no_charge),
        cmocka_unit_test(efficiency),
        cmocka_unit_test(refuses_nonsense),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
