/* Propagation of uncertainty against the worked examples of the GUM (JCGM 100:2008), and its Table
 * G.2 of t factors. Published figures have two or three digits; those with more were recomputed in
 * double precision from the same data with a public statistics language. */
#include "analysis/check.h"

#include "analysis/uncertainty.h"

/* JCGM 100:2008, G.4.1, example: relative uncertainties of a product, in percent, from 10, 5 and 15
 * readings. Published: combined 1.03 %, 19.0 degrees of freedom, t 2.09, U 2.2 %. */
static void gum_g41(void **state)
{
    (void)state;
    const struct uncertainty_input inputs[] = {{1, 0.25, 9}, {1, 0.57, 4}, {1, 0.82, 14}};
    struct uncertainty out;
    assert_ok(uncertainty_combine(inputs, 3, NULL, 0.95, &out));
    assert_within(out.standard, 1.03, 0.005);
    assert_within(out.freedom, 19.0, 0.05);
    assert_close(out.freedom, 18.9987423143, 1e-10);
    assert_within(coverage_factor(0.95, 19), 2.09, 0.005);
    assert_within(out.expanded, 2.2, 0.05);
}

/* JCGM 100:2008, H.1, end gauge; nm, degC. Published: u 32 nm, 16 degrees of freedom, t99 2.92,
 * U99 93 nm. */
static void gum_h1_end_gauge(void **state)
{
    (void)state;
    const double length = 50000623;
    const struct uncertainty_input difference[] = {{1, 5.8, 24}, {1, 3.9, 5}, {1, 6.7, 8}};
    struct uncertainty d, out;
    assert_ok(uncertainty_combine(difference, 3, NULL, 0.99, &d));
    assert_within(d.standard, 9.7, 0.05);
    assert_within(d.freedom, 25.6, 0.2); /* published 25.6 from rounded parts; exactly 25.4 */

    const struct uncertainty_input inputs[] = {
        {1, 25, 18},
        {1, d.standard, d.freedom},
        {-length * -0.1, type_b_rectangular(1e-6), type_b_freedom(0.10)},    /* of d alpha: 2.9 */
        {-length * 11.5e-6, type_b_rectangular(0.05), type_b_freedom(0.50)}, /* of d theta: 16.6 */
        {0, type_b_rectangular(2e-6), INFINITY},                             /* alpha */
        {0, hypot(0.2, type_b_arcsine(0.5)), INFINITY},                      /* theta */
    };
    assert_within(inputs[2].sensitivity * inputs[2].standard, 2.9, 0.05);
    assert_within(-inputs[3].sensitivity * inputs[3].standard, 16.6, 0.05);
    assert_near(inputs[2].freedom, 50, 1e-12); /* G.4.2: unsure by 10 % */
    assert_near(inputs[3].freedom, 2, 1e-12);  /* unsure by 50 % */
    assert_within(inputs[5].standard, 0.41, 0.005);
    assert_ok(uncertainty_combine(inputs, 6, NULL, 0.99, &out));
    assert_within(out.standard, 32, 0.5);
    assert_close(out.standard, 31.663879111, 1e-10);
    assert_close(out.freedom, 16.7518557376, 1e-10);
    assert_within(out.coverage, 2.92, 0.005);
    assert_within(out.expanded, 93, 0.6); /* published from 2.92 * 32; unrounded 92.5 */
}

/* JCGM 100:2008, H.2: resistance and reactance from voltage, current and phase, read together five
 * times. Published: 127.732, 219.847, 254.260 ohm; u 0.071, 0.295, 0.236; r -0.588, -0.485,
 * 0.993. */
