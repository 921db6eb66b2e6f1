/* The law of propagation of uncertainty, effective degrees of freedom, coverage. */
#include "analysis/uncertainty.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

#include "analysis/numbers.h"
#include "base/text.h"

#define ROUNDING 1e-9 /* how far a correlation may stray from symmetric, and a variance below 0 */

static enum analysis_status check_inputs(const struct uncertainty_input *inputs, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        if (!isfinite(inputs[i].sensitivity) || !isfinite(inputs[i].standard) ||
            isnan(inputs[i].freedom))
            return ANALYSIS_NOT_FINITE;
        if (inputs[i].standard < 0 || inputs[i].freedom <= 0)
            return ANALYSIS_OUT_OF_RANGE;
    }
    return ANALYSIS_OK;
}

static enum analysis_status check_correlation(const double *r, size_t count)
{
    if (r == NULL)
        return ANALYSIS_OK;
    for (size_t i = 0; i < count; i++) {
        for (size_t j = 0; j < count; j++) {
            double here = r[i * count + j];
            if (!isfinite(here))
                return ANALYSIS_NOT_FINITE;
            bool wrong =
                i == j ? fabs(here - 1) > ROUNDING
                       : fabs(here) > 1 + ROUNDING || fabs(here - r[j * count + i]) > ROUNDING;
            if (wrong)
                return ANALYSIS_OUT_OF_RANGE;
        }
    }
    return ANALYSIS_OK;
}

/* Gives every input the number of the first one that it is correlated with, directly or by others.
 */
static size_t *find_families(const double *r, size_t count)
{
    size_t *family = xmalloc(count * sizeof *family);
    for (size_t i = 0; i < count; i++)
        family[i] = i;
    for (bool again = r != NULL; again;) {
        again = false;
        for (size_t i = 0; i < count * count; i++) {
            size_t a = i / count, b = i % count;
            if (r[i] != 0 && family[a] > family[b]) {
                family[a] = family[b];
                again = true;
            }
        }
    }
    return family;
}

/* The variance that one family contributes. */
static double family_variance(const struct uncertainty_input *inputs, size_t count, const double *r,
                              const size_t *family, size_t which)
{
    struct exact_sum sum = {0, 0};
    for (size_t i = 0; i < count; i++) {
        if (family[i] != which)
            continue;
        double ui = inputs[i].sensitivity * inputs[i].standard;
        exact_add(&sum, ui * ui);
        for (size_t j = 0; j < i && r != NULL; j++) {
            if (family[j] == which)
                exact_add(&sum,
                          2 * ui * inputs[j].sensitivity * inputs[j].standard * r[i * count + j]);
        }
    }
    return exact_total(&sum);
}

static double family_freedom(const struct uncertainty_input *inputs, size_t count,
                             const size_t *family, size_t which)
{
    double least = INFINITY;
    for (size_t i = 0; i < count; i++) {
        bool matters = inputs[i].sensitivity != 0 && inputs[i].standard > 0;
        if (family[i] == which && matters && inputs[i].freedom < least)
            least = inputs[i].freedom;
    }
    return least;
}

enum analysis_status uncertainty_combine(const struct uncertainty_input *inputs, size_t count,
                                         const double *correlation, double confidence,
                                         struct uncertainty *out)
{
    *out = (struct uncertainty){NAN, NAN, NAN, NAN, confidence};
    if (count == 0)
        return ANALYSIS_NO_DATA;
    if (!is_confidence(confidence))
        return ANALYSIS_OUT_OF_RANGE;
    enum analysis_status status = check_inputs(inputs, count);
    if (status == ANALYSIS_OK)
        status = check_correlation(correlation, count);
    if (status != ANALYSIS_OK)
        return status;

