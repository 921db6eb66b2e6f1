/* Mean and scatter against NIST's univariate reference sets (Statistical Reference Datasets,
 * certified values; public domain), Grubbs' critical values, repeated readings. */
#include "analysis/check.h"

#include <stdlib.h>

#include "analysis/summary.h"

static void check_nist(const double *x, size_t count, double mean, double sd, double mean_tolerance,
                       double sd_tolerance)
{
    struct summary out;
    assert_ok(summary_of(x, count, 0.95, &out));
    assert_close(out.mean, mean, mean_tolerance);
    assert_close(out.sd, sd, sd_tolerance);
    assert_close(out.standard_error, sd / sqrt((double)count), sd_tolerance + 1e-15);
}

/* NumAcc1 to NumAcc4. The last two hold numbers such as 10000000.2 that no double is equal to: what
 * is stored has a standard deviation off by up to 1e-10 and 1e-8 of 0.1, and that one is found to
 * the last digits. */
static void nist_numacc(void **state)
{
    (void)state;
    const double one[] = {10000001, 10000003, 10000002};
    check_nist(one, 3, 10000002, 1, 0, 0);
    const struct {
        double first, low, high, sd_tolerance;
    } series[] = {{1.2, 1.1, 1.3, 1e-14},
                  {1000000.2, 1000000.1, 1000000.3, 1e-9},
                  {10000000.2, 10000000.1, 10000000.3, 1e-8}};
    for (size_t s = 0; s < COUNT(series); s++) {
        double x[1001] = {series[s].first};
        for (size_t i = 1; i < 1001; i++)
            x[i] = i % 2 == 1 ? series[s].low : series[s].high;
        check_nist(x, 1001, series[s].first, 0.1, 2e-16, series[s].sd_tolerance);
    }
}

/* The scatter of what is stored, exactly: differences from 10000000.2 as the doubles have them. */
static void nist_numacc4_as_stored(void **state)
{
    (void)state;
    double x[1001];
    long double sum = 0, squares = 0;
    for (size_t i = 0; i < 1001; i++) {
        x[i] = i == 0 ? 10000000.2 : i % 2 == 1 ? 10000000.1 : 10000000.3;
        sum += (long double)x[i] - 10000000.2;
    }
    for (size_t i = 0; i < 1001; i++) {
        long double d = (long double)x[i] - 10000000.2 - sum / 1001;
        squares += d * d;
    }
    struct summary out;
    assert_ok(summary_of(x, 1001, 0.95, &out));
    assert_close(out.sd, (double)sqrtl(squares / 1000), 1e-14);
}

/* Doubles of 2^52 and more have no halves: the mean of these two is rounded by a half, their
 * scatter is sqrt(1/2) all the same. */
static void mean_between_doubles(void **state)
{
    (void)state;
    const double x[] = {0x1p52 + 1, 0x1p52 + 2};
    struct summary out;
    assert_ok(summary_of(x, 2, 0.95, &out));
    assert_close(out.sd, sqrt(0.5), 1e-15);
}

static void nist_michelson(void **state)
{
    (void)state;
    const double last_digits[] = {
        850,  740, 900, 1070, 930, 850, 950, 980, 980, 880, 1000, 980, 930, 650, 760, 810, 1000,
        1000, 960, 960, 960,  940, 960, 940, 880, 800, 850, 880,  900, 840, 830, 790, 810, 880,
        880,  830, 800, 790,  760, 800, 880, 880, 880, 860, 720,  720, 620, 860, 970, 950, 880,
        910,  850, 870, 840,  840, 850, 840, 840, 840, 890, 810,  810, 820, 800, 770, 760, 740,
        750,  760, 910, 920,  890, 860, 880, 720, 840, 850, 850,  780, 890, 840, 780, 810, 760,
        810,  790, 810, 820,  850, 870, 870, 810, 740, 810, 940,  950, 800, 810, 870};
    double x[100];
    assert_true(COUNT(last_digits) == 100);
    for (size_t i = 0; i < 100; i++)
        x[i] = (299000 + last_digits[i]) / 1000;
    check_nist(x, 100, 299.8524, 0.0790105478190518, 2e-16, 1e-13);
}

