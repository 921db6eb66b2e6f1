/* Ranking: agreement against published examples, mean finish by hand, bootstrap against what the
 * normal distribution says. */
#include "analysis/check.h"

#include "analysis/ranking.h"

/* Times to first base by three ways, 22 runners, with ties (M. Hollander, D. A. Wolfe,
 * Nonparametric Statistical Methods, 1973, p. 140; values from memory, the result as published:
 * chi-square 11.143, p 0.003805). */
static void friedman_with_ties(void **state)
{
    (void)state;
    const double times[] = {5.40, 5.50, 5.55, 5.85, 5.70, 5.75, 5.20, 5.60, 5.50, 5.55, 5.50,
                            5.40, 5.90, 5.85, 5.70, 5.45, 5.55, 5.60, 5.40, 5.40, 5.35, 5.45,
                            5.50, 5.35, 5.25, 5.15, 5.00, 5.85, 5.80, 5.70, 5.25, 5.20, 5.10,
                            5.65, 5.55, 5.45, 5.60, 5.35, 5.45, 5.05, 5.00, 4.95, 5.50, 5.50,
                            5.40, 5.45, 5.55, 5.50, 5.55, 5.55, 5.35, 5.45, 5.50, 5.55, 5.50,
                            5.45, 5.25, 5.65, 5.60, 5.40, 5.70, 5.65, 5.55, 6.30, 6.30, 6.25};
    struct agreement out;
    assert_true(COUNT(times) == 66);
    assert_ok(ranking_agreement(times, 22, 3, &out));
    assert_within(out.chi2, 11.142857, 0.5e-6);
    assert_true(out.freedom == 2);
    assert_within(out.p, 0.003805041, 0.5e-9);
    assert_within(out.w, 0.2532468, 0.5e-7);
}

/* Three judges, six items, two of the judges' ties (recomputed by hand: S 148.5, T 12). */
static void kendall_with_ties(void **state)
{
    (void)state;
    const double judges[] = {1, 2, 3, 4, 5, 6, 2, 1, 3, 5, 4, 6, 1.5, 1.5, 3, 4.5, 4.5, 6};
    struct agreement out;
    assert_ok(ranking_agreement(judges, 3, 6, &out));
    assert_within(out.w, 0.9611650, 0.5e-7);
    assert_within(out.chi2, 14.417476, 0.5e-6);
    assert_within(out.p, 0.01316412, 0.5e-8);
    const double one_mind[] = {1, 2, 3, 10, 20, 30}, opposed[] = {1, 2, 3, 3, 2, 1};
    assert_ok(ranking_agreement(one_mind, 2, 3, &out));
    assert_close(out.w, 1, 1e-14);
    assert_ok(ranking_agreement(opposed, 2, 3, &out));
    assert_within(out.w, 0, 1e-14);
}

static const struct criterion three[] = {
    {"capacity", true, 1, 0}, {"retention", true, 2, 1}, {"resistance", false, 1, 0}};

/* By hand: capacity 1 2 3, retention 2.5 1 2.5, resistance 1 3 2; weights 1 2 1. */
static void finish_by_hand(void **state)
{
    (void)state;
    const double values[] = {2100, 0.80, 22, 2000, 0.90, 31, 1900, 0.80, 25};
    const double want[] = {1, 2.5, 1, 2, 1, 3, 3, 2.5, 2};
    double ranks[9];
    struct finish finishes[3];
    assert_ok(ranking_of(three, 3, values, 3, ranks, finishes));
    for (size_t i = 0; i < 9; i++)
        assert_true(ranks[i] == want[i]);
    assert_close(finishes[0].mean_finish, 7.0 / 4, 1e-14);
    assert_close(finishes[1].mean_finish, 7.0 / 4, 1e-14);
    assert_close(finishes[2].mean_finish, 10.0 / 4, 1e-14);
    assert_true(finishes[0].place == 1.5 && finishes[1].place == 1.5 && finishes[2].place == 3);
}

/* 0.1 + 0.4 + 0.1 and 0.2 + 0.2 + 0.2 over 0.4 are both 1.5, though not in doubles: a tie. */
static void rounding_breaks_no_tie(void **state)
{
    (void)state;
    const struct criterion weighted[] = {
        {"capacity", true, 0.1, 0}, {"retention", true, 0.2, 1}, {"energy", true, 0.1, 0}};
    const double values[] = {2, 1, 2, 1, 2, 1};
    double ranks[6];
    struct finish finishes[2];
    assert_ok(ranking_of(weighted, 3, values, 2, ranks, finishes));
    assert_true(finishes[0].mean_finish != finishes[1].mean_finish);
    assert_true(finishes[0].place == 1.5 && finishes[1].place == 1.5);
}

