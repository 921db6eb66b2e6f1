/* Product-limit estimate and log-rank test. */
#include "analysis/survival.h"

#include <math.h>
#include <stdlib.h>

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_linalg.h>

#include "analysis/numbers.h"
#include "base/text.h"

static enum analysis_status check_cells(const struct survivor *cells, size_t count)
{
    if (count == 0)
        return ANALYSIS_NO_DATA;
    for (size_t i = 0; i < count; i++) {
        if (!isfinite(cells[i].time))
            return ANALYSIS_NOT_FINITE;
        if (cells[i].time < 0)
            return ANALYSIS_NEGATIVE_TIME;
    }
    return ANALYSIS_OK;
}

/* The times at which cells ended, each once, rising. Returns how many. */
static size_t find_end_times(const struct survivor *const *cells, const size_t *counts,
                             size_t groups, double *times)
{
    size_t found = 0, steps = 0;
    for (size_t g = 0; g < groups; g++) {
        for (size_t i = 0; i < counts[g]; i++) {
            if (cells[g][i].ended)
                times[found++] = cells[g][i].time;
        }
    }
    double *sorted = sorted_copy(times, found);
    for (size_t i = 0; i < found; i++) {
        if (i == 0 || sorted[i] != sorted[i - 1])
            times[steps++] = sorted[i];
    }
    free(sorted);
    return steps;
}

static void count_at(const struct survivor *cells, size_t count, double time, size_t *at_risk,
                     size_t *ended)
{
    *at_risk = *ended = 0;
    for (size_t i = 0; i < count; i++) {
        *at_risk += cells[i].time >= time;
        *ended += cells[i].ended && cells[i].time == time;
    }
}

static size_t count_censored(const struct survivor *cells, size_t count, double from, double before)
{
    size_t censored = 0;
    for (size_t i = 0; i < count; i++)
        censored += !cells[i].ended && cells[i].time >= from && cells[i].time < before;
    return censored;
}

/* The first time at which one of the courses (chosen by `which`) is at or below 1/2. Where it stays
 * at 1/2 until the next step, the middle of the two, as for the median of an even number. */
enum which { PART, LOW, HIGH };
static double find_half(const struct survival_step *steps, size_t count, enum which which)
{
    for (size_t i = 0; i < count; i++) {
        double part = which == PART ? steps[i].part : which == LOW ? steps[i].low : steps[i].high;
        if (fabs(part - 0.5) < 1e-12 && i + 1 < count)
            return (steps[i].time + steps[i + 1].time) / 2;
        if (part <= 0.5)
            return steps[i].time;
    }
    return NAN;
}

enum analysis_status survival_of(const struct survivor *cells, size_t count, double confidence,
                                 struct survival_step *steps, struct survival *out)
{
    *out = (struct survival){count, 0, 0, NAN, NAN, NAN, confidence};
    enum analysis_status status = check_cells(cells, count);
    if (status != ANALYSIS_OK)
        return status;
    if (!is_confidence(confidence))
        return ANALYSIS_OUT_OF_RANGE;
    double *times = xmalloc(count * sizeof *times);
    out->steps = find_end_times(&cells, &count, 1, times);
    double part = 1, greenwood = 0, z = t_factor(confidence, INFINITY);
    for (size_t k = 0; k < out->steps; k++) {
        struct survival_step *step = &steps[k];
        step->time = times[k];
        count_at(cells, count, times[k], &step->at_risk, &step->ended);
        double next = k + 1 < out->steps ? times[k + 1] : INFINITY;
        step->censored = count_censored(cells, count, times[k], next);
        out->ended += step->ended;
        double n = (double)step->at_risk, d = (double)step->ended;
        part *= 1 - d / n;
        greenwood += n > d ? d / (n * (n - d)) : 0;
        bool left = n > d;
        step->part = part;
        step->standard_error = left ? part * sqrt(greenwood) : NAN;
        step->low = left ? part * exp(-z * sqrt(greenwood)) : NAN;
        step->high = left ? fmin(part * exp(z * sqrt(greenwood)), 1) : NAN;
    }
    free(times);
    out->median = find_half(steps, out->steps, PART);
    out->median_low = find_half(steps, out->steps, LOW);
    out->median_high = find_half(steps, out->steps, HIGH);
    return isnan(out->median) ? ANALYSIS_NOT_REACHED : ANALYSIS_OK;
}

