/* Do the intervals hold what they promise? Synthetic cells of known truth, thousands of simulated
 * studies: an interval of 95 % should hold the truth in 95 % of them. Prints the figures and fails
 * when one is outside of 93 to 97 %. Takes some seconds; not among the tests that always run:
 *
 *     analysis_coverage [STUDIES [SEED]]
 *
 * Each line below is one kind of study, with few cells, as a bench has them. */
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>

#include "analysis/accuracy.h"
#include "analysis/bias.h"
#include "analysis/compare.h"
#include "analysis/fit.h"
#include "analysis/numbers.h"
#include "analysis/resistance.h"
#include "analysis/retention.h"
#include "analysis/summary.h"
#include "analysis/wear.h"
#include "base/random.h"

#define LEVEL 0.95

static struct random rng;

static double normal(double mean, double sd)
{
    return mean + sd * random_normal(&rng);
}

static bool holds(double low, double high, double truth)
{
    return low <= truth && truth <= high;
}

/* A study returns 1 when its interval holds the truth, 0 when it does not, -1 when it gave none. */
typedef int study(void);

/* Capacity of a model from four cells: 2000 mAh, 1 % between cells, 0.3 % of measurement. */
static int mean_of_four(void)
{
    double mah[4];
    struct summary out;
    for (size_t i = 0; i < 4; i++)
        mah[i] = normal(normal(2000, 20), 6);
    return summary_of(mah, 4, LEVEL, &out) == ANALYSIS_OK ? holds(out.low, out.high, 2000) : -1;
}

/* Two models, 4 and 6 cells, scatter of 1 % and 2 %. */
static int difference_of_two(void)
{
    double a[4], b[6];
    const struct group ga = {a, 4}, gb = {b, 6};
    struct difference out;
    for (size_t i = 0; i < 6; i++) {
        if (i < 4)
            a[i] = normal(2000, 20);
        b[i] = normal(1950, 40);
    }
    return compare_two(&ga, &gb, LEVEL, &out) == ANALYSIS_OK ? holds(out.low, out.high, 50) : -1;
}

/* Resistance before and after a year, six cells measured twice. */
static int paired_change(void)
{
    double before[6], after[6];
    struct wear_pair out;
    for (size_t i = 0; i < 6; i++) {
        double cell = normal(24, 2);
        before[i] = normal(cell, 0.5);
        after[i] = normal(cell + normal(8, 1.5), 0.5);
    }
    return wear_paired(before, after, 6, LEVEL, &out) == ANALYSIS_OK ? holds(out.low, out.high, 8)
                                                                     : -1;
}

/* Shelf cells opened once each, three at each of four ages; mean retention 0.97 exp(-0.0009 t). */
static int shelf_opened_once(double day, const struct fit_form *form)
{
    static const double ages[] = {28, 42, 182, 365};
    struct retention_check checks[12];
    for (size_t i = 0; i < 12; i++) {
        double days = ages[i / 3], left = normal(0.97 * exp(-0.0009 * days), 0.012);
        checks[i] = (struct retention_check){i, days, 7200 * left, 7200, 7200, 20};
    }
    struct retention_forecast out;
    if (retention_forecast(&(struct retention_arm){checks, 12, NULL, NULL}, form, &day, 1, LEVEL,
                           &out) != ANALYSIS_OK)
        return -1;
    return holds(out.low, out.high, 0.97 * exp(-0.0009 * day));
}

static int shelf_within(void)
{
    return shelf_opened_once(100, &fit_exponential);
}

static int shelf_beyond(void)
{
    return shelf_opened_once(730, &fit_exponential);
}

/* Where one more cell will lie. */
static int shelf_one_more_cell(void)
{
    static const double ages[] = {28, 42, 182, 365};
    struct retention_check checks[12];
    for (size_t i = 0; i < 12; i++) {
        double days = ages[i / 3], left = normal(0.97 * exp(-0.0009 * days), 0.012);
        checks[i] = (struct retention_check){i, days, 7200 * left, 7200, 7200, 20};
    }
    struct retention_forecast out;
    const double day = 250;
    if (retention_forecast(&(struct retention_arm){checks, 12, NULL, NULL}, &fit_exponential, &day,
                           1, LEVEL, &out) != ANALYSIS_OK)
        return -1;
    return holds(out.predicted_low, out.predicted_high, normal(0.97 * exp(-0.0009 * day), 0.012));
}