/* Two models, one criterion, 20 cells each of fixed scatter, means one standard error of the
 * difference apart: the better is first with the integral of pt(x + sqrt(2), 19) dt(x, 19) over x,
 * 0.8318 by R (Phi(1) = 0.8413 if the scatter were known). */
static void probability_of_first_place(void **state)
{
    (void)state;
    double a[20], b[20], squares = 0;
    for (size_t i = 0; i < 20; i++) {
        a[i] = (double)i - 9.5;
        squares += a[i] * a[i];
    }
    double error = sqrt(2 * squares / 19 / 20);
    for (size_t i = 0; i < 20; i++) {
        b[i] = 1950 + a[i] - error;
        a[i] += 1950;
    }
    const struct criterion capacity = {"capacity", true, 1, 0};
    const struct group cells[] = {{a, 20}, {b, 20}};
    double p[4], again[4];
    struct place_range range[2];
    assert_ok(ranking_bootstrap(&capacity, 1, cells, 2, 20000, 5, 0.95, p, range));
    assert_within(p[0], 0.8318, 0.01);
    assert_close(p[0] + p[1], 1, 1e-12);
    assert_close(p[0] + p[2], 1, 1e-12); /* somebody is first */
    assert_true(range[0].low == 1 && range[0].high == 2);
    assert_close(range[0].mean_place, p[0] + 2 * p[1], 1e-12);
    assert_ok(ranking_bootstrap(&capacity, 1, cells, 2, 20000, 5, 0.95, again, range));
    for (size_t i = 0; i < 4; i++)
        assert_true(p[i] == again[i]); /* the same seed */
}

/* Few cells do not look surer than they are: the difference of two means that each scatter as
 * Student's t of 3 degrees of freedom, one standard error apart: the integral of pt(x + sqrt(2), 3)
 * dt(x, 3) over x is 0.7825 (by R; 0.8413 if the scatter were known). Of two cells each, where t is
 * Cauchy's: 1/2 + atan(sqrt(2) / 2) / pi = 0.6959. */
static void few_cells_are_not_overrated(void **state)
{
    (void)state;
    const double spread[] = {-2.1, -1.3, 0.3, 3.1}; /* sum 0, squares 15.8 */
    double error = sqrt(2 * 15.8 / 3 / 4), a[4], b[4];
    for (size_t i = 0; i < 4; i++) {
        a[i] = spread[i];
        b[i] = spread[i] - error;
    }
    const struct criterion capacity = {"capacity", true, 1, 0};
    const struct group cells[] = {{a, 4}, {b, 4}};
    double p[4];
    struct place_range range[2];
    assert_ok(ranking_bootstrap(&capacity, 1, cells, 2, 20000, 5, 0.95, p, range));
    assert_within(p[0], 0.7825, 0.01);

    const double up[] = {1, 3}, down[] = {1 - sqrt(2), 3 - sqrt(2)}; /* s / sqrt(2) = 1 */
    const struct group two[] = {{up, 2}, {down, 2}};
    assert_ok(ranking_bootstrap(&capacity, 1, two, 2, 20000, 5, 0.95, p, range));
    assert_within(p[0], 0.6959, 0.01);
    assert_true(range[0].low == 1 && range[0].high == 2); /* by two cells nothing is settled */
}

/* Clear differences leave no doubt; no difference leaves all places open. */
static void clear_and_open(void **state)
{
    (void)state;
    const double top[] = {2100, 2101, 2102}, middle[] = {2000, 2001, 2002},
                 low[] = {1900, 1901, 1902};
    const struct criterion capacity = {"capacity", true, 1, 0};
    const struct group clear[] = {{low, 3}, {top, 3}, {middle, 3}}, open[] = {{low, 3}, {low, 3}};
    double p[9];
    struct place_range range[3];
    assert_ok(ranking_bootstrap(&capacity, 1, clear, 3, 500, 1, 0.95, p, range));
    assert_close(p[3], 1, 1e-12); /* model 1 first */
    assert_close(p[7], 1, 1e-12); /* model 2 second */
    assert_close(p[2], 1, 1e-12); /* model 0 third */
    assert_true(range[1].low == 1 && range[1].high == 1 && range[0].low == 3);
    assert_ok(ranking_bootstrap(&capacity, 1, open, 2, 5000, 1, 0.95, p, range));
    assert_within(p[0], 0.5, 0.03);
}

/* Two criteria that measure one thing on the same cells: drawn together, the ranks never disagree,
 * so no place is ever shared. Drawn apart they sometimes do. */