/* Adds what one time says: ends less those expected, and their covariance (hypergeometric). */
static void add_time(const struct survivor *const *cells, const size_t *counts, size_t groups,
                     double time, double *excess, double *expected, gsl_matrix *covariance,
                     double *at_risk)
{
    double n = 0, d = 0;
    for (size_t g = 0; g < groups; g++) {
        size_t risk, ended;
        count_at(cells[g], counts[g], time, &risk, &ended);
        at_risk[g] = (double)risk;
        n += (double)risk;
        d += (double)ended;
        excess[g] += (double)ended;
    }
    for (size_t g = 0; g < groups; g++) {
        excess[g] -= d * at_risk[g] / n;
        expected[g] += d * at_risk[g] / n;
    }
    if (n < 2)
        return;
    double common = d * (n - d) / (n - 1) / n;
    for (size_t a = 0; a + 1 < groups; a++) {
        for (size_t b = 0; b + 1 < groups; b++) {
            double *here = gsl_matrix_ptr(covariance, a, b);
            *here += common * ((a == b ? at_risk[a] : 0) - at_risk[a] * at_risk[b] / n);
        }
    }
}

/* excess' covariance^-1 excess over all groups but the last; NAN when it cannot be inverted. */
static double quadratic(gsl_matrix *covariance, const double *excess)
{
    quiet_gsl();
    if (gsl_linalg_cholesky_decomp1(covariance) != GSL_SUCCESS)
        return NAN;
    gsl_vector_const_view b = gsl_vector_const_view_array(excess, covariance->size1);
    gsl_vector *x = gsl_vector_alloc(covariance->size1);
    gsl_linalg_cholesky_solve(covariance, &b.vector, x);
    double sum = 0;
    for (size_t i = 0; i < x->size; i++)
        sum += gsl_vector_get(x, i) * excess[i];
    gsl_vector_free(x);
    return sum;
}

enum analysis_status survival_log_rank(const struct survivor *const *cells, const size_t *counts,
                                       size_t groups, double *expected, struct log_rank *out)
{
    *out = (struct log_rank){NAN, NAN, NAN};
    for (size_t g = 0; g < groups && expected != NULL; g++)
        expected[g] = NAN;
    if (groups < 2)
        return ANALYSIS_TOO_FEW;
    size_t all = 0;
    for (size_t g = 0; g < groups; g++) {
        enum analysis_status status = check_cells(cells[g], counts[g]);
        if (status != ANALYSIS_OK)
            return status;
        all += counts[g];
    }
    double *times = xmalloc(all * sizeof *times);
    size_t steps = find_end_times(cells, counts, groups, times);
    double *excess = xcalloc(3 * groups, sizeof *excess);
    double *awaited = excess + groups, *at_risk = awaited + groups;
    gsl_matrix *covariance = gsl_matrix_calloc(groups - 1, groups - 1);
    for (size_t k = 0; k < steps; k++)
        add_time(cells, counts, groups, times[k], excess, awaited, covariance, at_risk);
    double chi2 = steps == 0 ? NAN : quadratic(covariance, excess);
    if (!isnan(chi2)) {
        out->chi2 = chi2;
        out->freedom = (double)(groups - 1);
        out->p = gsl_cdf_chisq_Q(chi2, out->freedom);
    }
    for (size_t g = 0; g < groups && expected != NULL && steps > 0; g++)
        expected[g] = awaited[g];
    gsl_matrix_free(covariance);
    free(excess);
    free(times);
    return steps == 0 ? ANALYSIS_NOT_REACHED : isnan(chi2) ? ANALYSIS_TOO_FEW : ANALYSIS_OK;
}