static void gum_h2_correlated(void **state)
{
    (void)state;
    const double readings[] = {5.007,     19.663e-3, 1.0456,    4.994,     19.639e-3,
                               1.0438,    5.005,     19.640e-3, 1.0468,    4.990,
                               19.685e-3, 1.0428,    4.999,     19.678e-3, 1.0433};
    double mean[3], v[9];
    assert_ok(uncertainty_of_means(readings, 5, 3, mean, v));
    assert_close(mean[0], 4.9990, 1e-14);
    assert_close(mean[1], 19.6610e-3, 1e-14);
    assert_close(mean[2], 1.04446, 1e-14);
    assert_within(sqrt(v[0]), 0.0032, 0.00005);
    assert_within(sqrt(v[4]), 0.0095e-3, 0.00005e-3);
    assert_within(sqrt(v[8]), 0.00075, 0.000005);
    assert_within(v[1] / sqrt(v[0] * v[4]), -0.36, 0.005);
    assert_within(v[2] / sqrt(v[0] * v[8]), 0.86, 0.005);
    assert_within(v[5] / sqrt(v[4] * v[8]), -0.65, 0.005);

    double ratio = mean[0] / mean[1], c = cos(mean[2]), s = sin(mean[2]);
    assert_within(ratio * c, 127.732, 0.0005);
    assert_within(ratio * s, 219.847, 0.0005);
    assert_within(ratio, 254.260, 0.0005);
    const double jacobian[] = {c / mean[1], -ratio * c / mean[1], -ratio * s,
                               s / mean[1], -ratio * s / mean[1], ratio * c,
                               1 / mean[1], -ratio / mean[1],     0};
    double out[9];
    assert_ok(uncertainty_propagate(jacobian, 3, 3, v, out));
    assert_close(sqrt(out[0]), 0.071071407397, 1e-9);
    assert_close(sqrt(out[4]), 0.295581677359, 1e-9);
    assert_close(sqrt(out[8]), 0.236336130082, 1e-9);
    assert_close(out[1] / sqrt(out[0] * out[4]), -0.588429784424, 1e-9);
    assert_close(out[2] / sqrt(out[0] * out[8]), -0.485259224210, 1e-9);
    assert_close(out[5] / sqrt(out[4] * out[8]), 0.992511648949, 1e-9);

    /* The same for R alone, by sensitivities and a correlation matrix; without it 2.7 times too
     * much. Inputs read together five times leave four degrees of freedom. */
    struct uncertainty_input inputs[3];
    double r[9];
    for (size_t i = 0; i < 3; i++) {
        inputs[i] = (struct uncertainty_input){jacobian[i], sqrt(v[i * 4]), 4};
        for (size_t j = 0; j < 3; j++)
            r[i * 3 + j] = i == j ? 1 : v[i * 3 + j] / sqrt(v[i * 4] * v[j * 4]);
    }
    struct uncertainty resistance;
    assert_ok(uncertainty_combine(inputs, 3, r, 0.95, &resistance));
    assert_close(resistance.standard, 0.071071407397, 1e-9);
    assert_close(resistance.freedom, 4, 1e-12);
    assert_within(resistance.coverage, 2.776, 0.0005);
    assert_ok(uncertainty_combine(inputs, 3, NULL, 0.95, &resistance));
    assert_close(resistance.standard, 0.194544454489, 1e-9);
}

/* JCGM 100:2008, Table G.2: t for 68.27, 90, 95, 95.45, 99 and 99.73 %. */
static void t_factors(void **state)
{
    (void)state;
    const double levels[] = {0.6827, 0.90, 0.95, 0.9545, 0.99, 0.9973};
    const struct {
        double freedom, t[6];
    } rows[] = {
        {1, {1.837, 6.314, 12.706, 13.968, 63.657, 235.784}},
        {2, {1.321, 2.920, 4.303, 4.527, 9.925, 19.206}},
        {3, {1.197, 2.353, 3.182, 3.307, 5.841, 9.219}},
        {4, {1.142, 2.132, 2.776, 2.869, 4.604, 6.620}},
        {5, {1.111, 2.015, 2.571, 2.649, 4.032, 5.507}},
        {6, {1.091, 1.943, 2.447, 2.517, 3.707, 4.904}},
        {7, {1.077, 1.895, 2.365, 2.429, 3.499, 4.530}},
        {8, {1.067, 1.860, 2.306, 2.366, 3.355, 4.277}},
        {9, {1.059, 1.833, 2.262, 2.320, 3.250, 4.094}},
        {10, {1.053, 1.812, 2.228, 2.284, 3.169, 3.957}},
        {15, {1.034, 1.753, 2.131, 2.181, 2.947, 3.586}},
        {20, {1.026, 1.725, 2.086, 2.133, 2.845, 3.422}},
        {30, {1.017, 1.697, 2.042, 2.087, 2.750, 3.270}},
        {INFINITY, {1.000, 1.645, 1.960, 2.000, 2.576, 3.000}},
    };
    for (size_t i = 0; i < COUNT(rows); i++) {
        for (size_t j = 0; j < 6; j++)
            assert_within(coverage_factor(levels[j], rows[i].freedom), rows[i].t[j], 0.000501);
    }
}

