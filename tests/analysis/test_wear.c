/* Cycles to a level, and cells compared with themselves. */
#include "analysis/check.h"

#include "analysis/wear.h"

static const double cycles[] = {0, 50, 100, 150, 200, 250, 300};

/* Falls by 1 mAh a cycle from 2000 mAh: 80 % at 400 cycles, 60 % at 800; with a wobble. */
static void fill(double *v, double loss, double wobble)
{
    for (size_t i = 0; i < COUNT(cycles); i++)
        v[i] = (2000 - loss * cycles[i] + (i % 2 ? wobble : -wobble)) * 3.6;
}

static void fitted_cycles(void **state)
{
    (void)state;
    double v[7];
    fill(v, 1, 0);
    struct wear_course course = {cycles, v, 7, 2000 * 3.6};
    struct fit_crossing out;
    assert_ok(wear_fitted(&course, &fit_line, WEAR_WORN, 0.95, &out));
    assert_close(out.x, 400, 1e-12);
    assert_true(out.extrapolated);
    assert_ok(wear_fitted(&course, &fit_line, WEAR_END, 0.95, &out));
    assert_close(out.x, 800, 1e-12);
    fill(v, 1, 5);
    assert_ok(wear_fitted(&course, &fit_line, WEAR_WORN, 0.95, &out));
    assert_true(out.low < out.x && out.x < out.high && out.low > 300 && out.high < 600);

    /* One that gets better never wears down. */
    fill(v, -1, 0);
    assert_int_equal(wear_fitted(&course, &fit_line, WEAR_WORN, 0.95, &out), ANALYSIS_NOT_REACHED);
    assert_true(isnan(out.x) && isnan(out.low));

    /* Nor does one that comes up from below the level: it crosses it the other way. */
    for (size_t i = 0; i < 7; i++)
        v[i] = (1400 + cycles[i]) * 3.6;
    assert_int_equal(wear_fitted(&course, &fit_line, WEAR_WORN, 0.95, &out), ANALYSIS_NOT_REACHED);
    assert_true(isnan(out.x) && out.level == 0.8 * 2000 * 3.6);
}

/* So much scatter that the interval would begin before the first cycle: it begins there. */
static void no_cycles_before_the_first(void **state)
{
    (void)state;
    const double n[] = {0, 50, 100, 150}, v[] = {1990, 1700, 2000, 1650};
    const struct wear_course course = {n, v, 4, 2000};
    struct fit_crossing out;
    assert_ok(wear_fitted(&course, &fit_line, WEAR_WORN, 0.95, &out));
    assert_true(out.low == 0 && isinf(out.high) && out.x > 100);
}

/* A resistance that doubles: 24 mohm at first, 0.12 mohm a cycle: at 200 cycles. */
static void growing_resistance(void **state)
{
    (void)state;
    double r[7];
    for (size_t i = 0; i < 7; i++)
        r[i] = 0.024 + 0.00012 * cycles[i];
    struct wear_course course = {cycles, r, 7, 0.024};
    struct fit_crossing fitted;
    struct wear_event seen;
    assert_ok(wear_fitted(&course, &fit_line, 2, 0.95, &fitted));
    assert_close(fitted.x, 200, 1e-12);
    assert_ok(wear_observed(&course, 2, &seen));
    assert_close(seen.cycles, 200, 1e-12);
}

static void observed_cycles(void **state)
{
    (void)state;
    const double v[] = {2000, 1950, 1900, 1800, 1640, 1560, 1500};
    struct wear_course course = {cycles, v, 7, 2000};
    struct wear_event out;
    assert_ok(wear_observed(&course, WEAR_WORN, &out));
    assert_true(out.reached);
    assert_close(out.cycles, 225, 1e-14); /* half way from 1640 to 1560 */
    assert_int_equal(wear_observed(&course, WEAR_END, &out), ANALYSIS_NOT_REACHED);
    assert_true(!out.reached && out.cycles == 300); /* still going when last seen */
    course.count = 4;
    assert_int_equal(wear_observed(&course, WEAR_WORN, &out), ANALYSIS_NOT_REACHED);
    assert_true(out.cycles == 150);
}

