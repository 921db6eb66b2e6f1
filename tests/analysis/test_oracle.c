/* A second opinion: the same drawn data through this layer and through a public statistics language
 * (oracle.R), every figure side by side. Skipped, and says so, where Rscript is not installed. */
#include "analysis/check.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "analysis/bias.h"
#include "analysis/compare.h"
#include "analysis/fit.h"
#include "analysis/numbers.h"
#include "analysis/ranking.h"
#include "analysis/ranks.h"
#include "analysis/summary.h"
#include "analysis/survival.h"
#include "analysis/uncertainty.h"
#include "analysis/wear.h"
#include "base/random.h"

#define FIGURES_MOST 200

static struct {
    char name[32];
    double value;
} figures[FIGURES_MOST];
static size_t figure_count;
static bool have_oracle;

/* What it said; a figure that it did not give fails. */
static double oracle(const char *name)
{
    for (size_t i = 0; i < figure_count; i++) {
        if (strcmp(figures[i].name, name) == 0)
            return figures[i].value;
    }
    print_error("the oracle is silent about %s\n", name);
    return NAN;
}

static double oracle_at(const char *name, size_t index)
{
    char full[128];
    snprintf(full, sizeof full, "%s%zu", name, index);
    return oracle(full);
}

/* The data: drawn once, of plausible size. */
enum {
    NA = 7,
    NB = 6,
    NC = 9,
    PAIRS = 11,
    TESTS = 8,
    JUDGES = 12,
    POINTS = 14,
    RUNS = 18,
    LIVES = 20
};
static double a[NA], b[NB], c[NC], x[PAIRS], y[PAIRS], p[TESTS], judged[JUDGES * 4];
static double t[POINTS], r[POINTS], run_cell[RUNS], run_channel[RUNS], run_value[RUNS];
static double life1[LIVES], life2[LIVES], ended1[LIVES], ended2[LIVES];

static void draw_all(void)
{
    struct random random;
    random_seed(&random, 20260302);
    for (size_t i = 0; i < NC; i++) {
        if (i < NA)
            a[i] = 1950 + 8 * random_normal(&random);
        if (i < NB)
            b[i] = 1962 + 15 * random_normal(&random);
        c[i] = 1958 + 5 * random_normal(&random);
    }
    for (size_t i = 0; i < PAIRS; i++) {
        x[i] = 24 + 3 * random_normal(&random);
        y[i] = x[i] * 1.1 + 2 * random_normal(&random);
    }
    for (size_t i = 0; i < TESTS; i++)
        p[i] = 0.08 * random_unit(&random);
    for (size_t i = 0; i < JUDGES * 4; i++) /* coarse, for ties */
        judged[i] = floor(4 * random_unit(&random)) + (double)(i % 4) / 2;
    for (size_t i = 0; i < POINTS; i++) {
        t[i] = 25 * (double)(i + 1);
        r[i] = exp(-0.0012 * t[i]) - 0.004 * sqrt(t[i]) + 0.004 * random_normal(&random);
    }
    for (size_t i = 0; i < RUNS; i++) {
        run_cell[i] = (double)(i % 4);
        run_channel[i] = (double)(i * 7 / 4 % 3);
        run_value[i] = 1900 + 30 * run_cell[i] + 4 * run_channel[i] + random_normal(&random);
    }
    for (size_t i = 0; i < LIVES; i++) {
        double one = floor(-300 * log(1 - random_unit(&random)) / 25) * 25 + 25;
        double two = floor(-150 * log(1 - random_unit(&random)) / 25) * 25 + 25;
        life1[i] = fmin(one, 400); /* the study ends at 400 cycles */
        life2[i] = fmin(two, 400);
        ended1[i] = one < 400;
        ended2[i] = two < 400;
    }
}

static void write_series(FILE *file, const char *name, const double *values, size_t count)
{
    fprintf(file, "%s", name);
    for (size_t i = 0; i < count; i++)
        fprintf(file, " %.17g", values[i]);
    fprintf(file, "\n");
}