/* Freedom is cut down to a whole number, but not by a rounding error. */
static void freedom_is_truncated(void **state)
{
    (void)state;
    assert_true(coverage_factor(0.95, 7.9) == coverage_factor(0.95, 7));
    assert_true(coverage_factor(0.95, 8 - 1e-14) == coverage_factor(0.95, 8));
    assert_nan(coverage_factor(0.95, 0.99));
    assert_nan(coverage_factor(1, 8));
}

/* Half widths to standard uncertainties: JCGM 100:2008, 4.3.7, 4.3.9, H.1.3.2, F.2.2.1 (1 mV of
 * resolution is 0.2887 mV). */
static void type_b(void **state)
{
    (void)state;
    assert_close(type_b_rectangular(1), 0.57735026918962576, 1e-15);
    assert_close(type_b_triangular(1), 0.40824829046386302, 1e-15);
    assert_close(type_b_arcsine(1), 0.70710678118654752, 1e-15);
    assert_within(type_b_resolution(1e-3), 0.2887e-3, 0.00005e-3);
    assert_close(type_b_freedom(0.25), 8, 1e-15);
    assert_nan(type_b_rectangular(-1));
    assert_nan(type_b_freedom(0));
}

/* Two readings that are off alike: their difference is sure, their sum is not. */
static void full_correlation_cancels(void **state)
{
    (void)state;
    const struct uncertainty_input minus[] = {{1, 0.3, INFINITY}, {-1, 0.3, INFINITY}};
    const struct uncertainty_input plus[] = {{1, 0.3, INFINITY}, {1, 0.3, INFINITY}};
    const double r[] = {1, 1, 1, 1};
    struct uncertainty out;
    assert_ok(uncertainty_combine(minus, 2, r, 0.95, &out));
    assert_true(out.standard == 0 && out.expanded == 0 && isinf(out.freedom));
    assert_ok(uncertainty_combine(plus, 2, r, 0.95, &out));
    assert_close(out.standard, 0.6, 1e-14);
    assert_close(out.expanded, 1.959963984540054 * 0.6, 1e-12);
}

static void refuses_nonsense(void **state)
{
    (void)state;
    struct uncertainty out;
    struct uncertainty_input one = {1, 0.5, 3}, two[] = {{1, 0.5, 3}, {1, 0.5, 3}};
    assert_int_equal(uncertainty_combine(&one, 0, NULL, 0.95, &out), ANALYSIS_NO_DATA);
    assert_nan(out.standard);
    assert_int_equal(uncertainty_combine(&one, 1, NULL, 95, &out), ANALYSIS_OUT_OF_RANGE);
    one.standard = -0.5;
    assert_int_equal(uncertainty_combine(&one, 1, NULL, 0.95, &out), ANALYSIS_OUT_OF_RANGE);
    one.standard = NAN;
    assert_int_equal(uncertainty_combine(&one, 1, NULL, 0.95, &out), ANALYSIS_NOT_FINITE);
    assert_nan(out.expanded);
    const double lopsided[] = {1, 0.5, 0.4, 1}, too_much[] = {1, 1.5, 1.5, 1};
    assert_int_equal(uncertainty_combine(two, 2, lopsided, 0.95, &out), ANALYSIS_OUT_OF_RANGE);
    assert_int_equal(uncertainty_combine(two, 2, too_much, 0.95, &out), ANALYSIS_OUT_OF_RANGE);

    /* Three quantities cannot all be opposite to one another. */
    const struct uncertainty_input three[] = {{1, 1, 3}, {1, 1, 3}, {1, 1, 3}};
    const double impossible[] = {1, -1, -1, -1, 1, -1, -1, -1, 1};
    assert_int_equal(uncertainty_combine(three, 3, impossible, 0.95, &out), ANALYSIS_OUT_OF_RANGE);

    double mean[1], v[1];
    const double reading = 1.2;
    assert_int_equal(uncertainty_of_means(&reading, 1, 1, mean, v), ANALYSIS_TOO_FEW);
    assert_true(mean[0] == 1.2 && isnan(v[0]));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(gum_g41),
        cmocka_unit_test(gum_h1_end_gauge),
        cmocka_unit_test(gum_h2_correlated),
        cmocka_unit_test(t_factors),
        cmocka_unit_test(freedom_is_truncated),
        cmocka_unit_test(type_b),
        cmocka_unit_test(full_correlation_cancels),
        cmocka_unit_test(refuses_nonsense),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
