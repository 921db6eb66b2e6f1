/* Comparison of groups: NIST's analysis of variance sets (Statistical Reference Datasets, certified
 * values; public domain), worked examples of Welch and Holm, letters. */
#include "analysis/check.h"

#include <string.h>

#include "analysis/compare.h"

#define GROUP(array)                                                                               \
    {                                                                                              \
        (array), COUNT(array)                                                                      \
    }

/* SiRstv: resistivity of silicon by five instruments. */
static const double si1[] = {196.3052, 196.1240, 196.1890, 196.2569, 196.3403};
static const double si2[] = {196.3042, 196.3825, 196.1669, 196.3257, 196.0422};
static const double si3[] = {196.1303, 196.2005, 196.2889, 196.0343, 196.1811};
static const double si4[] = {196.2795, 196.1748, 196.1494, 196.1485, 195.9885};
static const double si5[] = {196.2119, 196.1051, 196.1850, 196.0052, 196.2090};
static const struct group silicon[] = {GROUP(si1), GROUP(si2), GROUP(si3), GROUP(si4), GROUP(si5)};

static void nist_sirstv(void **state)
{
    (void)state;
    struct variance_analysis out;
    assert_ok(compare_anova(silicon, 5, &out));
    assert_close(out.between_squares, 5.11462616000000e-02, 1e-11);
    assert_close(out.within_squares, 2.16636560000000e-01, 1e-11);
    assert_close(out.f, 1.18046237440255, 1e-11);
    assert_close(out.r_squared, 1.90999039051129e-01, 1e-11);
    assert_close(out.residual_sd, 1.04076068334656e-01, 1e-11);
    assert_true(out.between_freedom == 4 && out.within_freedom == 20);
    assert_within(out.p, 0.34945, 0.000005);
    /* Welch's on the same data, as recomputed. */
    assert_ok(compare_welch_anova(silicon, 5, &out));
    assert_within(out.f, 1.0516037, 0.5e-7);
    assert_within(out.within_freedom, 9.9515054, 0.5e-7);
    assert_within(out.p, 0.428863, 0.5e-6);
}

/* AtmWtAg: atomic weight of silver, seven leading digits alike. */
static void nist_atmwtag(void **state)
{
    (void)state;
    const double one[] = {1568, 1465, 1572, 1785, 1446, 1903, 1526, 1494, 1616, 1587, 1519, 1486,
                          1419, 1569, 1508, 1672, 1385, 1518, 1662, 1424, 1360, 1333, 1610, 1477};
    const double two[] = {1079, 1344, 1513, 1197, 1604, 1385, 1642, 1365, 1151, 1082, 1517, 1448,
                          1198, 1482, 1334, 1609, 1101, 1512, 1469, 1360, 1254, 1261, 1450, 1368};
    double x[2][24];
    for (size_t i = 0; i < 24; i++) {
        x[0][i] = (1078680000 + one[i]) / 1e7;
        x[1][i] = (1078680000 + two[i]) / 1e7;
    }
    const struct group groups[] = {{x[0], 24}, {x[1], 24}};
    struct variance_analysis out;
    assert_ok(compare_anova(groups, 2, &out));
    assert_close(out.between_squares, 3.63834187500000e-09, 1e-8);
    assert_close(out.within_squares, 1.04951729166667e-08, 1e-8);
    assert_close(out.f, 1.59467335677930e+01, 1e-8);
    assert_close(out.residual_sd, 1.51048314446410e-05, 1e-8);
}

/* SmLs01, SmLs04, SmLs07: nine groups of 21 (S. D. Simon, J. P. Lesage, Comput. Stat. Data Anal. 8,
 * 1989), values as 1.4, 1000000.4 and 1000000000000.4. F is 21. At 10^12 a double itself is only
 * good to 10^-4 against a scatter of 0.1, so the data as stored have an F off by up to some
 * 10^-3. */