static void cells_of_an_arm_are_drawn_together(void **state)
{
    (void)state;
    const double a[] = {10, 11.3, 12.1}, b[] = {10.5, 11.1, 12.9};
    const double a2[] = {20, 22.6, 24.2}, b2[] = {21, 22.2, 25.8};
    const struct group cells[] = {{a, 3}, {a2, 3}, {b, 3}, {b2, 3}};
    struct criterion both[] = {{"capacity", true, 1, 0}, {"energy", true, 1, 0}};
    const struct group one[] = {{a, 3}, {b, 3}};
    double together[4], single[4], apart[4];
    struct place_range range[2];
    assert_ok(ranking_bootstrap(both, 2, cells, 2, 4000, 9, 0.95, together, range));
    assert_ok(ranking_bootstrap(both, 1, one, 2, 4000, 9, 0.95, single, range));
    assert_close(together[0], single[0], 1e-12);
    both[1].arm = 1;
    assert_ok(ranking_bootstrap(both, 2, cells, 2, 4000, 9, 0.95, apart, range));
    assert_true(fabs(apart[0] - single[0]) > 1e-6);
}

/* A cell for 2.50 that gives 2.4 Wh for 400 cycles: 2.50 / 960 a Wh. */
static void cost(void **state)
{
    (void)state;
    double cost;
    assert_ok(ranking_cost_per_wh(2.5, 2.4 * 400 * 3600, &cost));
    assert_close(cost, 2.5 / 960, 1e-14);
    assert_int_equal(ranking_cost_per_wh(2.5, 0, &cost), ANALYSIS_OUT_OF_RANGE);
    assert_nan(cost);
}

static void statements_instead_of_numbers(void **state)
{
    (void)state;
    double values[] = {2100, 0.80, 22, 2000, NAN, 31}, ranks[6], p[4];
    struct finish finishes[2];
    struct agreement w;
    assert_int_equal(ranking_of(three, 3, values, 2, ranks, finishes), ANALYSIS_NOT_FINITE);
    assert_true(isnan(ranks[0]) && isnan(finishes[0].place));
    values[4] = 0.9;
    assert_int_equal(ranking_of(three, 3, values, 1, ranks, finishes), ANALYSIS_TOO_FEW);
    assert_int_equal(ranking_of(three, 0, values, 2, ranks, finishes), ANALYSIS_NO_DATA);
    const struct criterion weightless = {"capacity", true, 0, 0}, negative = {"x", true, -1, 0};
    assert_int_equal(ranking_of(&weightless, 1, values, 2, ranks, finishes), ANALYSIS_OUT_OF_RANGE);
    assert_int_equal(ranking_of(&negative, 1, values, 2, ranks, finishes), ANALYSIS_OUT_OF_RANGE);
    const double flat[] = {1, 1, 1, 1};
    assert_int_equal(ranking_agreement(flat, 2, 2, &w), ANALYSIS_NO_SPREAD);
    assert_int_equal(ranking_agreement(flat, 1, 4, &w), ANALYSIS_TOO_FEW);
    assert_nan(w.w);

    const struct criterion capacity = {"capacity", true, 1, 0};
    const double two[] = {1, 2};
    const struct group single[] = {{two, 2}, {two, 1}};
    struct place_range range[2];
    assert_int_equal(ranking_bootstrap(&capacity, 1, single, 2, 100, 1, 0.95, p, range),
                     ANALYSIS_ONE_CELL);
    assert_true(isnan(p[0]) && isnan(range[0].mean_place));
    /* Nothing is as sure as 100 %: two cells that read alike do not show how cells scatter. Nor do
     * values that only computing tells apart. */
    const double alike[] = {1.5, 1.5}, rounded[] = {0.1 + 0.2, 0.3};
    const struct group even[] = {{two, 2}, {alike, 2}}, computed[] = {{two, 2}, {rounded, 2}};
    assert_int_equal(ranking_bootstrap(&capacity, 1, even, 2, 100, 1, 0.95, p, range),
                     ANALYSIS_NO_SPREAD);
    assert_true(isnan(p[0]) && isnan(range[0].mean_place));
    assert_int_equal(ranking_bootstrap(&capacity, 1, computed, 2, 100, 1, 0.95, p, range),
                     ANALYSIS_NO_SPREAD);
    const struct criterion both[] = {{"capacity", true, 1, 0}, {"energy", true, 1, 0}};
    const double more[] = {1, 2, 3};
    const struct group unequal[] = {{two, 2}, {more, 3}, {two, 2}, {two, 2}};
    assert_int_equal(ranking_bootstrap(both, 2, unequal, 2, 100, 1, 0.95, p, range),
                     ANALYSIS_OUT_OF_RANGE);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(friedman_with_ties),
        cmocka_unit_test(kendall_with_ties),
        cmocka_unit_test(finish_by_hand),
        cmocka_unit_test(rounding_breaks_no_tie),
        cmocka_unit_test(probability_of_first_place),
        cmocka_unit_test(few_cells_are_not_overrated),
        cmocka_unit_test(clear_and_open),
        cmocka_unit_test(cells_of_an_arm_are_drawn_together),
        cmocka_unit_test(cost),
        cmocka_unit_test(statements_instead_of_numbers),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
