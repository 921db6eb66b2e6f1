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

enum analysis_status retention_points(const struct retention_check *checks, size_t count,
                                      const struct warming_rule *rule, double *x, double *y)
{
    for (size_t i = 0; i < count; i++)
        x[i] = y[i] = NAN;
    if (count == 0)
        return ANALYSIS_NO_DATA;
    double *rated = xmalloc(count * sizeof *rated);
    for (size_t i = 0; i < count; i++)
        rated[i] = checks[i].rated;
    enum analysis_status status = summary_one_rating(rated, count);
    free(rated);
    for (size_t i = 0; i < count && status == ANALYSIS_OK; i++) {
        double unused;
        if (!isfinite(checks[i].days))
            status = ANALYSIS_NOT_FINITE;
        else if (checks[i].days < 0)
            status = ANALYSIS_NEGATIVE_TIME;
        else
            status = retention_ratio(checks[i].left, 0, checks[i].fresh, 0, 0, &y[i], &unused);
        if (status == ANALYSIS_OK)
            status = retention_speed(rule, checks[i].temperature, &x[i]);
        x[i] *= checks[i].days;
    }
    for (size_t i = 0; i < count && status != ANALYSIS_OK; i++)
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

static enum analysis_status by_cell_make(const struct retention_check *checks, size_t count,
                                         const struct warming_rule *rule, struct by_cell *out)
{
    double *x = xmalloc(count * sizeof *x + 1), *y = xmalloc(count * sizeof *y + 1);
    *out = (struct by_cell){.x = xmalloc(count * sizeof *x + 1),
                            .y = xmalloc(count * sizeof *y + 1),
                            .first = xcalloc(count + 1, sizeof *out->first)};
    enum analysis_status status = retention_points(checks, count, rule, x, y);
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

enum analysis_status retention_fit(const struct retention_check *checks, size_t count,
                                   const struct warming_rule *rule, struct retention_fits *out)
{
    *out = (struct retention_fits){.aicc = {NAN, NAN, NAN}, .best = -1};
    fit_choose(NULL, NULL, 0, &out->pooled);
    struct by_cell points;
    enum analysis_status status = by_cell_make(checks, count, rule, &points);
    if (status != ANALYSIS_OK)
        return status;
    out->by_cell = points.most > 1;
    if (out->by_cell) {
        status = choose_by_cell(&points, out);
    } else {
        status = fit_choose(points.x, points.y, count, &out->pooled);
        out->best = out->pooled.best;
        for (int i = 0; i < FIT_CHOICES; i++)
            out->aicc[i] = out->pooled.fits[i].aicc;
    }
    by_cell_free(&points);
    return status;
}

/* One day by the cells' own curves: the mean over cells, and the scatter between them. */
static enum analysis_status forecast_by_cell(const struct fit *fits, size_t cells,
                                             double confidence, struct retention_forecast *out)
{
    double *at = xmalloc(cells * sizeof *at);
    enum analysis_status status = ANALYSIS_OK;
    for (size_t c = 0; c < cells && status == ANALYSIS_OK; c++) {
        struct fit_band band;
        status = fit_at(&fits[c], out->days, confidence, &band);
        at[c] = band.value;
        out->extrapolated = out->extrapolated || band.extrapolated;
    }
    struct summary over;
    if (status == ANALYSIS_OK)
        status = summary_of(at, cells, confidence, &over);
    free(at);
    if (status != ANALYSIS_OK)
        return status;
    out->value = over.mean;
    out->low = over.low;
    out->high = over.high;
    double half = t_factor(confidence, (double)cells - 1) * over.sd * sqrt(1 + 1 / (double)cells);
    out->predicted_low = over.mean - half;
    out->predicted_high = over.mean + half;
    return ANALYSIS_OK;
}

static enum analysis_status forecast_pooled(const struct fit *fit, double confidence,
                                            struct retention_forecast *out)
{
    struct fit_band band;
    enum analysis_status status = fit_at(fit, out->days, confidence, &band);
    out->value = band.value;
    out->low = band.low;
    out->high = band.high;
    out->predicted_low = band.predicted_low;
    out->predicted_high = band.predicted_high;
    out->extrapolated = band.extrapolated;
    return status;
}

/* A charge below nothing is none; NAN stays. */
static double not_below_0(double x)
{
    return x < 0 ? 0 : x;
}

enum analysis_status retention_forecast(const struct retention_check *checks, size_t count,
                                        const struct warming_rule *rule,
                                        const struct fit_form *form, const double *days,
                                        size_t day_count, double confidence,
                                        struct retention_forecast *out)
{
    for (size_t d = 0; d < day_count; d++)
        out[d] = (struct retention_forecast){days[d], NAN, NAN, NAN, NAN, NAN, false, 0};
    if (!is_confidence(confidence))
        return ANALYSIS_OUT_OF_RANGE;
    for (size_t d = 0; d < day_count; d++) {
        if (!isfinite(days[d]))
            return ANALYSIS_NOT_FINITE;
        if (days[d] < 0)
            return ANALYSIS_NEGATIVE_TIME;
    }
    struct by_cell points;
    enum analysis_status status = by_cell_make(checks, count, rule, &points);
    if (status != ANALYSIS_OK)
        return status;
    bool each = points.most > 1;
    struct fit *fits = xmalloc(points.cells * sizeof *fits);
    if (!each)
        status = fit_points(form, points.x, points.y, count, &fits[0]);
    for (size_t c = 0; each && c < points.cells && status == ANALYSIS_OK; c++)
        status = fit_cell(&points, c, form, &fits[c]);
    for (size_t d = 0; d < day_count && status == ANALYSIS_OK; d++) {
        out[d].cells = points.cells;
        status = each ? forecast_by_cell(fits, points.cells, confidence, &out[d])
                      : forecast_pooled(&fits[0], confidence, &out[d]);
        out[d].value = not_below_0(out[d].value);
        out[d].low = not_below_0(out[d].low);
        out[d].high = not_below_0(out[d].high);
        out[d].predicted_low = not_below_0(out[d].predicted_low);
        out[d].predicted_high = not_below_0(out[d].predicted_high);
    }
    free(fits);
    by_cell_free(&points);
    return status;
}