static void nist_mavro(void **state)
{
    (void)state;
    const double last_digits[] = {18, 17, 18, 19, 18, 17, 15, 14, 15, 15, 17, 18, 18,
                                  19, 19, 21, 20, 16, 14, 13, 13, 15, 15, 16, 15, 14,
                                  13, 14, 15, 14, 15, 16, 15, 16, 19, 20, 20, 21, 22,
                                  23, 24, 25, 27, 26, 26, 26, 27, 26, 25, 24};
    double x[50];
    assert_true(COUNT(last_digits) == 50);
    for (size_t i = 0; i < 50; i++)
        x[i] = (20000 + last_digits[i]) / 10000;
    check_nist(x, 50, 2.001856, 0.000429123454003053, 2e-16, 1e-11);
}

/* Student's t interval of three values by hand: mean 2, sd 1, t 4.303 (JCGM 100:2008, Table
 * G.2). */
static void interval_and_quartiles(void **state)
{
    (void)state;
    const double x[] = {3, 1, 2};
    struct summary out;
    assert_ok(summary_of(x, 3, 0.95, &out));
    assert_within(out.high, 2 + 4.303 / sqrt(3), 0.0005);
    assert_within(out.low, 2 - 4.303 / sqrt(3), 0.0005);
    assert_true(out.minimum == 1 && out.lower_quartile == 1.5 && out.median == 2 &&
                out.upper_quartile == 2.5 && out.maximum == 3);
    const double even[] = {4, 1, 3, 2};
    double q;
    assert_ok(summary_of(even, 4, 0.95, &out));
    assert_true(out.median == 2.5);
    assert_ok(summary_quantile(even, 4, 0.9, &q));
    assert_close(q, 3.7, 1e-14);
    assert_int_equal(summary_quantile(even, 4, 1.1, &q), ANALYSIS_OUT_OF_RANGE);
    assert_nan(q);
}

/* Two-sided critical values at 5 % for n = 3 to 10 (F. E. Grubbs, Technometrics 11, 1969, as
 * recomputed in double precision elsewhere). */
static void grubbs_critical_values(void **state)
{
    (void)state;
    const double critical[] = {1.1543, 1.4812, 1.7150, 1.8871, 2.0200, 2.1266, 2.2150, 2.2900};
    for (size_t i = 0; i < COUNT(critical); i++)
        assert_within(outlier_critical(i + 3, 0.05), critical[i], 0.000051);
    assert_nan(outlier_critical(2, 0.05));
}

static void outliers_are_flagged_and_kept(void **state)
{
    (void)state;
    const double mah[] = {1950, 1962, 1941, 1958, 1720, 1949};
    struct outlier out;
    assert_ok(summary_outlier(mah, 6, 0.05, &out));
    assert_true(out.found && out.index == 4 && out.distance > out.critical);
    const double sound[] = {1950, 1962, 1941, 1958, 1930, 1949};
    assert_ok(summary_outlier(sound, 6, 0.05, &out));
    assert_true(!out.found && out.index == 4);
    assert_int_equal(summary_outlier(sound, 2, 0.05, &out), ANALYSIS_TOO_FEW);
    assert_true(!out.found && isnan(out.distance));
}

static void statements_instead_of_numbers(void **state)
{
    (void)state;
    const double x[] = {1950, NAN, 1940}, alike[] = {1950.7, 1950.7, 1950.7};
    struct summary out;
    assert_int_equal(summary_of(x, 0, 0.95, &out), ANALYSIS_NO_DATA);
    assert_nan(out.mean);
    assert_int_equal(summary_of(x, 3, 0.95, &out), ANALYSIS_NOT_FINITE);
    assert_nan(out.mean);
    assert_int_equal(summary_of(x, 1, 0.95, &out), ANALYSIS_ONE_CELL);
    assert_true(out.mean == 1950 && isnan(out.sd) && isnan(out.low));
    assert_int_equal(summary_of(alike, 3, 0.95, &out), ANALYSIS_NO_SPREAD);
    assert_true(out.mean == 1950.7 && out.sd == 0 && isnan(out.low) && isnan(out.high));
    assert_int_equal(summary_of(x, 1, 0, &out), ANALYSIS_OUT_OF_RANGE);
}

