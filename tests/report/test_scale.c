/* Ranges, ticks and scales. */
#include "report/cmocka_setup.h"

#include <float.h>
#include <math.h>

#include "base/random.h"
#include "report/scale.h"

static bool near(double a, double b)
{
    return fabs(a - b) <= 1e-9 * fmax(1, fabs(b));
}

static void ranges_leave_out_what_cannot_be_drawn(void **state)
{
    (void)state;
    struct range range = RANGE_EMPTY;
    assert_true(range_is_empty(&range));
    const double none[] = {NAN, INFINITY, -INFINITY, 1e300}, some[] = {3, -2, NAN, 7};
    for (int i = 0; i < 4; i++)
        range_add(&range, none[i]);
    assert_true(range_is_empty(&range));
    for (int i = 0; i < 4; i++)
        range_add(&range, some[i]);
    assert_true(range.low == -2 && range.high == 7);
}

static void rounds_to(double low, double high, size_t target, double want_low, double want_high,
                      double step, int decimals)
{
    struct range range = {low, high};
    struct ticks ticks = ticks_round(&range, target);
    assert_true(near(range.low, want_low));
    assert_true(near(range.high, want_high));
    assert_true(near(ticks.step, step));
    assert_int_equal(ticks.decimals, decimals);
    assert_true(near(tick_value(&ticks, 0), want_low));
    assert_true(near(tick_value(&ticks, ticks.count - 1), want_high));
}

static void ticks_are_one_two_or_five_times_a_power_of_ten(void **state)
{
    (void)state;
    rounds_to(0, 2310, 5, 0, 2500, 500, 0);
    rounds_to(0.97, 1.41, 5, 0.9, 1.5, 0.1, 1);
    rounds_to(1.003, 1.0071, 4, 1.003, 1.008, 0.001, 3);
    rounds_to(-7, 12, 4, -10, 15, 5, 0);
    rounds_to(0, 1, 5, 0, 1, 0.2, 1);
    rounds_to(0, 1e-7, 5, 0, 1e-7, 2e-8, 8);
    rounds_to(-3e9, 4e9, 5, -3e9, 4e9, 1e9, 0);
}

static void every_range_gets_some_ticks(void **state)
{
    (void)state;
    static const double ends[][2] = {{1, 0},
                                     {0, 0},
                                     {5, 5},
                                     {-5, -5},
                                     {1e29, 1e29},
                                     {-1e29, 1e29},
                                     {1e9, 1e9 + 1e-6},
                                     {1e-29, 2e-29},
                                     {0, DBL_TRUE_MIN}};
    for (size_t i = 0; i < sizeof ends / sizeof *ends; i++) {
        struct range range = {ends[i][0], ends[i][1]}, inside = range;
        struct ticks ticks = ticks_round(&range, 5);
        assert_true(range.high > range.low);
        assert_true(ticks.count >= 2 && ticks.count <= MOST_TICKS);
        assert_true(ticks.decimals >= 0 && ticks.decimals <= 9);
        ticks = ticks_inside(&inside, 5);
        assert_true(ticks.count <= MOST_TICKS);
        assert_true(ticks.step > 0 && isfinite(ticks.first));
    }
}

static void ticks_lie_inside_and_are_about_as_many_as_asked(void **state)
{
    (void)state;
    struct random random;
    random_seed(&random, 1);
    for (int i = 0; i < 20000; i++) {
        double size = pow(10, 20 * random_unit(&random) - 10);
        double low = size * (random_unit(&random) - 0.5), high = low + size * random_unit(&random);
        struct range range = {low, high};
        if (high - low < 1e-6 * size)
            continue;
        struct ticks ticks = ticks_inside(&range, 5);
        assert_true(ticks.count >= 3 && ticks.count <= 9);
        double hair = 1e-5 * ticks.step;
        for (size_t j = 0; j < ticks.count; j++)
            assert_true(tick_value(&ticks, j) >= low - hair &&
                        tick_value(&ticks, j) <= high + hair);
        struct range wide = range;
        ticks = ticks_round(&wide, 5);
        assert_true(wide.low <= low + hair && wide.high >= high - hair);
        assert_true(ticks.count >= 5 && ticks.count <= 11);
    }
}

static void formats(double value, int decimals, const char *want)
{
    char buffer[40];
    assert_string_equal(tick_format(value, decimals, buffer, sizeof buffer), want);
}

static void values_are_written_plainly(void **state)
{
    (void)state;
    formats(2000, 0, "2000");
    formats(1.05, 2, "1.05");
    formats(-0.0, 1, "0.0");
    formats(-0.04, 1, "0.0");
    formats(-0.4, 1, "-0.4");
    formats(2.5e7, 0, "2.5e+07");
    formats(NAN, 0, "?");
    formats(INFINITY, 0, "?");
}

static void scales_are_linear_and_stay_near(void **state)
{
    (void)state;
    struct scale scale = {10, 20, 100, 300};
    assert_true(near(scale_at(&scale, 10), 100));
    assert_true(near(scale_at(&scale, 15), 200));
    assert_true(near(scale_at(&scale, 25), 400));
    struct scale down = {0, 1, 300, 100};
    assert_true(near(scale_at(&down, 0.25), 250));
    assert_true(fabs(scale_at(&scale, 1e29)) <= 1e5);
    struct scale point = {5, 5, 100, 300};
    assert_true(isfinite(scale_at(&point, 5)));
    assert_true(isfinite(scale_at(&point, 6)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(ranges_leave_out_what_cannot_be_drawn),
        cmocka_unit_test(ticks_are_one_two_or_five_times_a_power_of_ten),
        cmocka_unit_test(every_range_gets_some_ticks),
        cmocka_unit_test(ticks_lie_inside_and_are_about_as_many_as_asked),
        cmocka_unit_test(values_are_written_plainly),
        cmocka_unit_test(scales_are_linear_and_stay_near),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
