/* Thinning keeps the shape: bounds on the error against curves that are known exactly. */
#include "report/cmocka_setup.h"

#include <math.h>

#include "report/invented.h"
#include "report/thin.h"

/* The thinned curve at x, by straight lines. */
static double curve_at(const double *x, const double *y, size_t count, double at)
{
    for (size_t i = 1; i < count; i++)
        if (at <= x[i])
            return y[i - 1] + (y[i] - y[i - 1]) * (at - x[i - 1]) / (x[i] - x[i - 1]);
    return y[count - 1];
}

#define LONG 70000

/* A ten-hour discharge, twice a second, in mV and mAh. */
static void make_long(double *x, double *y, double noise)
{
    struct random random;
    random_seed(&random, 70);
    for (size_t i = 0; i < LONG; i++) {
        x[i] = 2000.0 * (double)i / (LONG - 1);
        y[i] = 1000 * invented_voltage(x[i], 2000) + noise * random_normal(&random);
    }
}

static void a_long_curve_keeps_its_shape(void **state)
{
    (void)state;
    double *x = calloc(LONG, sizeof *x), *y = calloc(LONG, sizeof *y);
    double *thin_x, *thin_y, *smooth = calloc(LONG, sizeof *smooth);
    make_long(x, smooth, 0);
    static const struct {
        double noise, bound; /* mV: the standard deviation; the largest error allowed */
    } cases[] = {{0, 0.6}, {1, 1.5}};
    for (size_t c = 0; c < 2; c++) {
        make_long(x, y, cases[c].noise);
        size_t count = thin_curve(x, y, LONG, THIN_KEEP, &thin_x, &thin_y);
        assert_true(count <= THIN_KEEP && count > THIN_KEEP / 2);
        assert_true(thin_x[0] == x[0] && thin_y[0] == y[0]);
        assert_true(thin_x[count - 1] == x[LONG - 1] && thin_y[count - 1] == y[LONG - 1]);
        for (size_t i = 1; i < count; i++)
            assert_true(thin_x[i] > thin_x[i - 1]);
        double worst = 0, area = 0, want = 0;
        for (size_t i = 20; i + 20 < LONG; i += 7) {
            double at = curve_at(thin_x, thin_y, count, x[i]);
            worst = fmax(worst, fabs(at - smooth[i]));
            area += at;
            want += smooth[i];
        }
        print_message("noise %.0f mV: %zu points, largest error %.2f mV, mean voltage off by "
                      "%.4f %%\n",
                      cases[c].noise, count, worst, 100 * fabs(area / want - 1));
        /* the picture has some 300 pixels for 400 mV: less than one is not seen */
        assert_true(worst < cases[c].bound);
        assert_true(fabs(area / want - 1) < 1e-4);
        free(thin_x);
        free(thin_y);
    }
    free(x);
    free(y);
    free(smooth);
}

/* Noise of 1 mV and a spike of 300 mV in one reading of 70,000: largest triangles alone would keep
 * the spike. */
static void averages_take_spikes_away(void **state)
{
    (void)state;
    double *x = calloc(LONG, sizeof *x), *y = calloc(LONG, sizeof *y);
    double *only_x = calloc(LONG, sizeof *x), *only_y = calloc(LONG, sizeof *y), *thin_x, *thin_y;
    make_long(x, y, 1);
    double plain = y[30000];
    y[30000] -= 300;
    size_t only = thin_triangle(x, y, LONG, THIN_KEEP, only_x, only_y);
    size_t count = thin_curve(x, y, LONG, THIN_KEEP, &thin_x, &thin_y);
    double lowest_only = 2000, lowest = 2000;
    for (size_t i = 0; i < only; i++)
        if (fabs(only_x[i] - x[30000]) < 5)
            lowest_only = fmin(lowest_only, only_y[i]);
    for (size_t i = 0; i < count; i++)
        if (fabs(thin_x[i] - x[30000]) < 5)
            lowest = fmin(lowest, thin_y[i]);
    assert_true(lowest_only < plain - 250);
    assert_true(lowest > plain - 25);
    free(x);
    free(y);
    free(only_x);
    free(only_y);
    free(thin_x);
    free(thin_y);
}