/* Four cells at 400, 500, 320 and 250 cycles: mean 367.5, interval by t of 3 (Table G.2: 3.182). */
static void arm_of_cells(void **state)
{
    (void)state;
    double v[4][7];
    struct wear_course courses[4];
    const double losses[] = {1, 0.8, 1.25, 1.6};
    for (size_t c = 0; c < 4; c++) {
        fill(v[c], losses[c], 0);
        courses[c] = (struct wear_course){cycles, v[c], 7, 2000 * 3.6};
    }
    struct fit_crossing each[4];
    struct wear_summary out;
    assert_ok(wear_of_arm(courses, 4, &fit_line, WEAR_WORN, 0.95, each, &out));
    assert_close(out.cycles.mean, 367.5, 1e-12);
    double sd = sqrt((32.5 * 32.5 + 132.5 * 132.5 + 47.5 * 47.5 + 117.5 * 117.5) / 3);
    assert_within(out.cycles.high - 367.5, 3.182 * sd / 2, 0.05);
    assert_true(out.cells_reached == 4 && out.cells_extrapolated == 3);

    fill(v[2], -0.1, 0);
    assert_int_equal(wear_of_arm(courses, 4, &fit_line, WEAR_WORN, 0.95, each, &out),
                     ANALYSIS_CENSORED);
    assert_true(out.cells_reached == 3 && isnan(out.cycles.mean) && isnan(each[2].x));
    assert_close(each[3].x, 250, 1e-12);
    assert_int_equal(wear_of_arm(courses + 2, 1, &fit_line, WEAR_WORN, 0.95, each, &out),
                     ANALYSIS_NOT_REACHED);
    assert_int_equal(wear_of_arm(courses, 1, &fit_line, WEAR_WORN, 0.95, each, &out),
                     ANALYSIS_ONE_CELL);
    assert_close(out.cycles.mean, 400, 1e-12);
}

/* Student's sleep data (Student, Biometrika 6, 1908): hours of sleep with two drugs. t -4.0621277,
 * 9 degrees of freedom, p 0.00283289, interval -2.4598858 to -0.7001142 (recomputed in double). */
static void paired(void **state)
{
    (void)state;
    const double first[] = {0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0, 2.0};
    const double second[] = {1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4};
    struct wear_pair out;
    assert_ok(wear_paired(second, first, 10, 0.95, &out));
    assert_within(out.t, -4.0621277, 0.5e-7);
    assert_true(out.freedom == 9);
    assert_within(out.p, 0.00283289, 0.5e-8);
    assert_within(out.low, -2.4598858, 0.5e-7);
    assert_within(out.high, -0.7001142, 0.5e-7);
    assert_nan(out.change); /* hours can be negative: no fraction of them */
}

/* 24 to 32 mohm is a third more. */
static void paired_change(void **state)
{
    (void)state;
    const double before[] = {24, 24, 24}, after[] = {31, 32, 33};
    struct wear_pair out;
    assert_ok(wear_paired(before, after, 3, 0.95, &out));
    assert_close(out.difference, 8, 1e-14);
    assert_close(out.change, 1.0 / 3, 1e-13);
    assert_close(out.change_high, (8 + 4.302652729911275 / sqrt(3)) / 24, 1e-9);
    assert_int_equal(wear_paired(before, after, 1, 0.95, &out), ANALYSIS_ONE_CELL);
    assert_true(out.difference == 7 && isnan(out.p));
    assert_close(out.change, 7.0 / 24, 1e-14);
    assert_int_equal(wear_paired(before, before, 3, 0.95, &out), ANALYSIS_NO_SPREAD);
    assert_true(out.difference == 0 && isnan(out.p));
    assert_int_equal(wear_paired(before, after, 0, 0.95, &out), ANALYSIS_NO_DATA);
}

static void statements_instead_of_numbers(void **state)
{
    (void)state;
    double n[] = {0, 50, 100, 150}, v[] = {2000, 1950, 1900, 1850};
    struct wear_course course = {n, v, 4, NAN};
    struct wear_event seen;
    struct fit_crossing fitted;
    assert_int_equal(wear_observed(&course, 0.8, &seen), ANALYSIS_NO_REFERENCE);
    assert_int_equal(wear_fitted(&course, &fit_line, 0.8, 0.95, &fitted), ANALYSIS_NO_REFERENCE);
    assert_true(isnan(seen.cycles) && isnan(fitted.x));
    course.reference = 2000;
    course.count = 2;
    assert_int_equal(wear_fitted(&course, &fit_line, 0.8, 0.95, &fitted), ANALYSIS_TOO_FEW);
    course.count = 4;
    n[0] = -1;
    assert_int_equal(wear_observed(&course, 0.8, &seen), ANALYSIS_NEGATIVE_TIME);
    n[0] = 60;
    assert_int_equal(wear_observed(&course, 0.8, &seen), ANALYSIS_TIME_ORDER);
    n[0] = 0;
    v[1] = NAN;
    assert_int_equal(wear_observed(&course, 0.8, &seen), ANALYSIS_NOT_FINITE);
    v[1] = 1950;
    assert_int_equal(wear_observed(&course, 1, &seen), ANALYSIS_OUT_OF_RANGE);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(fitted_cycles),      cmocka_unit_test(no_cycles_before_the_first),
        cmocka_unit_test(growing_resistance), cmocka_unit_test(observed_cycles),
        cmocka_unit_test(arm_of_cells),       cmocka_unit_test(paired),
        cmocka_unit_test(paired_change),      cmocka_unit_test(statements_instead_of_numbers),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