static void nist_smls(void **state)
{
    (void)state;
    const double base[] = {14, 13, 15, 13, 15, 13, 15, 13, 15};
    const struct {
        double offset, tolerance;
    } series[] = {{0, 1e-13}, {1e6, 1e-8}, {1e12, 1e-2}};
    for (size_t s = 0; s < COUNT(series); s++) {
        double x[9][21];
        struct group groups[9];
        for (size_t g = 0; g < 9; g++) {
            for (size_t i = 0; i < 21; i++) {
                double tenths = base[g] + (i == 0 ? 0 : i % 2 == 1 ? -1 : 1);
                x[g][i] = (series[s].offset * 10 - (s == 0 ? 0 : 10) + tenths) / 10;
            }
            groups[g] = (struct group){x[g], 21};
        }
        struct variance_analysis out;
        assert_ok(compare_anova(groups, 9, &out));
        assert_close(out.f, 21, series[s].tolerance);
        assert_close(out.between_squares, 1.68, series[s].tolerance);
        assert_close(out.within_squares, 1.80, series[s].tolerance);
        assert_close(out.residual_sd, 0.1, series[s].tolerance);
        assert_close(out.r_squared, 4.82758620689655e-01, series[s].tolerance);
        assert_true(out.between_freedom == 8 && out.within_freedom == 180);
    }
}

/* SmLs07 as stored, its sums of squares taken in extended precision: found to the last digits. */
static void nist_smls07_as_stored(void **state)
{
    (void)state;
    const double base[] = {14, 13, 15, 13, 15, 13, 15, 13, 15};
    double x[9][21];
    struct group groups[9];
    long double means[9] = {0}, mean = 0, between = 0, within = 0;
    for (size_t g = 0; g < 9; g++) {
        for (size_t i = 0; i < 21; i++) {
            x[g][i] = (1e13 - 10 + base[g] + (i == 0 ? 0 : i % 2 == 1 ? -1 : 1)) / 10;
            means[g] += ((long double)x[g][i] - 1e12L) / 21;
        }
        mean += means[g] / 9;
        groups[g] = (struct group){x[g], 21};
    }
    for (size_t g = 0; g < 9; g++) {
        between += 21 * (means[g] - mean) * (means[g] - mean);
        for (size_t i = 0; i < 21; i++) {
            long double residual = (long double)x[g][i] - 1e12L - means[g];
            within += residual * residual;
        }
    }
    struct variance_analysis out;
    assert_ok(compare_anova(groups, 9, &out));
    assert_close(out.between_squares, (double)between, 1e-13);
    assert_close(out.within_squares, (double)within, 1e-13);
    assert_close(out.f, (double)(between / 8 / (within / 180)), 1e-13);
}

/* Student's sleep data (Biometrika 6, 1908), unpaired; figures recomputed in double precision. */
static void welch_two(void **state)
{
    (void)state;
    const double first[] = {0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0, 2.0};
    const double second[] = {1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4};
    const struct group a = GROUP(first), b = GROUP(second);
    struct difference out;
    assert_ok(compare_two(&a, &b, 0.95, &out));
    assert_within(out.t, -1.8608135, 0.5e-7);
    assert_within(out.freedom, 17.776474, 0.5e-6);
    assert_within(out.p, 0.07939414, 0.5e-8);
    assert_within(out.low, -3.3654832, 0.5e-7);
    assert_within(out.high, 0.2054832, 0.5e-7);

    /* Capacities, mAh. */
    const double old[] = {1950, 1962, 1941, 1958}, new[] = {2010, 1985, 2032, 1999};
    const struct group o = GROUP(old), n = GROUP(new);
    assert_ok(compare_two(&o, &n, 0.95, &out));
    assert_within(out.t, -4.9071, 0.00005);
    assert_within(out.freedom, 4.2544, 0.00005);
    assert_within(out.p, 0.006826, 0.5e-6);
    assert_close(out.mean, -53.75, 1e-13);

    /* Hedges' g for six degrees of freedom: J is 1 - 3 / (4 m - 1) but for a thousandth
     * (Hedges 1981). */
    double squares = 0;
    for (size_t i = 0; i < 4; i++)
        squares += pow(old[i] - 1952.75, 2) + pow(new[i] - 2006.5, 2);
    assert_within(out.effect, -53.75 / sqrt(squares / 6) * (1 - 3.0 / 23), 0.01);
    /* Exactly: gamma(3) / (sqrt(3) gamma(2.5)), gamma(2.5) = 3 sqrt(pi) / 4. */
    double j = 2 / (sqrt(3) * 0.75 * sqrt(M_PI));
    assert_close(out.effect, -53.75 / sqrt(squares / 6) * j, 1e-13);
}

