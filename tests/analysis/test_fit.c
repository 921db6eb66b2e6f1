/* Fits against certified and published values: NIST Norris and Misra1a (Statistical Reference
 * Datasets; public domain), the calibration line of JCGM 100:2008, H.3; then choice, bands and
 * crossings on curves of known form. */
#include "analysis/check.h"

#include "analysis/fit.h"
#include "base/random.h"

static void nist_norris(void **state)
{
    (void)state;
    const double data[][2] = {{0.1, 0.2},     {338.8, 337.4}, {118.1, 118.2}, {888.0, 884.6},
                              {9.2, 10.1},    {228.1, 226.5}, {668.5, 666.3}, {998.5, 996.3},
                              {449.1, 448.6}, {778.9, 777.0}, {559.2, 558.2}, {0.3, 0.4},
                              {0.1, 0.6},     {778.1, 775.5}, {668.8, 666.9}, {339.3, 338.0},
                              {448.9, 447.5}, {10.8, 11.6},   {557.7, 556.0}, {228.3, 228.1},
                              {998.0, 995.8}, {888.8, 887.6}, {119.6, 120.2}, {0.3, 0.3},
                              {0.6, 0.3},     {557.6, 556.8}, {339.3, 339.1}, {888.0, 887.2},
                              {998.5, 999.0}, {778.9, 779.0}, {10.2, 11.1},   {117.6, 118.3},
                              {228.9, 229.2}, {668.4, 669.1}, {449.2, 448.9}, {0.2, 0.5}};
    double x[36], y[36];
    assert_true(COUNT(data) == 36);
    for (size_t i = 0; i < 36; i++) {
        y[i] = data[i][0];
        x[i] = data[i][1];
    }
    struct fit fit;
    assert_ok(fit_points(&fit_line, x, y, 36, &fit));
    assert_close(fit.value[0], -0.262323073774029, 1e-12);
    assert_close(fit.value[1], 1.00211681802045, 1e-14);
    assert_close(fit.standard_error[0], 0.232818234301152, 1e-12);
    assert_close(fit.standard_error[1], 0.429796848199937e-3, 1e-12);
    assert_close(fit.residual_sd, 0.884796396144373, 1e-12);
    assert_close(fit.residual_squares, 26.6173985294224, 1e-12);
    assert_close(fit.r_squared, 0.999993745883712, 1e-14);
    assert_true(fit.freedom == 34);
}

/* y = b1 (1 - exp(-b2 x)): the form of a capacity against the charge put in. */
static double rising_value(double x, const double *p)
{
    return -p[0] * expm1(-p[1] * x);
}

static void rising_gradient(double x, const double *p, double *dp)
{
    dp[0] = -expm1(-p[1] * x);
    dp[1] = p[0] * x * exp(-p[1] * x);
}

static void nist_misra1a(void **state)
{
    (void)state;
    static const struct fit_form rising = {.name = "rising",
                                           .formula = "b1 (1 - exp(-b2 x))",
                                           .parameters = 2,
                                           .value = rising_value,
                                           .gradient = rising_gradient};
    const double y[] = {10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02,
                        44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78};
    const double x[] = {77.6,  114.9, 141.1, 190.8, 239.9, 289.0, 332.8,
                        378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0};
    const double starts[][2] = {{500, 1e-4}, {250, 5e-4}}; /* NIST's far and near ones */
    for (size_t i = 0; i < COUNT(starts); i++) {
        struct fit fit;
        assert_ok(fit_points_from(&rising, starts[i], x, y, 14, &fit));
        assert_close(fit.value[0], 2.3894212918e+02, 1e-9);
        assert_close(fit.value[1], 5.5015643181e-04, 1e-9);
        assert_close(fit.standard_error[0], 2.7070075241e+00, 1e-8);
        assert_close(fit.standard_error[1], 7.2668688436e-06, 1e-8);
        assert_close(fit.residual_squares, 1.2455138894e-01, 1e-9);
        assert_close(fit.residual_sd, 1.0187876330e-01, 1e-9);
    }
}

/* JCGM 100:2008, H.3: thermometer corrections b against t - 20 degC. Published: y1 -0.1712(29), y2
 * 0.00218(67), s 0.0035, r -0.930, b(30) -0.1494(41). */
