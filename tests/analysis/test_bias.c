/* Channel bias from reference runs: a complete table by hand, incomplete ones of known truth. */
#include "analysis/check.h"

#include "analysis/bias.h"
#include "base/random.h"

/* Three cells on two channels, mAh: a complete table, where bias is half of the mean difference.
 * The paired t test of the same six numbers (differences 6 8 7: mean 7, sd 1, t = 7 sqrt(3), 2
 * degrees of freedom) gives the standard error and, squared, F. */
static void complete_table(void **state)
{
    (void)state;
    const struct bias_run runs[] = {{0, 0, 1956}, {0, 1, 1950}, {1, 0, 1968},
                                    {1, 1, 1960}, {2, 0, 1947}, {2, 1, 1940}};
    struct channel_bias biases[2];
    struct bias_summary out;
    assert_ok(bias_of_channels(runs, 6, 3, 2, BIAS_ADDITIVE, biases, &out));
    assert_close(biases[0].bias, 3.5, 1e-10);
    assert_close(biases[1].bias, -3.5, 1e-10);
    assert_close(biases[0].standard_error, 0.5 / sqrt(3), 1e-9);
    assert_close(biases[1].standard_error, 0.5 / sqrt(3), 1e-9);
    assert_true(out.freedom == 2 && biases[0].runs == 3);
    assert_close(out.residual_sd, 1 / sqrt(2), 1e-9);
    assert_close(out.f, 147, 1e-8);
    assert_within(out.p, 0.0067, 0.00005); /* t 12.12 with 2 degrees of freedom */
}

/* Three cells on three channels, complete: every channel is as sure as the others,
 * s sqrt((1 - 1/3) / 3), also the one that is had from the others. */
static void all_channels_alike_sure(void **state)
{
    (void)state;
    const double values[] = {1956, 1950, 1949, 1968, 1960, 1961, 1947, 1940, 1941};
    struct bias_run runs[9];
    for (size_t i = 0; i < 9; i++)
        runs[i] = (struct bias_run){i / 3, i % 3, values[i]};
    struct channel_bias biases[3];
    struct bias_summary out;
    assert_ok(bias_of_channels(runs, 9, 3, 3, BIAS_ADDITIVE, biases, &out));
    for (size_t h = 0; h < 3; h++)
        assert_close(biases[h].standard_error, out.residual_sd * sqrt(2.0 / 9), 1e-9);
}

/* Not every cell on every channel: truth comes back, biases sum to 0. */
static void incomplete_table(void **state)
{
    (void)state;
    const double cell[] = {1950, 2010, 1890}, channel[] = {4, -1, -3};
    const size_t where[][2] = {{0, 0}, {0, 1}, {1, 1}, {1, 2}, {2, 2}, {2, 0}, {2, 1}};
    struct random random;
    random_seed(&random, 4);
    struct bias_run runs[14];
    for (size_t i = 0; i < 14; i++) {
        size_t c = where[i % 7][0], h = where[i % 7][1];
        runs[i] = (struct bias_run){c, h, cell[c] + channel[h] + 0.3 * random_normal(&random)};
    }
    struct channel_bias biases[3];
    struct bias_summary out;
    assert_ok(bias_of_channels(runs, 14, 3, 3, BIAS_ADDITIVE, biases, &out));
    double sum = 0;
    for (size_t h = 0; h < 3; h++) {
        assert_within(biases[h].bias, channel[h], 4 * biases[h].standard_error);
        assert_true(biases[h].standard_error > 0.05 && biases[h].standard_error < 0.3);
        sum += biases[h].bias;
    }
    assert_within(sum, 0, 1e-9);
    assert_true(out.freedom == 9 && out.p < 1e-6);
}

/* A gain that is off by a fraction is found as one, on cells of any size. */
static void relative_bias(void **state)
{
    (void)state;
    const double cell[] = {800, 2000, 3600}, gain[] = {1.01, 0.99};
    const double wobble[] = {1.0001, 0.9999, 1.0001};
    struct bias_run runs[6];
    for (size_t i = 0; i < 6; i++)
        runs[i] = (struct bias_run){i / 2, i % 2,
                                    cell[i / 2] * gain[i % 2] * (i % 2 ? wobble[i / 2] : 1)};
    struct channel_bias biases[2];
    struct bias_summary out;
    assert_ok(bias_of_channels(runs, 6, 3, 2, BIAS_RELATIVE, biases, &out));
    assert_within(biases[0].bias, sqrt(1.01 / 0.99) - 1, 1e-4);
    assert_within(biases[1].bias, sqrt(0.99 / 1.01) - 1, 1e-4);
    /* Of two channels both logarithms are equally sure; each error is in proportion to its gain. */
    assert_close(biases[0].standard_error / (1 + biases[0].bias),
                 biases[1].standard_error / (1 + biases[1].bias), 1e-9);
    double corrected, u;
    assert_ok(bias_correct(BIAS_RELATIVE, &biases[0], 2000 * 1.01, 4, &corrected, &u));
    assert_within(corrected, 2000 * 1.01 / (1 + biases[0].bias), 1e-9);
    assert_true(u > 4 / (1 + biases[0].bias));
}

