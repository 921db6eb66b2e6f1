/* Ranks by criteria, mean finish, agreement, cost. The bootstrap is in ranking_bootstrap.c. */
#include "analysis/ranking.h"

#include <math.h>
#include <stdlib.h>

#include <gsl/gsl_cdf.h>

#include "analysis/numbers.h"
#include "analysis/ranks.h"
#include "base/text.h"

static enum analysis_status check_criteria(const struct criterion *criteria, size_t count)
{
    double weights = 0;
    if (count == 0)
        return ANALYSIS_NO_DATA;
    for (size_t c = 0; c < count; c++) {
        if (!isfinite(criteria[c].weight))
            return ANALYSIS_NOT_FINITE;
        if (criteria[c].weight < 0)
            return ANALYSIS_OUT_OF_RANGE;
        weights += criteria[c].weight;
    }
    return weights > 0 ? ANALYSIS_OK : ANALYSIS_OUT_OF_RANGE;
}

enum analysis_status ranking_of(const struct criterion *criteria, size_t criterion_count,
                                const double *values, size_t models, double *ranks,
                                struct finish *finishes)
{
    for (size_t i = 0; i < models * criterion_count; i++)
        ranks[i] = NAN;
    for (size_t m = 0; m < models; m++)
        finishes[m] = (struct finish){NAN, NAN};
    enum analysis_status status = check_criteria(criteria, criterion_count);
    if (status != ANALYSIS_OK)
        return status;
    if (models < 2)
        return models == 0 ? ANALYSIS_NO_DATA : ANALYSIS_TOO_FEW;
    if (!all_finite(values, models * criterion_count))
        return ANALYSIS_NOT_FINITE;

    double *column = xmalloc(2 * models * sizeof *column), *column_ranks = column + models;
    double weights = 0;
    for (size_t m = 0; m < models; m++)
        finishes[m].mean_finish = 0;
    for (size_t c = 0; c < criterion_count; c++) {
        double sign = criteria[c].higher_is_better ? -1 : 1;
        weights += criteria[c].weight;
        for (size_t m = 0; m < models; m++)
            column[m] = sign * values[m * criterion_count + c];
        ranks_of(column, models, column_ranks);
        for (size_t m = 0; m < models; m++) {
            ranks[m * criterion_count + c] = column_ranks[m];
            finishes[m].mean_finish += criteria[c].weight * column_ranks[m];
        }
    }
    for (size_t m = 0; m < models; m++) {
        finishes[m].mean_finish /= weights;
        column[m] = round(finishes[m].mean_finish * 1e9); /* equal but for rounding is a tie */
    }
    ranks_of(column, models, column_ranks);
    for (size_t m = 0; m < models; m++)
        finishes[m].place = column_ranks[m];
    free(column);
    return ANALYSIS_OK;
}

enum analysis_status ranking_agreement(const double *values, size_t judges, size_t items,
                                       struct agreement *out)
{
    *out = (struct agreement){NAN, NAN, NAN, NAN};
    if (judges == 0 || items == 0)
        return ANALYSIS_NO_DATA;
    if (judges < 2 || items < 2)
        return ANALYSIS_TOO_FEW;
    if (!all_finite(values, judges * items))
        return ANALYSIS_NOT_FINITE;
    double *sums = xcalloc(2 * items, sizeof *sums), *ranks = sums + items, ties = 0;
    for (size_t j = 0; j < judges; j++) {
        ties += ranks_of(values + j * items, items, ranks);
        for (size_t i = 0; i < items; i++)
            sums[i] += ranks[i];
    }
    double s = squares_about(sums, items, mean_of(sums, items));
    free(sums);
    double n = (double)judges, k = (double)items;
    double most = n * n * (k * k * k - k) - n * ties;
    if (!(most > 0))
        return ANALYSIS_NO_SPREAD; /* every judge ties everything */
    out->w = 12 * s / most;
    out->chi2 = n * (k - 1) * out->w;
    out->freedom = k - 1;
    out->p = gsl_cdf_chisq_Q(out->chi2, out->freedom);
    return ANALYSIS_OK;
}

enum analysis_status ranking_cost_per_wh(double price, double energy, double *cost)
{
    *cost = NAN;
    if (!isfinite(price) || !isfinite(energy))
        return ANALYSIS_NOT_FINITE;
    if (price < 0 || energy <= 0)
        return ANALYSIS_OUT_OF_RANGE;
    *cost = price / (energy / 3600);
    return ANALYSIS_OK;
}