static int ask_oracle(void **state)
{
    (void)state;
    draw_all();
    if (system("command -v Rscript >/dev/null 2>&1") != 0) {
        print_message("Rscript is not installed: the second opinion is skipped\n");
        return 0;
    }
    char path[] = "/tmp/perdure_oracle_XXXXXX", command[512];
    int descriptor = mkstemp(path);
    FILE *file = descriptor < 0 ? NULL : fdopen(descriptor, "w");
    if (file == NULL)
        return -1;
    const struct {
        const char *name;
        const double *values;
        size_t count;
    } series[] = {{"a", a, NA},
                  {"b", b, NB},
                  {"c", c, NC},
                  {"x", x, PAIRS},
                  {"y", y, PAIRS},
                  {"p", p, TESTS},
                  {"judged", judged, JUDGES * 4},
                  {"t", t, POINTS},
                  {"r", r, POINTS},
                  {"run_cell", run_cell, RUNS},
                  {"run_channel", run_channel, RUNS},
                  {"run_value", run_value, RUNS},
                  {"life1", life1, LIVES},
                  {"life2", life2, LIVES},
                  {"ended1", ended1, LIVES},
                  {"ended2", ended2, LIVES}};
    for (size_t i = 0; i < COUNT(series); i++)
        write_series(file, series[i].name, series[i].values, series[i].count);
    fclose(file);
    snprintf(command, sizeof command, "LC_ALL=C Rscript --vanilla '%s/tests/analysis/oracle.R' %s",
             SOURCE_DIR, path);
    FILE *answer = popen(command, "r");
    if (answer == NULL)
        return -1;
    while (figure_count < FIGURES_MOST && fscanf(answer, "%31s %lf", figures[figure_count].name,
                                                 &figures[figure_count].value) == 2)
        figure_count++;
    have_oracle = true;
    int status = pclose(answer);
    unlink(path);
    return status == 0 ? 0 : -1;
}

#define NEEDS_ORACLE                                                                               \
    do {                                                                                           \
        (void)state;                                                                               \
        if (!have_oracle)                                                                          \
            skip();                                                                                \
    } while (0)

#define TIGHT           1e-10
#define agree(is, name) assert_close((is), oracle(name), TIGHT)

static void one_group(void **state)
{
    NEEDS_ORACLE;
    struct summary out;
    double q90;
    assert_ok(summary_of(a, NA, 0.95, &out));
    assert_ok(summary_quantile(a, NA, 0.9, &q90));
    agree(out.mean, "mean");
    agree(out.sd, "sd");
    agree(out.low, "low");
    agree(out.upper_quartile, "upper_quartile");
    agree(q90, "q90");
    agree(t_factor(0.95, 7.3), "t_factor");
    agree(t_factor(0.99, 1), "t_factor_small");
    agree(t_two_sided(3.7, 4.6), "t_tail");
}

static void groups(void **state)
{
    NEEDS_ORACLE;
    const struct group all[] = {{a, NA}, {b, NB}, {c, NC}};
    struct difference d;
    assert_ok(compare_two(&all[0], &all[1], 0.95, &d));
    agree(d.t, "welch_t");
    agree(d.freedom, "welch_freedom");
    agree(d.p, "welch_p");
    agree(d.low, "welch_low");
    agree(d.high, "welch_high");
    struct variance_analysis v;
    assert_ok(compare_anova(all, 3, &v));
    agree(v.f, "anova_f");
    agree(v.p, "anova_p");
    assert_ok(compare_welch_anova(all, 3, &v));
    agree(v.f, "welch_f");
    agree(v.within_freedom, "welch_f_freedom");
    agree(v.p, "welch_f_p");
    double adjusted[TESTS];
    assert_ok(compare_holm(p, TESTS, adjusted));
    for (size_t i = 0; i < TESTS; i++)
        assert_close(adjusted[i], oracle_at("holm", i), TIGHT);
}

static void ranks(void **state)
{
    NEEDS_ORACLE;
    const struct group all[] = {{a, NA}, {b, NB}, {c, NC}};
    struct rank_analysis k;
    struct rank_test w;
    struct agreement f;
    assert_ok(ranks_kruskal_wallis(all, 3, &k));
    agree(k.h, "kruskal_h");
    agree(k.p, "kruskal_p");
    assert_ok(ranks_two(&all[0], &all[1], &w));
    assert_true(w.exact);
    agree(w.statistic, "rank_sum");
    agree(w.p, "rank_sum_p");
    double coarse_a[NA], coarse_b[NB];
    for (size_t i = 0; i < NA; i++)
        coarse_a[i] = round(a[i] / 10);
    for (size_t i = 0; i < NB; i++)
        coarse_b[i] = round(b[i] / 10);
    const struct group ca = {coarse_a, NA}, cb = {coarse_b, NB};
    assert_ok(ranks_two(&ca, &cb, &w));
    assert_false(w.exact); /* there are ties now */
    agree(w.statistic, "rank_sum_ties");
    agree(w.p, "rank_sum_ties_p");
    assert_ok(ranks_paired(x, y, PAIRS, &w));
    agree(w.statistic, "signed");
    agree(w.p, "signed_p");
    assert_ok(ranking_agreement(judged, JUDGES, 4, &f));
    agree(f.chi2, "friedman_chi2");
    agree(f.p, "friedman_p");
}

