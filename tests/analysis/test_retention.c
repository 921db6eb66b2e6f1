/* Retention: facts of the trade, temperature rules, forecasts by one fit and by cells. */
#include "analysis/check.h"

#include "analysis/retention.h"
#include "analysis/uncertainty.h"
#include "base/random.h"

#define RATED (2.0 * 3600)

static void ratio_and_loss(void **state)
{
    (void)state;
    double ratio, u, loss;
    assert_ok(retention_ratio(1.86 * 3600, 0, 2.0 * 3600, 0, 0, &ratio, &u));
    assert_close(ratio, 0.93, 1e-14);
    assert_true(u == 0);

    /* 7 % in 42 days is 0.167 % a day (common practice, no source). */
    assert_ok(retention_loss_a_day(ratio, 42, &loss));
    assert_within(100 * loss, 0.167, 0.0005);
    /* 80 % after 28 days, the standard's interval, is 0.714 % a day. */
    assert_ok(retention_loss_a_day(0.80, 28, &loss));
    assert_within(100 * loss, 0.714, 0.0005);
}

/* Relative uncertainties add as squares in a quotient; what is off alike cancels. */
static void uncertainty_of_a_ratio(void **state)
{
    (void)state;
    double ratio, u;
    assert_ok(retention_ratio(1600, 8, 2000, 6, 0, &ratio, &u));
    assert_close(u, 0.8 * hypot(8.0 / 1600, 6.0 / 2000), 1e-13);
    assert_ok(retention_ratio(1600, 8, 2000, 10, 1, &ratio, &u)); /* 0.5 % of gain both times */
    assert_within(u, 0, 1e-9);
}

/* Twice as fast for 10 K more is 51.2 kJ/mol from 20 to 30 degC; three times from 20 to 40 degC is
 * a Q10 of 1.73, or 41.9 kJ/mol (Arrhenius' law; the figures recomputed). */
static void temperature_rules(void **state)
{
    (void)state;
    const struct warming_rule twice = {WARMING_Q10, 2, NAN, 20};
    const struct warming_rule arrhenius = {WARMING_ARRHENIUS, NAN, 51.2e3, 20};
    const struct warming_rule q = {WARMING_Q10, 1.73, NAN, 20};
    const struct warming_rule slower = {WARMING_ARRHENIUS, NAN, 41.9e3, 20};
    double factor;
    assert_ok(retention_speed(&twice, 30, &factor));
    assert_close(factor, 2, 1e-14);
    assert_ok(retention_speed(&twice, 10, &factor));
    assert_close(factor, 0.5, 1e-14);
    assert_ok(retention_speed(&arrhenius, 30, &factor));
    assert_within(factor, 2, 0.001);
    assert_ok(retention_speed(&q, 40, &factor));
    assert_within(factor, 3, 0.01);
    assert_ok(retention_speed(&slower, 40, &factor));
    assert_within(factor, 3, 0.005);
    assert_ok(
        retention_speed(NULL, NAN, &factor)); /* no rule, no correction, no temperature asked */
    assert_true(factor == 1);
    assert_int_equal(retention_speed(&twice, NAN, &factor), ANALYSIS_NOT_FINITE);
    assert_nan(factor);
    assert_int_equal(retention_speed(&twice, -300, &factor), ANALYSIS_OUT_OF_RANGE);
}

static const double ages[] = {7, 28, 42, 90, 182, 365};

/* Cells whose charge decays by cell i's own exponential a exp(-k t). */
static size_t make_checks(size_t cells, bool each_once, double sd, uint64_t seed,
                          struct retention_check *checks)
{
    struct random random;
    random_seed(&random, seed);
    size_t n = 0;
    for (size_t c = 0; c < cells; c++) {
        double k = 0.001 * (1 + 0.1 * random_normal(&random));
        double fresh = RATED * (1 + 0.01 * random_normal(&random));
        for (size_t a = 0; a < COUNT(ages); a++) {
            if (each_once && a != c % COUNT(ages))
                continue;
            double left = fresh * (exp(-k * ages[a]) + sd * random_normal(&random));
            checks[n++] = (struct retention_check){c, ages[a], left, fresh, RATED, 20};
        }
    }
    return n;
}

