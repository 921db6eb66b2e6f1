/* Endurance with cells that are still going, on the data of E. J. Freireich and others, Blood 21,
 * 1963 (weeks of remission; the set on which the method is usually shown); figures recomputed. */
#include "analysis/check.h"

#include "analysis/survival.h"

#define GOING(t)                                                                                   \
    {                                                                                              \
        (t), false                                                                                 \
    }
#define ENDED(t)                                                                                   \
    {                                                                                              \
        (t), true                                                                                  \
    }

static const struct survivor treated[] = {
    ENDED(6),  ENDED(6),  ENDED(6),  GOING(6),  ENDED(7),  GOING(9),  ENDED(10),
    GOING(10), GOING(11), ENDED(13), ENDED(16), GOING(17), GOING(19), GOING(20),
    ENDED(22), ENDED(23), GOING(25), GOING(32), GOING(32), GOING(34), GOING(35)};
static const struct survivor control[] = {
    ENDED(1),  ENDED(1),  ENDED(2),  ENDED(2),  ENDED(3),  ENDED(4),  ENDED(4),
    ENDED(5),  ENDED(5),  ENDED(8),  ENDED(8),  ENDED(8),  ENDED(8),  ENDED(11),
    ENDED(11), ENDED(12), ENDED(12), ENDED(15), ENDED(17), ENDED(22), ENDED(23)};

static void product_limit(void **state)
{
    (void)state;
    const double times[] = {6, 7, 10, 13, 16, 22, 23};
    const double part[] = {.8571429, .8067227, .7529412, .6901961, .6274510, .5378151, .4481793};
    struct survival_step steps[21];
    struct survival out;
    assert_ok(survival_of(treated, 21, 0.95, steps, &out));
    assert_true(out.steps == 7 && out.cells == 21 && out.ended == 9);
    for (size_t k = 0; k < 7; k++) {
        assert_true(steps[k].time == times[k]);
        assert_within(steps[k].part, part[k], 0.5e-7);
        assert_true(steps[k].low < part[k] && part[k] < steps[k].high);
    }
    assert_true(steps[0].at_risk == 21 && steps[0].ended == 3 && steps[0].censored == 1);
    assert_true(steps[1].at_risk == 17 && steps[1].censored == 1);
    /* Greenwood by hand at the first step: 6/7 sqrt(3 / (21 * 18)). */
    assert_close(steps[0].standard_error, 6.0 / 7 * sqrt(3.0 / (21 * 18)), 1e-13);
    /* Median 23, interval from 16 on and without an end. */
    assert_true(out.median == 23 && out.median_low == 16 && isnan(out.median_high));
}

static void without_censoring(void **state)
{
    (void)state;
    struct survival_step steps[21];
    struct survival out;
    assert_ok(survival_of(control, 21, 0.95, steps, &out));
    assert_true(out.median == 8 && out.median_low == 4 && out.median_high == 12);
    /* Nothing is censored: the part left is the plain fraction. */
    assert_close(steps[0].part, 19.0 / 21, 1e-14);
    assert_true(steps[out.steps - 1].part == 0 && isnan(steps[out.steps - 1].low));
}

/* Half of the cells end at 20, the next at 30: the median lies between, as for any even number. */
static void median_between_steps(void **state)
{
    (void)state;
    const struct survivor four[] = {ENDED(40), ENDED(10), ENDED(30), ENDED(20)};
    struct survival_step steps[4];
    struct survival out;
    assert_ok(survival_of(four, 4, 0.95, steps, &out));
    assert_true(out.median == 25);
    assert_ok(survival_of(four, 1, 0.95, steps, &out)); /* of one cell no interval */
    assert_true(out.median == 40 && isnan(out.median_low) && isnan(out.median_high));
}

static void log_rank(void **state)
{
    (void)state;
    const struct survivor *groups[] = {control, treated};
    const size_t counts[] = {21, 21};
    double expected[2];
    struct log_rank out;
    assert_ok(survival_log_rank(groups, counts, 2, expected, &out));
    assert_within(out.chi2, 16.7929, 0.00005);
    assert_within(out.p, 4.169e-05, 0.0005e-5);
    assert_true(out.freedom == 1);
    assert_within(expected[0], 10.7495, 0.00005);
    assert_within(expected[1], 19.2505, 0.00005);
}

/* A third group that is the first once more: two degrees of freedom, and no more evidence against
 * itself than against its like. */
static void three_groups(void **state)
{
    (void)state;
    const struct survivor *groups[] = {control, treated, control};
    const size_t counts[] = {21, 21, 21};
    double expected[3];
    struct log_rank out;
    assert_ok(survival_log_rank(groups, counts, 3, expected, &out));
    assert_true(out.freedom == 2 && out.chi2 > 16.7929);
    assert_close(expected[0], expected[2], 1e-14);
    assert_within(expected[0] + expected[1] + expected[2], 51, 1e-10); /* all that ended */
    const struct survivor *alike[] = {control, control};
    assert_ok(survival_log_rank(alike, counts, 2, expected, &out));
    assert_within(out.chi2, 0, 1e-12);
    assert_within(out.p, 1, 1e-6);
}

static void statements_instead_of_numbers(void **state)
{
    (void)state;
    const struct survivor going[] = {GOING(300), GOING(300), GOING(250)};
    const struct survivor wrong[] = {ENDED(-1)}, missing[] = {ENDED(NAN)};
    const struct survivor *groups[] = {going, going};
    const size_t counts[] = {3, 3};
    struct survival_step steps[3];
    struct survival out;
    struct log_rank test;
    assert_int_equal(survival_of(going, 3, 0.95, steps, &out), ANALYSIS_NOT_REACHED);
    assert_true(out.steps == 0 && isnan(out.median));
    assert_int_equal(survival_of(going, 0, 0.95, steps, &out), ANALYSIS_NO_DATA);
    assert_int_equal(survival_of(wrong, 1, 0.95, steps, &out), ANALYSIS_NEGATIVE_TIME);
    assert_int_equal(survival_of(missing, 1, 0.95, steps, &out), ANALYSIS_NOT_FINITE);
    assert_int_equal(survival_log_rank(groups, counts, 2, NULL, &test), ANALYSIS_NOT_REACHED);
    assert_nan(test.p);
    assert_int_equal(survival_log_rank(groups, counts, 1, NULL, &test), ANALYSIS_TOO_FEW);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(product_limit),        cmocka_unit_test(without_censoring),
        cmocka_unit_test(median_between_steps), cmocka_unit_test(log_rank),
        cmocka_unit_test(three_groups),         cmocka_unit_test(statements_instead_of_numbers),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