    size_t *family = find_families(correlation, count);
    double variance = 0, squared_over_freedom = 0, largest = 0;
    for (size_t i = 0; i < count; i++) {
        double own = inputs[i].sensitivity * inputs[i].standard;
        largest = fmax(largest, own * own);
        if (family[i] != i)
            continue;
        double part = family_variance(inputs, count, correlation, family, i);
        variance += part;
        squared_over_freedom += part * part / family_freedom(inputs, count, family, i);
    }
    free(family);
    if (variance < -ROUNDING * largest)
        return ANALYSIS_OUT_OF_RANGE; /* no quantities can be correlated like this */
    variance = fmax(variance, 0);

    out->standard = sqrt(variance);
    out->freedom = squared_over_freedom > 0 ? variance * variance / squared_over_freedom : INFINITY;
    out->coverage = coverage_factor(confidence, out->freedom);
    out->expanded = out->coverage * out->standard;
    return isnan(out->coverage) ? ANALYSIS_TOO_FEW : ANALYSIS_OK;
}

enum analysis_status uncertainty_propagate(const double *jacobian, size_t outputs, size_t inputs,
                                           const double *covariance, double *out)
{
    for (size_t i = 0; i < outputs * outputs; i++)
        out[i] = NAN;
    if (outputs == 0 || inputs == 0)
        return ANALYSIS_NO_DATA;
    if (!all_finite(jacobian, outputs * inputs) || !all_finite(covariance, inputs * inputs))
        return ANALYSIS_NOT_FINITE;
    for (size_t a = 0; a < outputs; a++) {
        for (size_t b = 0; b < outputs; b++) {
            struct exact_sum sum = {0, 0};
            for (size_t i = 0; i < inputs; i++) {
                for (size_t j = 0; j < inputs; j++)
                    exact_add(&sum, jacobian[a * inputs + i] * covariance[i * inputs + j] *
                                        jacobian[b * inputs + j]);
            }
            out[a * outputs + b] = exact_total(&sum);
        }
    }
    return ANALYSIS_OK;
}

enum analysis_status uncertainty_of_means(const double *x, size_t readings, size_t quantities,
                                          double *means, double *covariance)
{
    for (size_t q = 0; q < quantities; q++)
        means[q] = NAN;
    for (size_t i = 0; i < quantities * quantities; i++)
        covariance[i] = NAN;
    if (readings == 0 || quantities == 0)
        return ANALYSIS_NO_DATA;
    if (!all_finite(x, readings * quantities))
        return ANALYSIS_NOT_FINITE;
    for (size_t q = 0; q < quantities; q++) {
        struct exact_sum sum = {0, 0};
        for (size_t k = 0; k < readings; k++)
            exact_add(&sum, x[k * quantities + q]);
        means[q] = exact_total(&sum) / (double)readings;
    }
    if (readings < 2)
        return ANALYSIS_TOO_FEW;
    double divisor = (double)readings * (double)(readings - 1);
    for (size_t a = 0; a < quantities; a++) {
        for (size_t b = 0; b < quantities; b++) {
            struct exact_sum sum = {0, 0};
            for (size_t k = 0; k < readings; k++)
                exact_add(&sum,
                          (x[k * quantities + a] - means[a]) * (x[k * quantities + b] - means[b]));
            covariance[a * quantities + b] = exact_total(&sum) / divisor;
        }
    }
    return ANALYSIS_OK;
}

double coverage_factor(double confidence, double freedom)
{
    if (!is_confidence(confidence) || !(freedom >= 1))
        return NAN;
    /* 7.9999999999 is 8 that was rounded on its way here. */
    return t_factor(confidence, isinf(freedom) ? freedom : floor(freedom * (1 + 1e-12)));
}

static double divided(double length, double divisor)
{
    return length >= 0 ? length / sqrt(divisor) : NAN;
}

double type_b_rectangular(double half_width)
{
    return divided(half_width, 3);
}

double type_b_triangular(double half_width)
{
    return divided(half_width, 6);
}

double type_b_arcsine(double half_width)
{
    return divided(half_width, 2);
}

double type_b_resolution(double step)
{
    return divided(step, 12);
}

double type_b_freedom(double unsure)
{
    return unsure > 0 ? 1 / (2 * unsure * unsure) : NAN;
}