/* Welch's analysis of two groups is Welch's t, squared. */
static void welch_anova_of_two(void **state)
{
    (void)state;
    struct difference t;
    struct variance_analysis f;
    assert_ok(compare_two(&silicon[0], &silicon[3], 0.95, &t));
    const struct group pair[] = {silicon[0], silicon[3]};
    assert_ok(compare_welch_anova(pair, 2, &f));
    assert_close(f.f, t.t * t.t, 1e-11);
    assert_close(f.within_freedom, t.freedom, 1e-11);
    assert_close(f.p, t.p, 1e-10);
}

/* Worked examples: four values; and the fifteen of Y. Benjamini, Y. Hochberg, J. R. Stat. Soc. B
 * 57, 1995. */
static void holm(void **state)
{
    (void)state;
    const double four[] = {0.01, 0.04, 0.03, 0.005}, want[] = {0.03, 0.06, 0.06, 0.02};
    double out[15];
    assert_ok(compare_holm(four, 4, out));
    for (size_t i = 0; i < 4; i++)
        assert_close(out[i], want[i], 1e-14);
    const double fifteen[] = {.0001, .0004, .0019, .0095, .0201, .0278, .0298, .0344,
                              .0459, .3240, .4262, .5719, .6528, .7590, 1};
    const double starts[] = {.0015, .0056, .0247, .1140};
    assert_ok(compare_holm(fifteen, 15, out));
    for (size_t i = 0; i < 4; i++)
        assert_within(out[i], starts[i], 1e-12);
    for (size_t i = 1; i < 15; i++)
        assert_true(out[i] >= out[i - 1] && out[i] <= 1);
    double in_place[] = {0.01, 0.04, 0.03, 0.005};
    assert_ok(compare_holm(in_place, 4, in_place));
    assert_close(in_place[3], 0.02, 1e-14);
    const double wrong[] = {0.5, 1.5}, missing[] = {0.5, NAN};
    assert_int_equal(compare_holm(wrong, 2, out), ANALYSIS_OUT_OF_RANGE);
    assert_int_equal(compare_holm(missing, 2, out), ANALYSIS_NOT_FINITE);
    assert_nan(out[0]);
}

static void pairs_and_letters(void **state)
{
    (void)state;
    const double a[] = {2010, 2015, 2005, 2012}, b[] = {2002, 2009, 2011, 2004};
    const double c[] = {1950, 1955, 1945, 1952}, d[] = {1700, 1720, 1690, 1711};
    const struct group groups[] = {GROUP(d), GROUP(a), GROUP(c), GROUP(b)};
    struct pair pairs[PAIRS_OF(4)];
    group_letters letters[4];
    assert_true(COUNT(pairs) == 6);
    assert_ok(compare_pairs(groups, 4, 0.05, pairs));
    for (size_t i = 0; i < 6; i++) {
        assert_ok(pairs[i].status);
        assert_true(pairs[i].p_adjusted >= pairs[i].difference.p);
        assert_true(pairs[i].differ == !(pairs[i].a == 1 && pairs[i].b == 3));
    }
    const size_t order[] = {1, 3, 2, 0}; /* best first */
    assert_ok(compare_letters(pairs, 4, order, letters));
    assert_string_equal(letters[1], "a");
    assert_string_equal(letters[3], "a");
    assert_string_equal(letters[2], "b");
    assert_string_equal(letters[0], "c");
}

/* A chain: neighbours cannot be told apart, ends can. The middle shares letters with both. */
static void letters_of_a_chain(void **state)
{
    (void)state;
    struct pair pairs[6];
    group_letters letters[4];
    size_t at = 0;
    for (size_t a = 0; a < 4; a++) {
        for (size_t b = a + 1; b < 4; b++)
            pairs[at++] = (struct pair){.a = a, .b = b, .differ = b - a > 1};
    }
    assert_ok(compare_letters(pairs, 4, NULL, letters));
    assert_string_equal(letters[0], "a");
    assert_string_equal(letters[1], "ab");
    assert_string_equal(letters[2], "bc");
    assert_string_equal(letters[3], "c");
}