/* Shelf cells against the mean of four others that were measured fresh; 1 % between cells. */
static int shelf_against_fresh_set(void)
{
    static const double ages[] = {28, 42, 182, 365};
    double mah[4];
    struct summary fresh;
    for (size_t i = 0; i < 4; i++)
        mah[i] = normal(2000, 20);
    if (summary_of(mah, 4, LEVEL, &fresh) != ANALYSIS_OK)
        return -1;
    struct retention_check checks[12];
    for (size_t i = 0; i < 12; i++) {
        double days = ages[i / 3], cell = normal(2000, 20);
        checks[i] = (struct retention_check){i,          days, cell * 0.97 * exp(-0.0009 * days),
                                             fresh.mean, 2000, 20};
    }
    const struct fresh_set set = {fresh.standard_error / fresh.mean, 3};
    const struct retention_arm arm = {checks, 12, NULL, &set};
    struct retention_forecast out;
    const double day = 100;
    if (retention_forecast(&arm, &fit_exponential, &day, 1, LEVEL, &out) != ANALYSIS_OK)
        return -1;
    return holds(out.low, out.high, 0.97 * exp(-0.0009 * day));
}

/* Five cells, each checked six times; each loses charge at its own rate. Truth: the mean over all
 * cells there could be, exp(-m t + s^2 t^2 / 2) for normal rates. */
static int shelf_checked_repeatedly(void)
{
    static const double ages[] = {14, 28, 42, 90, 182, 365};
    const double rate = 0.0009, sd = 0.00012, day = 500;
    struct retention_check checks[30];
    for (size_t c = 0; c < 5; c++) {
        double k = normal(rate, sd);
        for (size_t a = 0; a < 6; a++)
            checks[c * 6 + a] = (struct retention_check){
                c, ages[a], 7200 * normal(exp(-k * ages[a]), 0.003), 7200, 7200, 20};
    }
    struct retention_forecast out;
    if (retention_forecast(&(struct retention_arm){checks, 30, NULL, NULL}, &fit_exponential, &day,
                           1, LEVEL, &out) != ANALYSIS_OK)
        return -1;
    return holds(out.low, out.high, exp(-rate * day + sd * sd * day * day / 2));
}

static void worn_cell(double *cycles, double *values, double to_80, double noise)
{
    for (size_t i = 0; i < 7; i++) {
        cycles[i] = 50 * (double)i;
        values[i] = normal(2000 - 400 * cycles[i] / to_80, noise);
    }
}

/* One cell of 400 cycles to 80 %, checked at every 50th of 300 cycles. */
static int wear_of_one_cell(void)
{
    double cycles[7], values[7];
    worn_cell(cycles, values, 400, 12);
    const struct wear_course course = {cycles, values, 7, 2000};
    struct fit_crossing out;
    return wear_fitted(&course, &fit_line, WEAR_WORN, LEVEL, &out) == ANALYSIS_OK
               ? holds(out.low, out.high, 400)
               : -1;
}

/* Four cells of 400 cycles in the mean, 40 between cells. */
static int wear_of_four_cells(void)
{
    double cycles[4][7], values[4][7];
    struct wear_course courses[4];
    struct fit_crossing each[4];
    struct wear_summary out;
    for (size_t c = 0; c < 4; c++) {
        worn_cell(cycles[c], values[c], normal(400, 40), 6);
        courses[c] = (struct wear_course){cycles[c], values[c], 7, 2000};
    }
    return wear_of_arm(courses, 4, &fit_line, WEAR_WORN, LEVEL, each, &out) == ANALYSIS_OK
               ? holds(out.cycles.low, out.cycles.high, 400)
               : -1;
}

/* Parts of a relaxation: 25 mohm, 18 mohm, 25 s; 120 readings with 1 mV of noise. */
static int relaxation(int part)
{
    double t[120], v[120];
    double built = -2 * 0.018 * (1 - exp(-20.0 / 25));
    for (size_t k = 0; k < 120; k++) {
        t[k] = 0.5 + (double)k;
        v[k] = normal(1.30 + built * exp(-t[k] / 25), 0.001);
    }
    const struct relaxation r = {normal(1.30 - 2 * 0.025 + built, 0.001), -2, 0, 20, t, v, 120};
    struct resistance_parts out;
    if (resistance_of_relaxation(&r, &out) != ANALYSIS_OK)
        return -1;
    double factor = t_factor(LEVEL, out.freedom);
    const double is[] = {out.r0, out.r1, out.tau}, truth[] = {0.025, 0.018, 25};
    const double error[] = {out.r0_error, out.r1_error, out.tau_error};
    return fabs(is[part] - truth[part]) <= factor * error[part];
}

