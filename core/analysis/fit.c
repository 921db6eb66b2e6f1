/* Fits: checks, what follows from the parameters, the choice of a form, bands and crossings. */
#include "analysis/fit.h"

#include <math.h>
#include <string.h>

#include "analysis/fit_parts.h"
#include "analysis/numbers.h"

#define EXACT 1e-14 /* residuals below this part of the values are rounding */

static double not_more(double limit, double x)
{
    return x < limit ? x : limit;
}

void fit_clear(struct fit *fit, const struct fit_form *form, const double *x, size_t count)
{
    memset(fit, 0, sizeof *fit);
    fit->form = form;
    fit->count = count;
    for (size_t i = 0; i < FIT_PARAMETERS_MOST; i++) {
        fit->value[i] = fit->standard_error[i] = NAN;
        for (size_t j = 0; j < FIT_PARAMETERS_MOST; j++)
            fit->covariance[i][j] = NAN;
    }
    fit->residual_squares = fit->freedom = fit->residual_sd = fit->r_squared = fit->aicc = NAN;
    fit->x_least = fit->x_most = NAN;
    for (size_t i = 0; i < count; i++) {
        fit->x_least = fmin(fit->x_least, x[i]); /* fmin passes over NAN */
        fit->x_most = fmax(fit->x_most, x[i]);
    }
}

void fit_finish(const double *x, const double *y, struct fit *out)
{
    size_t n = out->count, parameters = out->form->parameters;
    struct exact_sum squares = {0, 0};
    double largest = 0;
    for (size_t i = 0; i < n; i++) {
        double residual = y[i] - out->form->value(x[i], out->value);
        exact_add(&squares, residual * residual);
        largest = fmax(largest, fabs(y[i]));
    }
    out->residual_squares = exact_total(&squares);
    out->freedom = (double)(n - parameters);
    double variance = out->residual_squares / out->freedom;
    out->residual_sd = sqrt(variance);
    for (size_t i = 0; i < parameters; i++) {
        for (size_t j = 0; j < parameters; j++)
            out->covariance[i][j] *= variance;
        out->standard_error[i] = sqrt(out->covariance[i][i]);
    }
    double about = squares_about(y, n, mean_of(y, n));
    if (about > 0)
        out->r_squared = 1 - out->residual_squares / about;
    double k = (double)parameters + 1, points = (double)n;
    if (points > k + 1) {
        double floor = EXACT * largest * EXACT * largest * points;
        double mean_square = fmax(out->residual_squares, fmax(floor, 1e-300)) / points;
        double log_likelihood = -0.5 * points * (log(2 * M_PI * mean_square) + 1);
        out->aicc = -2 * log_likelihood + 2 * k + 2 * k * (k + 1) / (points - k - 1);
    }
}

static enum analysis_status check_points(const struct fit_form *form, const double *x,
                                         const double *y, size_t count)
{
    if (count == 0)
        return ANALYSIS_NO_DATA;
    if (!all_finite(x, count) || !all_finite(y, count))
        return ANALYSIS_NOT_FINITE;
    if (count <= form->parameters)
        return ANALYSIS_TOO_FEW;
    /* As many different x as parameters, or infinitely many curves fit alike. */
    double seen[FIT_PARAMETERS_MOST];
    size_t different = 0;
    for (size_t i = 0; i < count && different < form->parameters; i++) {
        bool is_new = true;
        for (size_t j = 0; j < different; j++)
            is_new = is_new && seen[j] != x[i];
        if (is_new)
            seen[different++] = x[i];
    }
    if (different < 2)
        return ANALYSIS_SAME_TIMES;
    if (different < form->parameters)
        return ANALYSIS_TOO_FEW;
    for (size_t i = 1; i < count; i++) {
        if (y[i] != y[0])
            return ANALYSIS_OK;
    }
    return ANALYSIS_NO_SPREAD;
}

enum analysis_status fit_points_from(const struct fit_form *form, const double *start,
                                     const double *x, const double *y, size_t count,
                                     struct fit *out)
{
    fit_clear(out, form, x, count);
    enum analysis_status status = check_points(form, x, y, count);
    if (status != ANALYSIS_OK)
        return status;
    if (!all_finite(start, form->parameters))
        return ANALYSIS_NOT_FINITE;
    status = fit_iterate(form, start, x, y, count, out);
    if (status != ANALYSIS_OK)
        fit_clear(out, form, x, count);
    else
        fit_finish(x, y, out);
    return status;
}

enum analysis_status fit_points(const struct fit_form *form, const double *x, const double *y,
                                size_t count, struct fit *out)
{
    fit_clear(out, form, x, count);
    enum analysis_status status = check_points(form, x, y, count);
    if (status != ANALYSIS_OK)
        return status;
    if (form == &fit_line) {
        status = fit_line_solve(x, y, count, out);
        if (status == ANALYSIS_OK)
            fit_finish(x, y, out);
        return status;
    }
    double start[FIT_PARAMETERS_MOST];
    status = form->start == NULL ? ANALYSIS_NO_FIT : form->start(x, y, count, start);
    return status == ANALYSIS_OK ? fit_points_from(form, start, x, y, count, out) : status;
}