/* Whatever differs: two groups share a letter if and only if they do not differ. All 2^10 patterns
 * over five groups. */
static void letters_say_just_that(void **state)
{
    (void)state;
    for (unsigned pattern = 0; pattern < 1024; pattern++) {
        struct pair pairs[10];
        group_letters letters[5];
        size_t at = 0;
        for (size_t a = 0; a < 5; a++) {
            for (size_t b = a + 1; b < 5; b++, at++)
                pairs[at] = (struct pair){.a = a, .b = b, .differ = pattern >> at & 1};
        }
        assert_ok(compare_letters(pairs, 5, NULL, letters));
        for (size_t i = 0; i < 10; i++) {
            bool share = strpbrk(letters[pairs[i].a], letters[pairs[i].b]) != NULL;
            assert_true(share == !pairs[i].differ);
        }
        for (size_t g = 0; g < 5; g++)
            assert_true(strlen(letters[g]) > 0);
    }
}

static void statements_instead_of_numbers(void **state)
{
    (void)state;
    const double one[] = {1950}, alike[] = {1950, 1950}, other[] = {1900, 1900},
                 missing[] = {1950, NAN}, sound[] = {1950, 1960, 1940};
    const struct group g1 = GROUP(one), ga = GROUP(alike), go = GROUP(other), gm = GROUP(missing),
                       gs = GROUP(sound), none = {NULL, 0};
    struct difference d;
    assert_int_equal(compare_two(&g1, &gs, 0.95, &d), ANALYSIS_ONE_CELL);
    assert_true(d.mean == 0 && isnan(d.p) && isnan(d.low));
    assert_int_equal(compare_two(&ga, &go, 0.95, &d), ANALYSIS_NO_SPREAD);
    assert_true(d.mean == 50 && isnan(d.p));
    assert_int_equal(compare_two(&gm, &gs, 0.95, &d), ANALYSIS_NOT_FINITE);
    assert_int_equal(compare_two(&none, &gs, 0.95, &d), ANALYSIS_NO_DATA);
    assert_ok(compare_two(&ga, &gs, 0.95, &d)); /* one of the two scatters: that is enough */

    struct variance_analysis v;
    const struct group ones[] = {g1, g1}, alikes[] = {ga, go}, mixed[] = {g1, gs};
    assert_int_equal(compare_anova(ones, 2, &v), ANALYSIS_ONE_CELL);
    assert_int_equal(compare_anova(alikes, 2, &v), ANALYSIS_NO_SPREAD);
    assert_nan(v.f);
    assert_int_equal(compare_anova(&gs, 1, &v), ANALYSIS_TOO_FEW);
    assert_int_equal(compare_welch_anova(mixed, 2, &v), ANALYSIS_ONE_CELL);
    assert_int_equal(compare_welch_anova(alikes, 2, &v), ANALYSIS_NO_SPREAD);

    /* A pair that cannot be tested does not differ by any evidence. */
    struct pair pair;
    assert_int_equal(compare_pairs(mixed, 2, 0.05, &pair), ANALYSIS_ONE_CELL);
    assert_true(pair.status == ANALYSIS_ONE_CELL && !pair.differ && isnan(pair.p_adjusted));
    struct group many[65];
    static struct pair many_pairs[PAIRS_OF(65)];
    static group_letters letters[65];
    for (size_t i = 0; i < 65; i++)
        many[i] = gs;
    assert_ok(compare_pairs(many, 65, 0.05, many_pairs));
    assert_int_equal(compare_letters(many_pairs, 65, NULL, letters), ANALYSIS_TOO_MANY);
    assert_ok(compare_letters(many_pairs, 1, NULL, letters));
    assert_string_equal(letters[0], "a");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nist_sirstv),
        cmocka_unit_test(nist_atmwtag),
        cmocka_unit_test(nist_smls),
        cmocka_unit_test(nist_smls07_as_stored),
        cmocka_unit_test(welch_two),
        cmocka_unit_test(welch_anova_of_two),
        cmocka_unit_test(holm),
        cmocka_unit_test(pairs_and_letters),
        cmocka_unit_test(letters_of_a_chain),
        cmocka_unit_test(letters_say_just_that),
        cmocka_unit_test(statements_instead_of_numbers),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
