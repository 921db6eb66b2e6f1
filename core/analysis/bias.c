/* Channel bias by a two-way additive model; correction. */
#include "analysis/bias.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_multifit.h>

#include "analysis/numbers.h"
#include "analysis/summary.h"
#include "base/text.h"

#define ROUNDING 1e-12 /* residuals below this part of the values are no scatter */

/* Whether runs join all cells and channels into one. */
static bool are_connected(const struct bias_run *runs, size_t count, size_t cells, size_t channels)
{
    size_t all = cells + channels;
    bool *reached = xcalloc(all + 1, sizeof *reached);
    reached[runs[0].cell] = true;
    for (bool again = true; again;) {
        again = false;
        for (size_t i = 0; i < count; i++) {
            bool *cell = &reached[runs[i].cell], *channel = &reached[cells + runs[i].channel];
            if (*cell != *channel)
                again = *cell = *channel = true;
        }
    }
    bool connected = true;
    for (size_t i = 0; i < all; i++)
        connected = connected && reached[i];
    free(reached);
    return connected;
}

static enum analysis_status check_runs(const struct bias_run *runs, size_t count, size_t cells,
                                       size_t channels, enum bias_kind kind)
{
    if (count == 0)
        return ANALYSIS_NO_DATA;
    for (size_t i = 0; i < count; i++) {
        if (!isfinite(runs[i].value))
            return ANALYSIS_NOT_FINITE;
        if (runs[i].cell >= cells || runs[i].channel >= channels)
            return ANALYSIS_OUT_OF_RANGE;
        if (kind == BIAS_RELATIVE && runs[i].value <= 0)
            return ANALYSIS_OUT_OF_RANGE;
    }
    if (channels < 2)
        return ANALYSIS_TOO_FEW;
    if (!are_connected(runs, count, cells, channels))
        return ANALYSIS_NOT_CONNECTED;
    return count < cells + channels ? ANALYSIS_TOO_FEW : ANALYSIS_OK;
}

/* Scatter left when only the cells are told apart. */
static double squares_by_cells(const struct bias_run *runs, const gsl_vector *y, size_t cells)
{
    double *sums = xcalloc(2 * cells, sizeof *sums), *counts = sums + cells, squares = 0;
    for (size_t i = 0; i < y->size; i++) {
        sums[runs[i].cell] += gsl_vector_get(y, i);
        counts[runs[i].cell]++;
    }
    for (size_t i = 0; i < y->size; i++) {
        size_t cell = runs[i].cell;
        double residual = gsl_vector_get(y, i) - sums[cell] / counts[cell];
        squares += residual * residual;
    }
    free(sums);
    return squares;
}

/* Sets the bias and variance of a channel; the last is the negative sum of the others. */
static void channel_effect(const gsl_vector *solved, const gsl_matrix *covariance, size_t cells,
                           size_t channels, size_t channel, double *effect, double *variance)
{
    if (channel + 1 < channels) {
        *effect = gsl_vector_get(solved, cells + channel);
        *variance = gsl_matrix_get(covariance, cells + channel, cells + channel);
        return;
    }
    *effect = *variance = 0;
    for (size_t a = cells; a < solved->size; a++) {
        *effect -= gsl_vector_get(solved, a);
        for (size_t b = cells; b < solved->size; b++)
            *variance += gsl_matrix_get(covariance, a, b);
    }
}

enum analysis_status bias_of_channels(const struct bias_run *runs, size_t count, size_t cells,
                                      size_t channels, enum bias_kind kind,
                                      struct channel_bias *biases, struct bias_summary *out)
{
    for (size_t c = 0; c < channels; c++)
        biases[c] = (struct channel_bias){NAN, NAN, 0};
    *out = (struct bias_summary){NAN, NAN, NAN, NAN};
    enum analysis_status status = check_runs(runs, count, cells, channels, kind);
    if (status != ANALYSIS_OK)
        return status;