static void ratings_are_not_mixed(void **state)
{
    (void)state;
    double rated[] = {7200, 7200, 7200};
    assert_ok(summary_one_rating(rated, 3));
    rated[2] = 7560;
    assert_int_equal(summary_one_rating(rated, 3), ANALYSIS_MIXED_RATINGS);
    rated[2] = NAN;
    assert_int_equal(summary_one_rating(rated, 3), ANALYSIS_NOT_FINITE);
    rated[2] = 0;
    assert_int_equal(summary_one_rating(rated, 3), ANALYSIS_OUT_OF_RANGE);
}

/* JCGM 100:2008, H.5: a 10 V standard on ten days, five readings a day, in microvolts above 10 V
 * (data from memory). Published: F 2.25; u 18 (57/sqrt(10)). Recomputed: means' sd 57.09,
 * pooled 84.89, F 2.2615, u 18.053, between days 42.64. */
static void gum_h5_repeated_readings(void **state)
{
    (void)state;
    const double means[] = {172, 116, 13, 144, 106, 31, 60, 125, 163, 41};
    const double sds[] = {60, 77, 111, 101, 67, 93, 80, 73, 88, 86};
    struct repeats out;
    assert_ok(summary_of_group_means(means, sds, 10, 5, &out));
    assert_close(out.mean, 97.1, 1e-14);
    assert_close(out.within, 84.8869836901, 1e-11);
    assert_close(out.between, 42.6386105673, 1e-11);
    assert_close(out.standard_error, 18.0532853274, 1e-11);
    assert_close(out.f, 2.26151926997, 1e-11);
    assert_true(out.freedom == 9);
    assert_true(out.p > 0.025 && out.p < 0.05); /* published: significant at 5 %, not at 2.5 % */
}

/* One cell put into the holder five times, thrice read each time, from the readings themselves. */
static void repeats_from_readings(void **state)
{
    (void)state;
    const double mohm[] = {24, 25, 26, 30, 31, 32, 26, 27, 28, 22, 23, 24, 27, 28, 29};
    struct repeats out;
    assert_ok(summary_of_repeats(mohm, 5, 3, &out));
    assert_close(out.within, 1, 1e-14);
    /* Group means 25 31 27 23 28: mean 26.8, variance 9.2; between: 9.2 - 1/3. */
    assert_close(out.mean, 26.8, 1e-14);
    assert_close(out.between, sqrt(9.2 - 1.0 / 3), 1e-13);
    assert_close(out.standard_error, sqrt(9.2 / 5), 1e-13);
    assert_int_equal(summary_of_repeats(mohm, 1, 3, &out), ANALYSIS_TOO_FEW);
    assert_true(out.mean == 25 && isnan(out.within));
    assert_int_equal(summary_of_repeats(mohm, 5, 1, &out), ANALYSIS_TOO_FEW);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nist_numacc),
        cmocka_unit_test(nist_numacc4_as_stored),
        cmocka_unit_test(mean_between_doubles),
        cmocka_unit_test(nist_michelson),
        cmocka_unit_test(nist_mavro),
        cmocka_unit_test(interval_and_quartiles),
        cmocka_unit_test(grubbs_critical_values),
        cmocka_unit_test(outliers_are_flagged_and_kept),
        cmocka_unit_test(statements_instead_of_numbers),
        cmocka_unit_test(ratings_are_not_mixed),
        cmocka_unit_test(gum_h5_repeated_readings),
        cmocka_unit_test(repeats_from_readings),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