static void paired(void **state)
{
    NEEDS_ORACLE;
    struct wear_pair out;
    assert_ok(wear_paired(x, y, PAIRS, 0.95, &out));
    agree(out.t, "paired_t");
    agree(out.p, "paired_p");
    agree(out.high, "paired_high");
}

static void check_fit(const struct fit *fit, const char *form, double tolerance)
{
    char name[64];
    for (size_t k = 0; k < fit->form->parameters; k++) {
        assert_close(fit->value[k], oracle_at(form, k), tolerance);
        snprintf(name, sizeof name, "%s_error", form);
        assert_close(fit->standard_error[k], oracle_at(name, k), tolerance);
    }
    snprintf(name, sizeof name, "%s_aicc", form);
    assert_close(fit->aicc, oracle(name), TIGHT);
    snprintf(name, sizeof name, "%s_rss", form);
    assert_close(fit->residual_squares, oracle(name), TIGHT);
}

static void fits(void **state)
{
    NEEDS_ORACLE;
    struct fit_choice out;
    assert_ok(fit_choose(t, r, POINTS, &out));
    check_fit(&out.fits[0], "line", TIGHT);
    check_fit(&out.fits[1], "exponential", 1e-7); /* an iteration on both sides */
    check_fit(&out.fits[2], "power", 1e-5);
    struct fit_band at;
    assert_ok(fit_at(&out.fits[0], 400, 0.95, &at));
    agree(at.low, "line_low");
    agree(at.predicted_high, "line_predicted_high");
    assert_ok(fit_at(&out.fits[1], 400, 0.95, &at));
    assert_close(at.standard_error, oracle("exponential_at_error"), 1e-7);
}

static void propagation(void **state)
{
    NEEDS_ORACLE;
    double readings[POINTS * 3], means[3], v[9], out[4];
    for (size_t i = 0; i < POINTS; i++) {
        readings[i * 3] = t[i];
        readings[i * 3 + 1] = r[i];
        readings[i * 3 + 2] = judged[i];
    }
    const double jacobian[] = {1, 2, 3, -0.5, 0.25, 2};
    assert_ok(uncertainty_of_means(readings, POINTS, 3, means, v));
    assert_ok(uncertainty_propagate(jacobian, 2, 3, v, out));
    agree(out[0], "propagated00");
    agree(out[1], "propagated01");
    agree(out[3], "propagated11");
}

static void channels(void **state)
{
    NEEDS_ORACLE;
    struct bias_run runs[RUNS];
    for (size_t i = 0; i < RUNS; i++)
        runs[i] = (struct bias_run){(size_t)run_cell[i], (size_t)run_channel[i], run_value[i]};
    struct channel_bias biases[3];
    struct bias_summary out;
    assert_ok(bias_of_channels(runs, RUNS, 4, 3, BIAS_ADDITIVE, biases, &out));
    agree(biases[0].bias, "bias0");
    agree(biases[0].standard_error, "bias0_error");
    agree(out.residual_sd, "bias_sd");
    assert_close(out.f, oracle("bias_f"), 1e-8); /* a small difference of large sums */
    assert_close(out.p, oracle("bias_p"), 1e-7);
}

static void endurance(void **state)
{
    NEEDS_ORACLE;
    bool found = false;
    for (size_t i = 0; i < figure_count; i++)
        found = found || strcmp(figures[i].name, "log_rank") == 0;
    if (!found) {
        print_message("the oracle has no survival package: skipped\n");
        skip();
    }
    struct survivor one[LIVES], two[LIVES];
    for (size_t i = 0; i < LIVES; i++) {
        one[i] = (struct survivor){life1[i], ended1[i] != 0};
        two[i] = (struct survivor){life2[i], ended2[i] != 0};
    }
    struct survival_step steps[LIVES];
    struct survival out;
    assert_ok(survival_of(one, LIVES, 0.95, steps, &out));
    const struct survival_step *last = &steps[out.steps - 1];
    agree(last->part, "survival_part");
    agree(last->standard_error, "survival_error");
    agree(last->low, "survival_low");
    agree(last->high, "survival_high");
    agree(out.median, "survival_median");
    const struct survivor *both[] = {one, two};
    const size_t counts[] = {LIVES, LIVES};
    double expected[2];
    struct log_rank test;
    assert_ok(survival_log_rank(both, counts, 2, expected, &test));
    agree(test.chi2, "log_rank");
    agree(expected[0], "expected");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_group), cmocka_unit_test(groups),    cmocka_unit_test(ranks),
        cmocka_unit_test(paired),    cmocka_unit_test(fits),      cmocka_unit_test(propagation),
        cmocka_unit_test(channels),  cmocka_unit_test(endurance),
    };
    return cmocka_run_group_tests(tests, ask_oracle, NULL);
}