static void gum_h3_calibration_line(void **state)
{
    (void)state;
    const double t[] = {21.521, 22.012, 22.512, 23.003, 23.507, 23.999,
                        24.513, 25.002, 25.503, 26.010, 26.511};
    const double b[] = {-0.171, -0.169, -0.166, -0.159, -0.164, -0.165,
                        -0.156, -0.157, -0.159, -0.161, -0.160};
    double x[11];
    for (size_t i = 0; i < 11; i++)
        x[i] = t[i] - 20;
    struct fit fit;
    assert_ok(fit_points(&fit_line, x, b, 11, &fit));
    assert_close(fit.value[0], -0.17120379013135, 1e-11);
    assert_close(fit.value[1], 0.00218269773989, 1e-11);
    assert_close(fit.standard_error[0], 0.002877597835160, 1e-11);
    assert_close(fit.standard_error[1], 0.000667938773228, 1e-11);
    assert_close(fit.residual_sd, 0.00349756396351, 1e-11);
    double r = fit.covariance[0][1] / (fit.standard_error[0] * fit.standard_error[1]);
    assert_close(r, -0.930429603093, 1e-11);
    struct fit_band at;
    assert_ok(fit_at(&fit, 10, 0.95, &at));
    assert_close(at.value, -0.149376812732, 1e-11);
    assert_close(at.standard_error, 0.00413859575285, 1e-11);
    assert_true(at.extrapolated);
    assert_within(at.high - at.value, 2.262 * 0.00413859575285, 1e-5); /* t of 9, Table G.2 */
    assert_close(
        at.predicted_high - at.value,
        (at.high - at.value) * hypot(0.00413859575285, 0.00349756396351) / 0.00413859575285, 1e-9);
}

/* Points on a curve of known parameters, with scatter that is drawn. */
static void draw(const struct fit_form *form, const double *p, double sd, uint64_t seed, double *x,
                 double *y, size_t count, double span)
{
    struct random random;
    random_seed(&random, seed);
    for (size_t i = 0; i < count; i++) {
        x[i] = span * (double)(i + 1) / (double)count;
        y[i] = form->value(x[i], p) + sd * random_normal(&random);
    }
}

static void forms_come_back_without_noise(void **state)
{
    (void)state;
    const struct {
        const struct fit_form *form;
        double p[3], span;
    } cases[] = {{&fit_line, {0.98, -0.0007, 0}, 365},
                 {&fit_exponential, {0.97, 0.0012, 0}, 365},
                 {&fit_exponential, {1e-3, 4e-8, 0}, 3e7},
                 {&fit_exponential, {24, -0.004, 0}, 300}, /* a resistance that grows */
                 {&fit_power, {1, 0.02, 0.5}, 365},
                 {&fit_power, {1900, -3, 1.4}, 365},
                 {&fit_power, {0.95, 0.04, 0.2}, 365}};
    for (size_t c = 0; c < COUNT(cases); c++) {
        double x[12], y[12];
        draw(cases[c].form, cases[c].p, 0, 1, x, y, 12, cases[c].span);
        struct fit fit;
        assert_ok(fit_points(cases[c].form, x, y, 12, &fit));
        for (size_t k = 0; k < cases[c].form->parameters; k++)
            assert_close(fit.value[k], cases[c].p[k], 1e-6);
    }
}

/* The criterion finds the form that made the data, and all three are there to be shown. */
static void criterion_chooses(void **state)
{
    (void)state;
    const struct {
        const struct fit_form *form;
        double p[3];
        int best;
    } cases[] = {{&fit_line, {1, -0.002, 0}, 0},
                 {&fit_exponential, {1, 0.008, 0}, 1},
                 {&fit_power, {1, 0.05, 0.4}, 2}};
    for (size_t c = 0; c < COUNT(cases); c++) {
        double x[40], y[40];
        draw(cases[c].form, cases[c].p, 0.003, 7, x, y, 40, 365);
        struct fit_choice choice;
        assert_ok(fit_choose(x, y, 40, &choice));
        assert_int_equal(choice.best, cases[c].best);
        for (int i = 0; i < FIT_CHOICES; i++) {
            assert_ok(choice.status[i]);
            assert_true(choice.fits[choice.best].aicc <= choice.fits[i].aicc);
        }
    }
}

/* By hand: y = 0 1 0 1 about its mean, a line of slope 0.2: n = 4, RSS 0.8, K = 3 has no correction
 * for four points; for five points n ln(RSS/n) + n ln(2 pi) + n + 2K + 2K(K+1)/(n-K-1). */
static void criterion_by_hand(void **state)
{
    (void)state;
    const double x[] = {0, 1, 2, 3, 4}, y[] = {0, 1, 0, 1, 0};
    struct fit fit;
    assert_ok(fit_points(&fit_line, x, y, 4, &fit));
    assert_close(fit.residual_squares, 0.8, 1e-14);
    assert_nan(fit.aicc);
    assert_ok(fit_points(&fit_line, x, y, 5, &fit));
    assert_close(fit.residual_squares, 1.2, 1e-14);
    assert_close(fit.aicc, 5 * log(1.2 / 5) + 5 * log(2 * M_PI) + 5 + 6 + 24, 1e-13);
}