enum analysis_status fit_choose(const double *x, const double *y, size_t count,
                                struct fit_choice *out)
{
    const struct fit_form *forms[FIT_CHOICES] = {&fit_line, &fit_exponential, &fit_power};
    out->best = -1;
    for (int i = 0; i < FIT_CHOICES; i++) {
        out->status[i] = fit_points(forms[i], x, y, count, &out->fits[i]);
        bool better = out->best < 0 || out->fits[i].aicc < out->fits[out->best].aicc;
        if (out->status[i] == ANALYSIS_OK && !isnan(out->fits[i].aicc) && better)
            out->best = i;
    }
    if (out->best >= 0)
        return ANALYSIS_OK;
    return out->status[0] != ANALYSIS_OK ? out->status[0] : ANALYSIS_TOO_FEW;
}

/* sqrt(g' C g): what the errors of the parameters leave open at x. */
static double curve_error(const struct fit *fit, double x)
{
    double g[FIT_PARAMETERS_MOST];
    fit->form->gradient(x, fit->value, g);
    double variance = 0;
    for (size_t i = 0; i < fit->form->parameters; i++) {
        for (size_t j = 0; j < fit->form->parameters; j++)
            variance += g[i] * fit->covariance[i][j] * g[j];
    }
    return sqrt(fmax(variance, 0));
}

static enum analysis_status check_fit(const struct fit *fit, double asked, double confidence)
{
    if (!is_confidence(confidence))
        return ANALYSIS_OUT_OF_RANGE;
    if (!isfinite(asked))
        return ANALYSIS_NOT_FINITE;
    return isfinite(fit->residual_sd) ? ANALYSIS_OK : ANALYSIS_NO_FIT;
}

static bool is_beyond(const struct fit *fit, double x)
{
    return x < fit->x_least || x > fit->x_most;
}

enum analysis_status fit_at(const struct fit *fit, double x, double confidence,
                            struct fit_band *out)
{
    *out = (struct fit_band){x, NAN, NAN, NAN, NAN, NAN, NAN, is_beyond(fit, x)};
    enum analysis_status status = check_fit(fit, x, confidence);
    if (status != ANALYSIS_OK)
        return status;
    double value = fit->form->value(x, fit->value);
    if (!isfinite(value))
        return ANALYSIS_OUT_OF_RANGE; /* the power of a negative time */
    double t = t_factor(confidence, fit->freedom);
    out->value = value;
    out->standard_error = curve_error(fit, x);
    out->low = value - t * out->standard_error;
    out->high = value + t * out->standard_error;
    double one = hypot(out->standard_error, fit->residual_sd);
    out->predicted_low = value - t * one;
    out->predicted_high = value + t * one;
    return ANALYSIS_OK;
}

/* Whether the band of the mean still holds the level at x. */
static bool band_holds(const struct fit *fit, double level, double t, double x)
{
    return fabs(fit->form->value(x, fit->value) - level) <= t * curve_error(fit, x);
}

/* Walks from `x`, where the band holds the level, in growing steps until it does not, then halves
 * in on the edge. `least`: the form has no x below it. */
static double band_edge(const struct fit *fit, double level, double t, double x, double step,
                        double least)
{
    double inside = x, outside = x;
    for (int i = 0; i < 200; i++, step *= 1.2) {
        outside = fmax(inside + step, least);
        if (!band_holds(fit, level, t, outside))
            break;
        if (outside == least || i == 199)
            return step > 0 ? INFINITY : outside == least ? least : -INFINITY;
        inside = outside;
    }
    for (int i = 0; i < 200 && inside != outside; i++) {
        double middle = inside + (outside - inside) / 2;
        if (middle == inside || middle == outside)
            break;
        *(band_holds(fit, level, t, middle) ? &inside : &outside) = middle;
    }
    return inside;
}

enum analysis_status fit_reaches(const struct fit *fit, double level, double confidence,
                                 struct fit_crossing *out)
{
    *out = (struct fit_crossing){level, NAN, NAN, NAN, NAN, false};
    enum analysis_status status = check_fit(fit, level, confidence);
    if (status != ANALYSIS_OK)
        return status;
    double x = fit->form->inverse == NULL ? NAN : fit->form->inverse(level, fit->value);
    if (!isfinite(x))
        return ANALYSIS_NOT_REACHED;
    double span = fit->x_most - fit->x_least, h = 1e-6 * fmax(span, fabs(x));
    double least = fit->form == &fit_power ? 0 : -INFINITY;
    double below = fmax(x - h, least);
    double slope = (fit->form->value(x + h, fit->value) - fit->form->value(below, fit->value)) /
                   (x + h - below);
    out->x = x;
    out->standard_error = curve_error(fit, x) / fabs(slope);
    out->extrapolated = is_beyond(fit, x);
    double t = t_factor(confidence, fit->freedom);
    double step = fmax(not_more(span / 50, out->standard_error / 4), span * 1e-9);
    out->low = band_edge(fit, level, t, x, -step, least);
    out->high = band_edge(fit, level, t, x, step, -INFINITY);
    return ANALYSIS_OK;
}