static void forecast_of_cells_opened_once(void **state)
{
    (void)state;
    struct retention_check checks[24];
    size_t n = make_checks(24, true, 0.005, 11, checks);
    assert_true(n == 24);
    struct retention_fits fits;
    assert_ok(retention_fit(&(struct retention_arm){checks, n, NULL, NULL}, &fits));
    assert_true(!fits.by_cell && fits.best >= 0);
    for (int i = 0; i < FIT_CHOICES; i++)
        assert_true(fits.aicc[i] == fits.pooled.fits[i].aicc);
    const double days[] = {100, 730};
    struct retention_forecast out[2];
    assert_ok(retention_forecast(&(struct retention_arm){checks, n, NULL, NULL}, &fit_exponential,
                                 days, 2, 0.95, out));
    assert_within(out[0].value, exp(-0.1), 0.01);
    assert_true(out[0].low < out[0].value && out[0].value < out[0].high);
    assert_true(out[0].predicted_low < out[0].low && out[0].high < out[0].predicted_high);
    assert_true(!out[0].extrapolated && out[1].extrapolated && out[0].cells == 24);
}

/* Without noise: each cell's curve is exact, so the mean over cells and its t interval are those of
 * the cells' true values. */
static void forecast_of_cells_checked_repeatedly(void **state)
{
    (void)state;
    struct retention_check checks[30];
    size_t n = make_checks(4, false, 0, 12, checks);
    assert_true(n == 24);
    double truth[4], mean = 0, squares = 0;
    for (size_t c = 0; c < 4; c++) {
        const struct retention_check *last = &checks[c * 6 + 5];
        truth[c] = pow(last->left / last->fresh, 500.0 / 365);
        mean += truth[c] / 4;
    }
    for (size_t c = 0; c < 4; c++)
        squares += pow(truth[c] - mean, 2);
    const double day = 500;
    struct retention_forecast out;
    assert_ok(retention_forecast(&(struct retention_arm){checks, n, NULL, NULL}, &fit_exponential,
                                 &day, 1, 0.95, &out));
    assert_close(out.value, mean, 1e-7);
    double half = 3.182446305283711 * sqrt(squares / 3); /* t of 3 degrees of freedom */
    assert_close(out.high - out.value, half / 2, 1e-5);
    assert_close(out.predicted_high - out.value, half * sqrt(1.25), 1e-5);
    assert_true(out.extrapolated && out.cells == 4);
    struct retention_fits fits;
    assert_ok(retention_fit(&(struct retention_arm){checks, n, NULL, NULL}, &fits));
    assert_true(fits.by_cell && fits.best == 1);
}

/* The mean of five fresh cells, known to 1 % of itself, moves all retentions alike: half widths
 * become those of the two errors together (JCGM 100:2008, 5.1.2 and G.4.1), by hand at one day. */
static void shared_fresh_set(void **state)
{
    (void)state;
    struct retention_check checks[24];
    size_t n = make_checks(24, true, 0.005, 11, checks);
    const struct fresh_set set = {0.01, 4};
    const double day = 100;
    struct retention_forecast own, shared;
    struct retention_arm arm = {checks, n, NULL, NULL};
    assert_ok(retention_forecast(&arm, &fit_exponential, &day, 1, 0.95, &own));
    arm.fresh = &set;
    assert_ok(retention_forecast(&arm, &fit_exponential, &day, 1, 0.95, &shared));
    assert_true(shared.value == own.value);
    double fit = (own.high - own.value) / 2.073873067904025; /* t of 22 degrees of freedom */
    double both = hypot(fit, 0.01 * own.value);
    double freedom = pow(both, 4) / (pow(fit, 4) / 22 + pow(0.01 * own.value, 4) / 4);
    assert_true(freedom > 4 && freedom < 5);
    assert_close(shared.high - shared.value, 2.776445105197787 * both, 1e-9); /* t of 4 */

    double one = (own.predicted_high - own.value) / 2.073873067904025;
    both = hypot(one, 0.01 * own.value);
    freedom = pow(both, 4) / (pow(one, 4) / 22 + pow(0.01 * own.value, 4) / 4);
    assert_close(shared.predicted_high - shared.value, coverage_factor(0.95, freedom) * both, 1e-9);
}

/* A year at 30 degC with a rule of twice per 10 K is two years at 20 degC. */
static void days_at_the_reference(void **state)
{
    (void)state;
    struct retention_check checks[] = {{0, 365, 0.7 * RATED, RATED, RATED, 30},
                                       {1, 100, 0.9 * RATED, RATED, RATED, 20}};
    const struct warming_rule twice = {WARMING_Q10, 2, NAN, 20};
    double x[2], y[2];
    assert_ok(retention_points(&(struct retention_arm){checks, 2, &twice, NULL}, x, y));
    assert_close(x[0], 730, 1e-13);
    assert_close(x[1], 100, 1e-13);
    assert_close(y[0], 0.7, 1e-14);
    assert_ok(retention_points(&(struct retention_arm){checks, 2, NULL, NULL}, x, y));
    assert_true(x[0] == 365);
}