/* 0.80 after 28 days by one exponential is 0.0545 after 365: the arithmetic of why 28 days say
 * nothing of a year. The forecast says that it is one. */
static void far_forecast_is_flagged(void **state)
{
    (void)state;
    const double x[] = {0, 7, 14, 21, 28};
    double y[5];
    for (size_t i = 0; i < 5; i++)
        y[i] = pow(0.80, x[i] / 28);
    struct fit fit;
    struct fit_band at;
    assert_ok(fit_points(&fit_exponential, x, y, 5, &fit));
    assert_ok(fit_at(&fit, 365, 0.95, &at));
    assert_within(at.value, 0.0545, 0.00005);
    assert_true(at.extrapolated);
    assert_ok(fit_at(&fit, 14, 0.95, &at));
    assert_true(!at.extrapolated);
}

/* Where a line crosses a level: the interval is Fieller's, the roots of
 * (a + b x - L)^2 = t^2 (1, x) C (1, x)', solved here as a quadratic. */
static void crossing_of_a_line(void **state)
{
    (void)state;
    const double p[] = {2000, -1.1};
    double x[10], y[10];
    draw(&fit_line, p, 12, 3, x, y, 10, 300);
    struct fit fit;
    struct fit_crossing at;
    assert_ok(fit_points(&fit_line, x, y, 10, &fit));
    assert_ok(fit_reaches(&fit, 1600, 0.95, &at));
    assert_close(at.x, (1600 - fit.value[0]) / fit.value[1], 1e-12);
    assert_true(at.extrapolated);
    double t = 2.306004135204166; /* 97.5 % of Student's t with 8 degrees of freedom */
    double qa = fit.value[1] * fit.value[1] - t * t * fit.covariance[1][1];
    double qb = 2 * ((fit.value[0] - 1600) * fit.value[1] - t * t * fit.covariance[0][1]);
    double qc = pow(fit.value[0] - 1600, 2) - t * t * fit.covariance[0][0];
    double root = sqrt(qb * qb - 4 * qa * qc);
    assert_close(at.low, (-qb - root) / (2 * qa), 1e-9);
    assert_close(at.high, (-qb + root) / (2 * qa), 1e-9);
    assert_close(at.standard_error,
                 sqrt(fit.covariance[0][0] + 2 * at.x * fit.covariance[0][1] +
                      at.x * at.x * fit.covariance[1][1]) /
                     fabs(fit.value[1]),
                 1e-6);
}

static void crossing_of_curves(void **state)
{
    (void)state;
    const double e[] = {1, 0.004}, p[] = {1, 0.02, 0.5};
    double x[10], y[10];
    struct fit fit;
    struct fit_crossing at;
    draw(&fit_exponential, e, 0, 1, x, y, 10, 100);
    assert_ok(fit_points(&fit_exponential, x, y, 10, &fit));
    assert_ok(fit_reaches(&fit, 0.8, 0.95, &at));
    assert_close(at.x, log(1 / 0.8) / 0.004, 1e-9);
    assert_close(at.low, at.x, 1e-6);
    assert_close(at.high, at.x, 1e-6);
    draw(&fit_power, p, 0.002, 5, x, y, 10, 200);
    assert_ok(fit_points(&fit_power, x, y, 10, &fit));
    assert_ok(fit_reaches(&fit, 0.8, 0.95, &at));
    assert_true(at.low < at.x && at.x < at.high && at.low > 0);
    struct fit_band band; /* each end of the interval is where the band lets go of the level */
    assert_ok(fit_at(&fit, at.low, 0.95, &band));
    assert_close(band.low, 0.8, 1e-6);
    assert_ok(fit_at(&fit, at.high, 0.95, &band));
    assert_close(band.high, 0.8, 1e-6);

    /* No level above where it starts is ever reached again. */
    assert_int_equal(fit_reaches(&fit, 1.5, 0.95, &at), ANALYSIS_NOT_REACHED);
    assert_nan(at.x);
}

/* Hardly any slope in much scatter: the level may never be reached, and the interval has no end. */
static void crossing_without_bound(void **state)
{
    (void)state;
    const double x[] = {50, 100, 150, 200}, y[] = {1.00, 0.97, 1.02, 0.96};
    struct fit fit;
    struct fit_crossing at;
    assert_ok(fit_points(&fit_line, x, y, 4, &fit));
    assert_ok(fit_reaches(&fit, 0.8, 0.95, &at));
    assert_true(isfinite(at.x) && isinf(at.high));
    const double t[] = {0, 50, 100, 150, 200, 250}, r[] = {1.00, 0.99, 0.94, 0.97, 0.91, 0.90};
    assert_ok(fit_points(&fit_power, t, r, 6, &fit));
    assert_ok(fit_reaches(&fit, 0.99, 0.95, &at));
    assert_true(at.low == 0 && at.high > at.x); /* a power of time begins at 0 */
}

