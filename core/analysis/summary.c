/* Mean, scatter, quantiles, Grubbs' test; repeated readings. */
#include "analysis/summary.h"

#include <math.h>
#include <stdlib.h>

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_statistics_double.h>

#include "analysis/numbers.h"
#include "base/text.h"

enum analysis_status summary_of(const double *values, size_t count, double confidence,
                                struct summary *out)
{
    *out = (struct summary){count, NAN, NAN, NAN, confidence, NAN, NAN, NAN, NAN, NAN, NAN, NAN};
    if (count == 0)
        return ANALYSIS_NO_DATA;
    if (!is_confidence(confidence))
        return ANALYSIS_OUT_OF_RANGE;
    if (!all_finite(values, count))
        return ANALYSIS_NOT_FINITE;

    double *sorted = sorted_copy(values, count);
    out->minimum = sorted[0];
    out->lower_quartile = gsl_stats_quantile_from_sorted_data(sorted, 1, count, 0.25);
    out->median = gsl_stats_median_from_sorted_data(sorted, 1, count);
    out->upper_quartile = gsl_stats_quantile_from_sorted_data(sorted, 1, count, 0.75);
    out->maximum = sorted[count - 1];
    free(sorted);
    out->mean = mean_of(values, count);
    if (count == 1)
        return ANALYSIS_ONE_CELL;
    if (out->minimum == out->maximum) {
        out->mean = out->minimum;
        out->sd = 0;
        return ANALYSIS_NO_SPREAD;
    }
    double freedom = (double)(count - 1);
    out->sd = sqrt(squares_about(values, count, out->mean) / freedom);
    out->standard_error = out->sd / sqrt((double)count);
    double half = t_factor(confidence, freedom) * out->standard_error;
    out->low = out->mean - half;
    out->high = out->mean + half;
    return ANALYSIS_OK;
}

enum analysis_status summary_quantile(const double *values, size_t count, double part, double *out)
{
    *out = NAN;
    if (count == 0)
        return ANALYSIS_NO_DATA;
    if (!(part >= 0 && part <= 1))
        return ANALYSIS_OUT_OF_RANGE;
    if (!all_finite(values, count))
        return ANALYSIS_NOT_FINITE;
    double *sorted = sorted_copy(values, count);
    *out = gsl_stats_quantile_from_sorted_data(sorted, 1, count, part);
    free(sorted);
    return ANALYSIS_OK;
}

double outlier_critical(size_t count, double risk)
{
    if (count < 3 || !is_confidence(risk))
        return NAN;
    double n = (double)count;
    double t = t_quantile(1 - risk / (2 * n), n - 2);
    return (n - 1) / sqrt(n) * sqrt(t * t / (n - 2 + t * t));
}

enum analysis_status summary_outlier(const double *values, size_t count, double risk,
                                     struct outlier *out)
{
    *out = (struct outlier){false, 0, NAN, NAN};
    if (!is_confidence(risk))
        return ANALYSIS_OUT_OF_RANGE;
    struct summary all;
    enum analysis_status status = summary_of(values, count, 0.95, &all);
    if (status != ANALYSIS_OK)
        return status;
    if (count < 3)
        return ANALYSIS_TOO_FEW; /* of two values each is as far from the mean as the other */
    for (size_t i = 1; i < count; i++) {
        if (fabs(values[i] - all.mean) > fabs(values[out->index] - all.mean))
            out->index = i;
    }
    out->distance = fabs(values[out->index] - all.mean) / all.sd;
    out->critical = outlier_critical(count, risk);
    out->found = out->distance > out->critical;
    return ANALYSIS_OK;
}

enum analysis_status summary_one_rating(const double *rated, size_t count)
{
    if (count == 0)
        return ANALYSIS_NO_DATA;
    for (size_t i = 0; i < count; i++) {
        if (!isfinite(rated[i]))
            return ANALYSIS_NOT_FINITE;
        if (rated[i] <= 0)
            return ANALYSIS_OUT_OF_RANGE;
        if (fabs(rated[i] - rated[0]) > 1e-9 * rated[0])
            return ANALYSIS_MIXED_RATINGS;
    }
    return ANALYSIS_OK;
}

enum analysis_status summary_of_group_means(const double *means, const double *sds, size_t groups,
                                            size_t readings, struct repeats *out)
{
    *out = (struct repeats){NAN, NAN, NAN, NAN, NAN, NAN, NAN};
    if (groups == 0 || readings == 0)
        return ANALYSIS_NO_DATA;
    if (!all_finite(means, groups) || (readings > 1 && !all_finite(sds, groups)))
        return ANALYSIS_NOT_FINITE;
    out->mean = mean_of(means, groups);
    if (groups < 2 || readings < 2)
        return ANALYSIS_TOO_FEW;
    struct exact_sum variances = {0, 0};
    for (size_t g = 0; g < groups; g++)
        exact_add(&variances, sds[g] * sds[g]);
    double within = exact_total(&variances) / (double)groups;
    double of_means = squares_about(means, groups, out->mean) / (double)(groups - 1);
    double k = (double)readings;
    out->within = sqrt(within);
    out->between = sqrt(fmax(of_means - within / k, 0));
    out->standard_error = sqrt(of_means / (double)groups);
    out->freedom = (double)(groups - 1);
    if (within == 0)
        return ANALYSIS_NO_SPREAD;
    out->f = k * of_means / within;
    out->p = gsl_cdf_fdist_Q(out->f, out->freedom, (double)groups * (k - 1));
    return ANALYSIS_OK;
}

enum analysis_status summary_of_repeats(const double *values, size_t groups, size_t readings,
                                        struct repeats *out)
{
    *out = (struct repeats){NAN, NAN, NAN, NAN, NAN, NAN, NAN};
    if (groups == 0 || readings == 0)
        return ANALYSIS_NO_DATA;
    double *means = xmalloc(2 * groups * sizeof *means), *sds = means + groups;
    for (size_t g = 0; g < groups; g++) {
        const double *group = values + g * readings;
        means[g] = mean_of(group, readings);
        sds[g] = readings < 2
                     ? NAN
                     : sqrt(squares_about(group, readings, means[g]) / (double)(readings - 1));
    }
    enum analysis_status status = summary_of_group_means(means, sds, groups, readings, out);
    free(means);
    return status;
}
