/* Retention: ratios, days at a reference temperature, fits and forecasts. */
#include "analysis/retention.h"

#include <math.h>
#include <stdlib.h>

#include "analysis/numbers.h"
#include "analysis/summary.h"
#include "analysis/uncertainty.h"
#include "base/text.h"

#define GAS_CONSTANT 8.31446261815324 /* J/(mol K), exact since the SI of 2019 */
#define ZERO_CELSIUS 273.15

enum analysis_status retention_ratio(double left, double u_left, double fresh, double u_fresh,
                                     double correlation, double *ratio, double *u_ratio)
{
    *ratio = *u_ratio = NAN;
    if (isnan(fresh))
        return ANALYSIS_NO_REFERENCE;
    if (!isfinite(left) || !isfinite(fresh))
        return ANALYSIS_NOT_FINITE;
    if (left < 0 || fresh <= 0)
        return ANALYSIS_OUT_OF_RANGE;
    struct uncertainty_input inputs[] = {{1 / fresh, u_left, INFINITY},
                                         {-left / (fresh * fresh), u_fresh, INFINITY}};
    const double r[] = {1, correlation, correlation, 1};
    struct uncertainty combined;
    enum analysis_status status = uncertainty_combine(inputs, 2, r, 0.95, &combined);
    if (status == ANALYSIS_OK) {
        *ratio = left / fresh;
        *u_ratio = combined.standard;
    }
    return status;
}

enum analysis_status retention_loss_a_day(double ratio, double days, double *loss)
{
    *loss = NAN;
    if (!isfinite(ratio) || !isfinite(days))
        return ANALYSIS_NOT_FINITE;
    if (days < 0)
        return ANALYSIS_NEGATIVE_TIME;
    if (ratio < 0 || days == 0)
        return ANALYSIS_OUT_OF_RANGE;
    *loss = (1 - ratio) / days;
    return ANALYSIS_OK;
}

enum analysis_status retention_speed(const struct warming_rule *rule, double temperature,
                                     double *factor)
{
    *factor = NAN;
    if (rule == NULL || rule->kind == WARMING_NONE) {
        *factor = 1;
        return ANALYSIS_OK;
    }
    if (!isfinite(temperature) || !isfinite(rule->reference))
        return ANALYSIS_NOT_FINITE;
    if (temperature <= -ZERO_CELSIUS || rule->reference <= -ZERO_CELSIUS)
        return ANALYSIS_OUT_OF_RANGE;
    if (rule->kind == WARMING_Q10) {
        if (!(rule->q10 > 0) || isinf(rule->q10))
            return ANALYSIS_OUT_OF_RANGE;
        *factor = pow(rule->q10, (temperature - rule->reference) / 10);
    } else {
        if (!(rule->activation >= 0) || isinf(rule->activation))
            return ANALYSIS_OUT_OF_RANGE;
        double cold = 1 / (rule->reference + ZERO_CELSIUS), warm = 1 / (temperature + ZERO_CELSIUS);
        *factor = exp(rule->activation / GAS_CONSTANT * (cold - warm));
    }
    return ANALYSIS_OK;
}

enum analysis_status retention_points(const struct retention_arm *arm, double *x, double *y)
{
    const struct retention_check *checks = arm->checks;
    for (size_t i = 0; i < arm->count; i++)
        x[i] = y[i] = NAN;
    if (arm->count == 0)
        return ANALYSIS_NO_DATA;
    double *rated = xmalloc(arm->count * sizeof *rated);
    for (size_t i = 0; i < arm->count; i++)
        rated[i] = checks[i].rated;
    enum analysis_status status = summary_one_rating(rated, arm->count);
    free(rated);
    for (size_t i = 0; i < arm->count && status == ANALYSIS_OK; i++) {
        double unused;
        if (!isfinite(checks[i].days))
            status = ANALYSIS_NOT_FINITE;
        else if (checks[i].days < 0)
            status = ANALYSIS_NEGATIVE_TIME;
        else
            status = retention_ratio(checks[i].left, 0, checks[i].fresh, 0, 0, &y[i], &unused);
        if (status == ANALYSIS_OK)
            status = retention_speed(arm->rule, checks[i].temperature, &x[i]);
        x[i] *= checks[i].days;
    }
    for (size_t i = 0; i < arm->count && status != ANALYSIS_OK; i++)
        x[i] = y[i] = NAN;
    return status;
}