    quiet_gsl();
    size_t unknowns = cells + channels - 1;
    gsl_matrix *x = gsl_matrix_calloc(count, unknowns);
    gsl_vector *y = gsl_vector_alloc(count), *solved = gsl_vector_alloc(unknowns);
    gsl_matrix *covariance = gsl_matrix_alloc(unknowns, unknowns);
    gsl_multifit_linear_workspace *work = gsl_multifit_linear_alloc(count, unknowns);
    double size = 0;
    for (size_t i = 0; i < count; i++) {
        double value = kind == BIAS_RELATIVE ? log(runs[i].value) : runs[i].value;
        gsl_vector_set(y, i, value);
        size = fmax(size, fabs(value));
        gsl_matrix_set(x, i, runs[i].cell, 1);
        for (size_t c = 0; c + 1 < channels; c++) {
            bool last = runs[i].channel + 1 == channels;
            gsl_matrix_set(x, i, cells + c, last ? -1 : runs[i].channel == c);
        }
        biases[runs[i].channel].runs++;
    }
    double squares;
    gsl_multifit_linear(x, y, solved, covariance, &squares, work);
    out->freedom = (double)(count - unknowns);
    bool no_spread = squares <= (double)count * ROUNDING * size * ROUNDING * size;
    if (!no_spread) {
        double variance = squares / out->freedom, between = (double)channels - 1;
        out->residual_sd = sqrt(variance);
        out->f = (squares_by_cells(runs, y, cells) - squares) / between / variance;
        out->p = gsl_cdf_fdist_Q(out->f, between, out->freedom);
    }
    for (size_t c = 0; c < channels; c++) {
        double effect, variance, scale = 1;
        channel_effect(solved, covariance, cells, channels, c, &effect, &variance);
        if (kind == BIAS_RELATIVE) {
            scale = exp(effect);
            effect = expm1(effect);
        }
        biases[c].bias = effect;
        if (!no_spread)
            biases[c].standard_error = scale * sqrt(variance);
    }
    gsl_multifit_linear_free(work);
    gsl_matrix_free(covariance);
    gsl_vector_free(solved);
    gsl_vector_free(y);
    gsl_matrix_free(x);
    return no_spread ? ANALYSIS_NO_SPREAD : ANALYSIS_OK;
}

enum analysis_status bias_from_standard(const double *readings, size_t count, double known,
                                        double u_known, enum bias_kind kind,
                                        struct channel_bias *out)
{
    *out = (struct channel_bias){NAN, NAN, count};
    if (!isfinite(known) || !isfinite(u_known))
        return ANALYSIS_NOT_FINITE;
    if (u_known < 0 || (kind == BIAS_RELATIVE && known <= 0))
        return ANALYSIS_OUT_OF_RANGE;
    struct summary all;
    enum analysis_status status = summary_of(readings, count, 0.95, &all);
    double per = kind == BIAS_RELATIVE ? known : 1;
    out->bias = (all.mean - known) / per;
    if (status == ANALYSIS_OK) {
        double by_known = kind == BIAS_RELATIVE ? all.mean / known * u_known : u_known;
        out->standard_error = hypot(all.standard_error, by_known) / per;
    }
    return status;
}

enum analysis_status bias_correct(enum bias_kind kind, const struct channel_bias *bias,
                                  double value, double u_value, double *corrected,
                                  double *u_corrected)
{
    *corrected = *u_corrected = NAN;
    double all[] = {bias->bias, bias->standard_error, value, u_value};
    if (!all_finite(all, 4))
        return ANALYSIS_NOT_FINITE;
    double gain = 1 + bias->bias;
    if (u_value < 0 || bias->standard_error < 0 || (kind == BIAS_RELATIVE && gain <= 0))
        return ANALYSIS_OUT_OF_RANGE;
    if (kind == BIAS_RELATIVE) {
        *corrected = value / gain;
        *u_corrected = hypot(u_value, *corrected * bias->standard_error) / gain;
    } else {
        *corrected = value - bias->bias;
        *u_corrected = hypot(u_value, bias->standard_error);
    }
    return ANALYSIS_OK;
}