/* A falling line goes below nothing; what is told does not. */
static void no_charge_below_none(void **state)
{
    (void)state;
    struct retention_check checks[6];
    for (size_t i = 0; i < 6; i++)
        checks[i] =
            (struct retention_check){i,
                                     10 * (double)(i + 1),
                                     RATED * (1 - 0.01 * (double)(i + 1) - (i % 2 ? 0.001 : 0)),
                                     RATED,
                                     RATED,
                                     20};
    const double day = 2000;
    struct retention_forecast out;
    assert_ok(retention_forecast(&(struct retention_arm){checks, 6, NULL, NULL}, &fit_line, &day, 1,
                                 0.95, &out));
    assert_true(out.value == 0 && out.low == 0 && out.predicted_low == 0);
}

static void statements_instead_of_numbers(void **state)
{
    (void)state;
    struct retention_check checks[24];
    size_t n = make_checks(24, true, 0.005, 11, checks);
    double x[24], y[24], ratio, u;
    struct retention_fits fits;
    assert_int_equal(retention_points(&(struct retention_arm){checks, 0, NULL, NULL}, x, y),
                     ANALYSIS_NO_DATA);
    checks[3].fresh = NAN;
    assert_int_equal(retention_points(&(struct retention_arm){checks, n, NULL, NULL}, x, y),
                     ANALYSIS_NO_REFERENCE);
    assert_true(isnan(x[0]) && isnan(y[3]));
    assert_int_equal(retention_fit(&(struct retention_arm){checks, n, NULL, NULL}, &fits),
                     ANALYSIS_NO_REFERENCE);
    assert_true(fits.best == -1 && isnan(fits.aicc[0]));
    checks[3].fresh = RATED;
    checks[3].rated = 1.9 * 3600;
    assert_int_equal(retention_points(&(struct retention_arm){checks, n, NULL, NULL}, x, y),
                     ANALYSIS_MIXED_RATINGS);
    checks[3].rated = RATED;
    checks[3].days = -1;
    assert_int_equal(retention_points(&(struct retention_arm){checks, n, NULL, NULL}, x, y),
                     ANALYSIS_NEGATIVE_TIME);
    checks[3].days = NAN;
    assert_int_equal(retention_points(&(struct retention_arm){checks, n, NULL, NULL}, x, y),
                     ANALYSIS_NOT_FINITE);
    checks[3].days = 90;
    checks[3].cell = 9; /* checked twice now */
    assert_int_equal(retention_fit(&(struct retention_arm){checks, n, NULL, NULL}, &fits),
                     ANALYSIS_MIXED_CHECKS);

    const double day = 365, before = -1;
    struct retention_forecast out;
    assert_int_equal(retention_forecast(&(struct retention_arm){checks, 6, NULL, NULL}, &fit_line,
                                        &before, 1, 0.95, &out),
                     ANALYSIS_NEGATIVE_TIME);
    n = make_checks(1, false, 0.002, 1, checks);
    assert_int_equal(retention_forecast(&(struct retention_arm){checks, n, NULL, NULL}, &fit_line,
                                        &day, 1, 0.95, &out),
                     ANALYSIS_ONE_CELL);
    assert_true(isnan(out.value) && isnan(out.low));
    n = make_checks(2, true, 0.002, 1, checks);
    assert_int_equal(retention_forecast(&(struct retention_arm){checks, n, NULL, NULL}, &fit_line,
                                        &day, 1, 0.95, &out),
                     ANALYSIS_TOO_FEW);

    assert_int_equal(retention_ratio(1600, 0, NAN, 0, 0, &ratio, &u), ANALYSIS_NO_REFERENCE);
    assert_int_equal(retention_ratio(1600, 0, 0, 0, 0, &ratio, &u), ANALYSIS_OUT_OF_RANGE);
    assert_nan(ratio);
    assert_int_equal(retention_loss_a_day(0.9, 0, &u), ANALYSIS_OUT_OF_RANGE);
    assert_int_equal(retention_loss_a_day(0.9, -3, &u), ANALYSIS_NEGATIVE_TIME);
    assert_nan(u);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(ratio_and_loss),
        cmocka_unit_test(uncertainty_of_a_ratio),
        cmocka_unit_test(temperature_rules),
        cmocka_unit_test(forecast_of_cells_opened_once),
        cmocka_unit_test(forecast_of_cells_checked_repeatedly),
        cmocka_unit_test(shared_fresh_set),
        cmocka_unit_test(days_at_the_reference),
        cmocka_unit_test(no_charge_below_none),
        cmocka_unit_test(statements_instead_of_numbers),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