/* The points sorted by cell: cell c has those from first[c] to before first[c + 1]. */
struct by_cell {
    double *x, *y;
    size_t *first;
    size_t cells, most, least; /* points of the cell with most and with least */
};

static void by_cell_free(struct by_cell *points)
{
    free(points->x);
    free(points->y);
    free(points->first);
}

static enum analysis_status by_cell_make(const struct retention_arm *arm, struct by_cell *out)
{
    const struct retention_check *checks = arm->checks;
    size_t count = arm->count;
    double *x = xmalloc(count * sizeof *x + 1), *y = xmalloc(count * sizeof *y + 1);
    *out = (struct by_cell){.x = xmalloc(count * sizeof *x + 1),
                            .y = xmalloc(count * sizeof *y + 1),
                            .first = xcalloc(count + 1, sizeof *out->first)};
    enum analysis_status status = retention_points(arm, x, y);
    size_t at = 0;
    for (size_t i = 0; i < count; i++) {
        bool seen = false;
        for (size_t j = 0; j < i && !seen; j++)
            seen = checks[j].cell == checks[i].cell;
        if (seen)
            continue;
        out->first[out->cells++] = at;
        for (size_t j = i; j < count; j++) {
            if (checks[j].cell != checks[i].cell)
                continue;
            out->x[at] = x[j];
            out->y[at++] = y[j];
        }
        size_t points = at - out->first[out->cells - 1];
        out->most = points > out->most ? points : out->most;
        out->least = out->cells == 1 || points < out->least ? points : out->least;
    }
    out->first[out->cells] = at;
    free(x);
    free(y);
    if (status == ANALYSIS_OK && out->most > 1 && out->least == 1)
        status = ANALYSIS_MIXED_CHECKS;
    if (status != ANALYSIS_OK)
        by_cell_free(out);
    return status;
}

static enum analysis_status fit_cell(const struct by_cell *points, size_t cell,
                                     const struct fit_form *form, struct fit *out)
{
    size_t from = points->first[cell];
    return fit_points(form, points->x + from, points->y + from, points->first[cell + 1] - from,
                      out);
}

/* The criterion of each form summed over cells. */
static enum analysis_status choose_by_cell(const struct by_cell *points, struct retention_fits *out)
{
    const struct fit_form *forms[FIT_CHOICES] = {&fit_line, &fit_exponential, &fit_power};
    enum analysis_status first = ANALYSIS_OK;
    for (int i = 0; i < FIT_CHOICES; i++) {
        struct exact_sum sum = {0, 0};
        enum analysis_status status = ANALYSIS_OK;
        for (size_t c = 0; c < points->cells && status == ANALYSIS_OK; c++) {
            struct fit fit;
            status = fit_cell(points, c, forms[i], &fit);
            if (status == ANALYSIS_OK && isnan(fit.aicc))
                status = ANALYSIS_TOO_FEW;
            exact_add(&sum, fit.aicc);
        }
        if (first == ANALYSIS_OK)
            first = status;
        if (status != ANALYSIS_OK)
            continue;
        out->aicc[i] = exact_total(&sum);
        if (out->best < 0 || out->aicc[i] < out->aicc[out->best])
            out->best = i;
    }
    return out->best >= 0 ? ANALYSIS_OK : first;
}

enum analysis_status retention_fit(const struct retention_arm *arm, struct retention_fits *out)
{
    *out = (struct retention_fits){.aicc = {NAN, NAN, NAN}, .best = -1};
    fit_choose(NULL, NULL, 0, &out->pooled);
    struct by_cell points;
    enum analysis_status status = by_cell_make(arm, &points);
    if (status != ANALYSIS_OK)
        return status;
    out->by_cell = points.most > 1;
    if (out->by_cell) {
        status = choose_by_cell(&points, out);
    } else {
        status = fit_choose(points.x, points.y, arm->count, &out->pooled);
        out->best = out->pooled.best;
        for (int i = 0; i < FIT_CHOICES; i++)
            out->aicc[i] = out->pooled.fits[i].aicc;
    }
    by_cell_free(&points);
    return status;
}

/* What is known of one day before the fresh set comes in: a value, how unsure it is, and how much
 * one more cell scatters about it. */
struct estimate {
    double value, standard_error, scatter, freedom;
};