static double sum_value(double x, const double *p)
{
    (void)x;
    return p[0] + p[1];
}

static void sum_gradient(double x, const double *p, double *dp)
{
    (void)x;
    (void)p;
    dp[0] = dp[1] = 1;
}

/* Two parameters of which only the sum shows: neither is known, and neither is told. */
static void dependent_parameters_no_fit(void **state)
{
    (void)state;
    static const struct fit_form sum = {.name = "sum",
                                        .formula = "a + b",
                                        .parameters = 2,
                                        .value = sum_value,
                                        .gradient = sum_gradient};
    const double x[] = {0, 1, 2, 3}, y[] = {1, 1.1, 0.9, 1}, start[] = {0.4, 0.4};
    struct fit fit;
    assert_int_equal(fit_points_from(&sum, start, x, y, 4, &fit), ANALYSIS_NO_FIT);
    assert_true(isnan(fit.value[0]) && isnan(fit.standard_error[1]));
}

/* A logarithm is the power whose exponent goes to 0 and never gets there: no fit, rather than the
 * last place where the iteration stood. */
static void no_rest_no_fit(void **state)
{
    (void)state;
    double x[12], y[12];
    for (size_t i = 0; i < 12; i++) {
        x[i] = 10 * (double)(i + 1);
        y[i] = 1 - 0.02 * log(x[i]) - 0.01 * pow(log(x[i]) - 3.5, 2) * -1;
    }
    struct fit fit;
    assert_int_equal(fit_points(&fit_power, x, y, 12, &fit), ANALYSIS_NO_FIT);
    assert_true(isnan(fit.value[2]) && isnan(fit.aicc));
}

static void statements_instead_of_numbers(void **state)
{
    (void)state;
    double x[] = {0, 10, 20, 30, 40}, y[] = {1, 0.98, 0.97, 0.95, 0.945};
    const double same[] = {28, 28, 28, 28, 28}, level[] = {1, 1, 1, 1, 1};
    struct fit fit;
    assert_int_equal(fit_points(&fit_line, x, y, 0, &fit), ANALYSIS_NO_DATA);
    assert_int_equal(fit_points(&fit_line, x, y, 2, &fit), ANALYSIS_TOO_FEW);
    assert_true(isnan(fit.value[0]) && isnan(fit.residual_sd));
    assert_int_equal(fit_points(&fit_power, x, y, 3, &fit), ANALYSIS_TOO_FEW);
    assert_int_equal(fit_points(&fit_line, same, y, 5, &fit), ANALYSIS_SAME_TIMES);
    assert_int_equal(fit_points(&fit_exponential, same, y, 5, &fit), ANALYSIS_SAME_TIMES);
    assert_int_equal(fit_points(&fit_line, x, level, 5, &fit), ANALYSIS_NO_SPREAD);
    y[2] = NAN;
    assert_int_equal(fit_points(&fit_line, x, y, 5, &fit), ANALYSIS_NOT_FINITE);
    y[2] = 0.97;
    x[0] = -1;
    assert_int_equal(fit_points(&fit_power, x, y, 5, &fit), ANALYSIS_NEGATIVE_TIME);
    assert_nan(fit.value[2]);
    struct fit_band at;
    assert_int_equal(fit_at(&fit, 10, 0.95, &at), ANALYSIS_NO_FIT);
    assert_nan(at.value);
    struct fit_choice choice;
    assert_int_equal(fit_choose(x, y, 3, &choice), ANALYSIS_TOO_FEW);
    assert_int_equal(choice.best, -1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nist_norris),
        cmocka_unit_test(nist_misra1a),
        cmocka_unit_test(gum_h3_calibration_line),
        cmocka_unit_test(forms_come_back_without_noise),
        cmocka_unit_test(criterion_chooses),
        cmocka_unit_test(criterion_by_hand),
        cmocka_unit_test(far_forecast_is_flagged),
        cmocka_unit_test(crossing_of_a_line),
        cmocka_unit_test(crossing_of_curves),
        cmocka_unit_test(crossing_without_bound),
        cmocka_unit_test(dependent_parameters_no_fit),
        cmocka_unit_test(no_rest_no_fit),
        cmocka_unit_test(statements_instead_of_numbers),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