static int ohmic_part(void)
{
    return relaxation(0);
}

static int polarisation_part(void)
{
    return relaxation(1);
}

static int time_constant(void)
{
    return relaxation(2);
}

/* Three cells once on each of three channels; the first channel reads 4 mAh above their mean. */
static int channel_bias(void)
{
    static const double truth[] = {4, -1, -3};
    struct bias_run runs[9];
    struct channel_bias biases[3];
    struct bias_summary out;
    double cell = 0;
    for (size_t i = 0; i < 9; i++) {
        cell = i % 3 == 0 ? normal(2000, 20) : cell;
        runs[i] = (struct bias_run){i / 3, i % 3, normal(cell + truth[i % 3], 3)};
    }
    if (bias_of_channels(runs, 9, 3, 3, BIAS_ADDITIVE, biases, &out) != ANALYSIS_OK)
        return -1;
    return fabs(biases[0].bias - 4) <= t_factor(LEVEL, out.freedom) * biases[0].standard_error;
}

/* Energy of a run at 0.4 A and 1.2 V for 5 h, every error anywhere within its limits; U = k u.
 * Errors with hard limits reach out less than normal ones: somewhat more than 95 % is right. */
static int instrument_limits(void)
{
    const struct meters meters = {
        .voltage = {0.002, 0.002, 0}, .current = {0.001, 0.0005, 0}, .time = {0.0005, 5, 0}};
    double dv = (2 * random_unit(&rng) - 1) * (0.002 * 1.2 + 0.002);
    double di = (2 * random_unit(&rng) - 1) * (0.001 * 0.4 + 0.0005);
    double dt = (2 * random_unit(&rng) - 1) * (0.0005 * 18000 + 5);
    double energy = (1.2 + dv) * (0.4 + di) * (18000 + dt), u;
    const struct delivered run = {energy / (1.2 + dv), energy, 18000 + dt, 1.2 + dv, 0};
    if (accuracy_of_energy(&meters, &run, &u) != ANALYSIS_OK)
        return -1;
    return fabs(energy - 0.4 * 1.2 * 18000) <= t_factor(LEVEL, INFINITY) * u;
}

static const struct {
    const char *what;
    study *run;
} studies[] = {
    {"mean of 4 cells", mean_of_four},
    {"difference of 4 and 6 cells (Welch)", difference_of_two},
    {"paired change of 6 cells", paired_change},
    {"retention, 12 cells opened once, day 100", shelf_within},
    {"retention, the same, forecast to day 730", shelf_beyond},
    {"retention, one more cell (prediction)", shelf_one_more_cell},
    {"retention, 12 cells against 4 fresh ones", shelf_against_fresh_set},
    {"retention, 5 cells checked 6 times, day 500", shelf_checked_repeatedly},
    {"cycles to 80 %, one cell", wear_of_one_cell},
    {"cycles to 80 %, mean of 4 cells", wear_of_four_cells},
    {"relaxation, ohmic part", ohmic_part},
    {"relaxation, polarisation part", polarisation_part},
    {"relaxation, time constant", time_constant},
    {"channel bias, 3 cells on 3 channels", channel_bias},
    {"energy, three instrument limits", instrument_limits},
};

int main(int argc, char **argv)
{
    long count = argc > 1 ? strtol(argv[1], NULL, 10) : 2000;
    uint64_t seed = argc > 2 ? strtoull(argv[2], NULL, 10) : 1;
    bool all_well = count > 0;
    printf("%ld studies each, seed %llu, intervals of 95 %%\n", count, (unsigned long long)seed);
    for (size_t s = 0; s < sizeof studies / sizeof studies[0]; s++) {
        random_seed(&rng, seed_for(seed, studies[s].what));
        long held = 0, none = 0;
        for (long i = 0; i < count; i++) {
            int result = studies[s].run();
            held += result == 1;
            none += result < 0;
        }
        double percent = 100.0 * (double)held / (double)(count - none);
        bool well = percent >= 93 && percent <= 97;
        all_well = all_well && well;
        printf("%-46s %6.2f %% %s", studies[s].what, percent, well ? "" : "  OUTSIDE 93 to 97 %");
        if (none > 0)
            printf("  (%ld gave no interval)", none);
        printf("\n");
    }
    return all_well ? 0 : 1;
}