/* By the cells' own curves: the mean over cells, and the scatter between them. */
static enum analysis_status estimate_by_cell(const struct fit *fits, size_t cells, double day,
                                             bool *extrapolated, struct estimate *out)
{
    double *at = xmalloc(cells * sizeof *at);
    enum analysis_status status = ANALYSIS_OK;
    for (size_t c = 0; c < cells && status == ANALYSIS_OK; c++) {
        struct fit_band band;
        status = fit_at(&fits[c], day, 0.95, &band);
        at[c] = band.value;
        *extrapolated = *extrapolated || band.extrapolated;
    }
    struct summary over;
    if (status == ANALYSIS_OK)
        status = summary_of(at, cells, 0.95, &over);
    free(at);
    if (status == ANALYSIS_OK)
        *out = (struct estimate){over.mean, over.standard_error, over.sd, (double)cells - 1};
    return status;
}

static enum analysis_status estimate_pooled(const struct fit *fit, double day, bool *extrapolated,
                                            struct estimate *out)
{
    struct fit_band band;
    enum analysis_status status = fit_at(fit, day, 0.95, &band);
    *extrapolated = band.extrapolated;
    *out = (struct estimate){band.value, band.standard_error, fit->residual_sd, fit->freedom};
    return status;
}

/* A charge below nothing is none; NAN stays. */
static double not_below_0(double x)
{
    return x < 0 ? 0 : x;
}

/* The interval of the mean, and that of one more cell, with the error that all cells share. */
static enum analysis_status set_intervals(const struct estimate *estimate,
                                          const struct fresh_set *fresh, double confidence,
                                          struct retention_forecast *out)
{
    double value = estimate->value, factor = t_factor(confidence, estimate->freedom);
    double half = factor * estimate->standard_error;
    double half_of_one = factor * hypot(estimate->standard_error, estimate->scatter);
    if (fresh != NULL) {
        struct uncertainty_input inputs[] = {{1, estimate->standard_error, estimate->freedom},
                                             {value, fresh->relative, fresh->freedom}};
        struct uncertainty of_mean, of_one;
        enum analysis_status status = uncertainty_combine(inputs, 2, NULL, confidence, &of_mean);
        if (status != ANALYSIS_OK)
            return status;
        inputs[0].standard = hypot(estimate->standard_error, estimate->scatter);
        status = uncertainty_combine(inputs, 2, NULL, confidence, &of_one);
        if (status != ANALYSIS_OK)
            return status;
        half = of_mean.expanded;
        half_of_one = of_one.expanded;
    }
    out->value = not_below_0(value);
    out->low = not_below_0(value - half);
    out->high = not_below_0(value + half);
    out->predicted_low = not_below_0(value - half_of_one);
    out->predicted_high = not_below_0(value + half_of_one);
    return ANALYSIS_OK;
}

static enum analysis_status check_days(const double *days, size_t day_count, double confidence)
{
    if (!is_confidence(confidence))
        return ANALYSIS_OUT_OF_RANGE;
    for (size_t d = 0; d < day_count; d++) {
        if (!isfinite(days[d]))
            return ANALYSIS_NOT_FINITE;
        if (days[d] < 0)
            return ANALYSIS_NEGATIVE_TIME;
    }
    return ANALYSIS_OK;
}

enum analysis_status retention_forecast(const struct retention_arm *arm,
                                        const struct fit_form *form, const double *days,
                                        size_t day_count, double confidence,
                                        struct retention_forecast *out)
{
    for (size_t d = 0; d < day_count; d++)
        out[d] = (struct retention_forecast){days[d], NAN, NAN, NAN, NAN, NAN, false, 0};
    struct by_cell points;
    enum analysis_status status = check_days(days, day_count, confidence);
    if (status == ANALYSIS_OK)
        status = by_cell_make(arm, &points);
    if (status != ANALYSIS_OK)
        return status;
    bool each = points.most > 1;
    struct fit *fits = xmalloc(points.cells * sizeof *fits);
    if (!each)
        status = fit_points(form, points.x, points.y, arm->count, &fits[0]);
    for (size_t c = 0; each && c < points.cells && status == ANALYSIS_OK; c++)
        status = fit_cell(&points, c, form, &fits[c]);
    for (size_t d = 0; d < day_count && status == ANALYSIS_OK; d++) {
        struct estimate here;
        out[d].cells = points.cells;
        status = each ? estimate_by_cell(fits, points.cells, days[d], &out[d].extrapolated, &here)
                      : estimate_pooled(&fits[0], days[d], &out[d].extrapolated, &here);
        if (status == ANALYSIS_OK)
            status = set_intervals(&here, arm->fresh, confidence, &out[d]);
    }
    free(fits);
    by_cell_free(&points);
    return status;
}