static void correction(void **state)
{
    (void)state;
    const struct channel_bias bias = {3, 0.4, 5}, gain = {0.01, 0.001, 5};
    double corrected, u;
    assert_ok(bias_correct(BIAS_ADDITIVE, &bias, 1953, 0.3, &corrected, &u));
    assert_true(corrected == 1950);
    assert_close(u, 0.5, 1e-14);
    assert_ok(bias_correct(BIAS_RELATIVE, &gain, 2020, 2.02, &corrected, &u));
    assert_close(corrected, 2000, 1e-14);
    assert_close(u, hypot(2, 2000 * 0.001 / 1.01), 1e-13);
}

/* Five readings of a 1.2 V standard that is known to 0.1 mV. */
static void against_a_standard(void **state)
{
    (void)state;
    const double readings[] = {1.2021, 1.2019, 1.2020, 1.2022, 1.2018};
    struct channel_bias out;
    assert_ok(bias_from_standard(readings, 5, 1.2, 1e-4, BIAS_ADDITIVE, &out));
    assert_close(out.bias, 0.0020, 1e-10);
    double sd = sqrt(1e-7 / 4); /* of the readings: squares sum to 10 (0.1 mV)^2 */
    assert_close(out.standard_error, hypot(sd / sqrt(5), 1e-4), 1e-9);
    assert_ok(bias_from_standard(readings, 5, 1.2, 0, BIAS_RELATIVE, &out));
    assert_close(out.bias, 0.0020 / 1.2, 1e-10);
    assert_int_equal(bias_from_standard(readings, 1, 1.2, 1e-4, BIAS_ADDITIVE, &out),
                     ANALYSIS_ONE_CELL);
    assert_close(out.bias, 0.0021, 1e-10);
    assert_nan(out.standard_error);
}

static void statements_instead_of_numbers(void **state)
{
    (void)state;
    struct bias_run runs[] = {{0, 0, 1956}, {0, 1, 1950}, {1, 0, 1968},
                              {1, 1, 1960}, {2, 0, 1947}, {2, 1, 1940}};
    struct channel_bias biases[3];
    struct bias_summary out;
    assert_int_equal(bias_of_channels(runs, 0, 3, 2, BIAS_ADDITIVE, biases, &out),
                     ANALYSIS_NO_DATA);
    assert_int_equal(bias_of_channels(runs, 6, 3, 1, BIAS_ADDITIVE, biases, &out),
                     ANALYSIS_OUT_OF_RANGE);
    assert_int_equal(bias_of_channels(runs, 6, 3, 3, BIAS_ADDITIVE, biases, &out),
                     ANALYSIS_NOT_CONNECTED);
    assert_true(isnan(biases[0].bias) && isnan(out.p));
    const struct bias_run apart[] = {{0, 0, 1}, {0, 0, 2}, {1, 1, 3}, {1, 1, 4}};
    assert_int_equal(bias_of_channels(apart, 4, 2, 2, BIAS_ADDITIVE, biases, &out),
                     ANALYSIS_NOT_CONNECTED);
    assert_int_equal(bias_of_channels(runs, 2, 1, 2, BIAS_ADDITIVE, biases, &out),
                     ANALYSIS_TOO_FEW);
    runs[2].value = NAN;
    assert_int_equal(bias_of_channels(runs, 6, 3, 2, BIAS_ADDITIVE, biases, &out),
                     ANALYSIS_NOT_FINITE);
    runs[2].value = -1;
    assert_int_equal(bias_of_channels(runs, 6, 3, 2, BIAS_RELATIVE, biases, &out),
                     ANALYSIS_OUT_OF_RANGE);
    const struct bias_run exact[] = {{0, 0, 1956}, {0, 1, 1950}, {1, 0, 1966}, {1, 1, 1960}};
    assert_int_equal(bias_of_channels(exact, 4, 2, 2, BIAS_ADDITIVE, biases, &out),
                     ANALYSIS_NO_SPREAD);
    assert_close(biases[0].bias, 3, 1e-9);
    assert_nan(biases[0].standard_error);
    double corrected, u;
    assert_int_equal(bias_correct(BIAS_ADDITIVE, &biases[0], 1950, 1, &corrected, &u),
                     ANALYSIS_NOT_FINITE);
    assert_nan(corrected);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(complete_table),
        cmocka_unit_test(all_channels_alike_sure),
        cmocka_unit_test(incomplete_table),
        cmocka_unit_test(relative_bias),
        cmocka_unit_test(correction),
        cmocka_unit_test(against_a_standard),
        cmocka_unit_test(statements_instead_of_numbers),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
