/* Tests on ranks against worked examples (M. Hollander, D. A. Wolfe, Nonparametric Statistical
 * Methods, 1973: depression scale, permeability, mucociliary efficiency; p values recomputed). */
#include "analysis/check.h"

#include "analysis/ranks.h"

#define GROUP(array)                                                                               \
    {                                                                                              \
        (array), COUNT(array)                                                                      \
    }

static void mid_ranks(void **state)
{
    (void)state;
    const double x[] = {1.5, 1.2, 1.5, 1.9, 1.5}, want[] = {3, 1, 3, 5, 3};
    double ranks[5];
    assert_true(ranks_of(x, 5, ranks) == 24); /* three alike: 27 - 3 */
    for (size_t i = 0; i < 5; i++)
        assert_true(ranks[i] == want[i]);
}

static void kruskal_wallis(void **state)
{
    (void)state;
    const double a[] = {2.9, 3.0, 2.5, 2.6, 3.2}, b[] = {3.8, 2.7, 4.0, 2.4},
                 c[] = {2.8, 3.4, 3.7, 2.2, 2.0};
    const struct group groups[] = {GROUP(a), GROUP(b), GROUP(c)};
    struct rank_analysis out;
    assert_ok(ranks_kruskal_wallis(groups, 3, &out));
    assert_within(out.h, 0.7714286, 0.5e-7);
    assert_true(out.freedom == 2);
    assert_within(out.p, 0.6799648, 0.5e-7);
}

/* NIST's SiRstv has no ties but many digits: 4.3643077, p 0.358942 (recomputed). */
static void kruskal_wallis_silicon(void **state)
{
    (void)state;
    const double x[5][5] = {{.3052, .1240, .1890, .2569, .3403},
                            {.3042, .3825, .1669, .3257, .0422},
                            {.1303, .2005, .2889, .0343, .1811},
                            {.2795, .1748, .1494, .1485, -.0115},
                            {.2119, .1051, .1850, .0052, .2090}};
    struct group groups[5];
    for (size_t g = 0; g < 5; g++)
        groups[g] = (struct group){x[g], 5};
    struct rank_analysis out;
    assert_ok(ranks_kruskal_wallis(groups, 5, &out));
    assert_within(out.h, 4.3643077, 0.5e-7);
    assert_within(out.p, 0.358942, 0.5e-6);
}

static void signed_rank(void **state)
{
    (void)state;
    const double before[] = {1.83, .50, 1.62, 2.48, 1.68, 1.88, 1.55, 3.06, 1.30};
    const double after[] = {.878, .647, .598, 2.05, 1.06, 1.29, 1.06, 3.14, 1.29};
    struct rank_test out;
    assert_ok(ranks_paired(before, after, 9, &out));
    assert_true(out.exact && out.statistic == 40);
    assert_close(out.p_greater, 0.01953125, 1e-14);
    assert_close(out.p, 0.0390625, 1e-14);
    assert_ok(ranks_paired(after, before, 9, &out));
    assert_true(out.statistic == 5);
    assert_close(out.p_less, 0.01953125, 1e-14);
}

static void rank_sum(void **state)
{
    (void)state;
    const double at_term[] = {.80, .83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, .73, 1.46};
    const double early[] = {1.15, .88, .90, .74, 1.21};
    const struct group a = GROUP(at_term), b = GROUP(early);
    struct rank_test out;
    assert_ok(ranks_two(&a, &b, &out));
    assert_true(out.exact && out.statistic == 35);
    assert_within(out.p_greater, 0.1272061, 0.5e-7);
    assert_ok(ranks_two(&b, &a, &out));
    assert_true(out.statistic == 15);
    assert_within(out.p_less, 0.1272061, 0.5e-7);
}

/* With ties: the normal distribution. By hand: a = 1 2 2, b = 2 3 4; ranks of a 1 3 3, U = 1;
 * variance 9/12 (7 - 24/30) = 4.65; (1 - 4.5 + 0.5) / sqrt(4.65). */
static void ties_by_the_normal(void **state)
{
    (void)state;
    const double x[] = {1, 2, 2}, y[] = {2, 3, 4};
    const struct group a = GROUP(x), b = GROUP(y);
    struct rank_test out;
    assert_ok(ranks_two(&a, &b, &out));
    assert_true(!out.exact && out.statistic == 1);
    assert_close(out.p, erfc(3 / sqrt(4.65) / sqrt(2)), 1e-12);
    assert_close(out.p_less, out.p / 2, 1e-12);
    assert_ok(ranks_two(&b, &a, &out)); /* the other way round: U = 8 */
    assert_true(out.statistic == 8);
    assert_close(out.p, erfc(3 / sqrt(4.65) / sqrt(2)), 1e-12);
    assert_close(out.p_greater, out.p / 2, 1e-12);

    /* Pairs: differences 1 1 -1 2 0; the 0 is left out, ranks 2 2 2 4, sum 8 of at most 10;
     * variance 4 * 5 * 9 / 24 - 24 / 48 = 7; (8 - 5 - 0.5) / sqrt(7). */
    const double after[] = {3, 4, 4, 7, 5}, before[] = {2, 3, 5, 5, 5};
    assert_ok(ranks_paired(after, before, 5, &out));
    assert_true(!out.exact && out.statistic == 8);
    assert_close(out.p, erfc(2.5 / sqrt(7) / sqrt(2)), 1e-12);
}

static void statements_instead_of_numbers(void **state)
{
    (void)state;
    const double alike[] = {1, 1, 1}, missing[] = {1, NAN}, one[] = {1};
    const struct group g = GROUP(alike), m = GROUP(missing), o = GROUP(one);
    struct rank_test two;
    struct rank_analysis all;
    assert_int_equal(ranks_two(&g, &g, &two), ANALYSIS_NO_SPREAD);
    assert_int_equal(ranks_two(&g, &m, &two), ANALYSIS_NOT_FINITE);
    assert_int_equal(ranks_paired(alike, alike, 3, &two), ANALYSIS_NO_SPREAD);
    assert_int_equal(ranks_paired(alike, alike, 0, &two), ANALYSIS_NO_DATA);
    assert_true(isnan(two.p) && isnan(two.statistic));
    const struct group flat[] = {g, g}, single[] = {o, o};
    assert_int_equal(ranks_kruskal_wallis(flat, 2, &all), ANALYSIS_NO_SPREAD);
    assert_int_equal(ranks_kruskal_wallis(single, 2, &all), ANALYSIS_ONE_CELL);
    assert_int_equal(ranks_kruskal_wallis(flat, 1, &all), ANALYSIS_TOO_FEW);
    assert_nan(all.p);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(mid_ranks),
        cmocka_unit_test(kruskal_wallis),
        cmocka_unit_test(kruskal_wallis_silicon),
        cmocka_unit_test(signed_rank),
        cmocka_unit_test(rank_sum),
        cmocka_unit_test(ties_by_the_normal),
        cmocka_unit_test(statements_instead_of_numbers),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