static void a_corner_stays_a_corner(void **state)
{
    (void)state;
    static double x[3000], y[3000], thin_x[3000], thin_y[3000];
    for (size_t i = 0; i < 3000; i++) {
        x[i] = (double)i;
        y[i] = i < 2000 ? 0 : (double)i - 2000;
    }
    size_t count = thin_triangle(x, y, 3000, 30, thin_x, thin_y);
    assert_int_equal(count, 30);
    double nearest = 3000;
    for (size_t i = 0; i < count; i++)
        nearest = fmin(nearest, fabs(thin_x[i] - 2000));
    assert_true(nearest < 60); /* the part that holds it is 107 wide */
}

static void short_curves_stay_as_they_are(void **state)
{
    (void)state;
    static const double x[] = {0, 1, 2, 3, 4}, y[] = {5, 4, 9, 2, 1};
    double *thin_x, *thin_y;
    for (size_t count = 0; count <= 5; count++) {
        assert_int_equal(thin_curve(x, y, count, THIN_KEEP, &thin_x, &thin_y), count);
        if (count != 0) {
            assert_memory_equal(thin_x, x, count * sizeof *x);
            assert_memory_equal(thin_y, y, count * sizeof *y);
        }
        free(thin_x);
        free(thin_y);
    }
    double out_x[5], out_y[5];
    for (size_t keep = 0; keep <= 4; keep++) {
        size_t want = keep < 2 ? 2 : keep;
        assert_int_equal(thin_average(x, y, 5, keep, out_x, out_y), want);
        assert_true(out_x[0] == 0 && out_x[want - 1] == 4);
        assert_int_equal(thin_triangle(x, y, 5, keep, out_x, out_y), want);
        assert_true(out_y[0] == 5 && out_y[want - 1] == 1);
    }
}

static void averages_are_averages(void **state)
{
    (void)state;
    static const double x[] = {0, 1, 2, 3, 4, 5}, y[] = {7, 1, 3, 10, 20, 8};
    double out_x[6], out_y[6];
    assert_int_equal(thin_average(x, y, 6, 4, out_x, out_y), 4);
    assert_true(out_x[1] == 1.5 && out_y[1] == 2);
    assert_true(out_x[2] == 3.5 && out_y[2] == 15);
    assert_true(out_x[3] == 5 && out_y[3] == 8);
}

static void gaps_stay_gaps(void **state)
{
    (void)state;
    static double x[1000], y[1000];
    for (size_t i = 0; i < 1000; i++) {
        x[i] = (double)i;
        y[i] = i % 250 == 249 ? NAN : 1; /* also the last */
    }
    y[0] = INFINITY;
    double *thin_x, *thin_y;
    size_t count = thin_curve(x, y, 1000, 40, &thin_x, &thin_y), gaps = 0, points = 0;
    for (size_t i = 0; i < count; i++) {
        assert_int_equal(isnan(thin_x[i]), isnan(thin_y[i]));
        gaps += (size_t)isnan(thin_x[i]);
        points += !isnan(thin_x[i]);
    }
    assert_int_equal(gaps, 3);
    assert_true(points <= 40 + 4 * 3 && points >= 30);
    assert_true(thin_x[0] == 1 && thin_x[count - 1] == 998);
    free(thin_x);
    free(thin_y);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_long_curve_keeps_its_shape),
        cmocka_unit_test(averages_take_spikes_away),
        cmocka_unit_test(a_corner_stays_a_corner),
        cmocka_unit_test(short_curves_stay_as_they_are),
        cmocka_unit_test(averages_are_averages),
        cmocka_unit_test(gaps_stay_gaps),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
