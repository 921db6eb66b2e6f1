/* Welch's t, analyses of variance, Holm's correction, every pair of groups. */
#include "analysis/compare.h"

#include <math.h>
#include <stdlib.h>

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_sf_gamma.h>
#include <gsl/gsl_sort.h>

#include "analysis/numbers.h"
#include "base/text.h"

/* What a test wants of a group. */
struct moments {
    double n, mean, squares, variance;
};

/* `shift` is taken off first: near values, however large, keep all their digits. */
static struct moments moments_of(const struct group *group, double shift)
{
    double *x = xmalloc(group->count * sizeof *x + 1);
    for (size_t i = 0; i < group->count; i++)
        x[i] = group->values[i] - shift;
    struct moments m = {.n = (double)group->count, .mean = mean_of(x, group->count)};
    m.squares = squares_about(x, group->count, m.mean);
    m.variance = group->count > 1 ? m.squares / (m.n - 1) : NAN;
    free(x);
    return m;
}

static enum analysis_status check_group(const struct group *group, size_t least)
{
    if (group->count == 0)
        return ANALYSIS_NO_DATA;
    if (!all_finite(group->values, group->count))
        return ANALYSIS_NOT_FINITE;
    return group->count < least ? ANALYSIS_ONE_CELL : ANALYSIS_OK;
}

static enum analysis_status check_groups(const struct group *groups, size_t count, size_t least)
{
    if (count < 2)
        return count == 0 ? ANALYSIS_NO_DATA : ANALYSIS_TOO_FEW;
    for (size_t g = 0; g < count; g++) {
        enum analysis_status status = check_group(&groups[g], least);
        if (status != ANALYSIS_OK)
            return status;
    }
    return ANALYSIS_OK;
}

/* Hedges' J = gamma(m/2) / (sqrt(m/2) gamma((m-1)/2)), m degrees of freedom. */
static double small_sample(double freedom)
{
    if (freedom < 2)
        return NAN; /* the mean of g does not exist */
    return exp(gsl_sf_lngamma(freedom / 2) - gsl_sf_lngamma((freedom - 1) / 2)) / sqrt(freedom / 2);
}

enum analysis_status compare_two(const struct group *a, const struct group *b, double confidence,
                                 struct difference *out)
{
    *out = (struct difference){NAN, NAN, NAN, NAN, NAN, NAN, NAN};
    const struct group both[] = {*a, *b};
    if (!is_confidence(confidence))
        return ANALYSIS_OUT_OF_RANGE;
    enum analysis_status status = check_groups(both, 2, 1);
    if (status != ANALYSIS_OK)
        return status;
    double shift = a->values[0];
    struct moments ma = moments_of(a, shift), mb = moments_of(b, shift);
    out->mean = ma.mean - mb.mean;
    if (a->count < 2 || b->count < 2)
        return ANALYSIS_ONE_CELL;
    double va = ma.variance / ma.n, vb = mb.variance / mb.n, v = va + vb;
    if (!(v > 0))
        return ANALYSIS_NO_SPREAD;
    out->freedom = v * v / (va * va / (ma.n - 1) + vb * vb / (mb.n - 1));
    out->t = out->mean / sqrt(v);
    out->p = t_two_sided(out->t, out->freedom);
    double half = t_factor(confidence, out->freedom) * sqrt(v);
    out->low = out->mean - half;
    out->high = out->mean + half;
    double freedom = ma.n + mb.n - 2, pooled = sqrt((ma.squares + mb.squares) / freedom);
    out->effect = out->mean / pooled * small_sample(freedom);
    return ANALYSIS_OK;
}

static const struct variance_analysis no_analysis = {NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN};

enum analysis_status compare_anova(const struct group *groups, size_t count,
                                   struct variance_analysis *out)
{
    *out = no_analysis;
    enum analysis_status status = check_groups(groups, count, 1);
    if (status != ANALYSIS_OK)
        return status;
    double shift = groups[0].values[0], n = 0;
    struct moments *m = xmalloc(count * sizeof *m);
    struct exact_sum total = {0, 0}, within = {0, 0}, between = {0, 0};
    for (size_t g = 0; g < count; g++) {
        m[g] = moments_of(&groups[g], shift);
        n += m[g].n;
        exact_add(&total, m[g].n * m[g].mean);
        exact_add(&within, m[g].squares);
    }
    double mean = exact_total(&total) / n;
    for (size_t g = 0; g < count; g++)
        exact_add(&between, m[g].n * (m[g].mean - mean) * (m[g].mean - mean));
    free(m);
    if (n <= (double)count)
        return ANALYSIS_ONE_CELL;
    out->between_squares = exact_total(&between);
    out->within_squares = exact_total(&within);
    out->between_freedom = (double)count - 1;
    out->within_freedom = n - (double)count;
    if (out->within_squares == 0)
        return ANALYSIS_NO_SPREAD;
    double within_mean = out->within_squares / out->within_freedom;
    out->f = out->between_squares / out->between_freedom / within_mean;
    out->p = gsl_cdf_fdist_Q(out->f, out->between_freedom, out->within_freedom);
    out->r_squared = out->between_squares / (out->between_squares + out->within_squares);
    out->residual_sd = sqrt(within_mean);
    return ANALYSIS_OK;
}

enum analysis_status compare_welch_anova(const struct group *groups, size_t count,
                                         struct variance_analysis *out)
{
    *out = no_analysis;
    enum analysis_status status = check_groups(groups, count, 2);
    if (status != ANALYSIS_OK)
        return status;
    double shift = groups[0].values[0], weights = 0, weighted = 0;
    struct moments *m = xmalloc(count * sizeof *m);
    for (size_t g = 0; g < count; g++) {
        m[g] = moments_of(&groups[g], shift);
        if (!(m[g].variance > 0)) {
            free(m);
            return ANALYSIS_NO_SPREAD;
        }
        weights += m[g].n / m[g].variance;
        weighted += m[g].n / m[g].variance * m[g].mean;
    }
    double mean = weighted / weights, between = 0, unsure = 0, k = (double)count;
    for (size_t g = 0; g < count; g++) {
        double weight = m[g].n / m[g].variance, rest = 1 - weight / weights;
        between += weight * (m[g].mean - mean) * (m[g].mean - mean);
        unsure += rest * rest / (m[g].n - 1);
    }
    free(m);
    out->between_freedom = k - 1;
    out->within_freedom = (k * k - 1) / (3 * unsure);
    out->f = between / (k - 1) / (1 + 2 * (k - 2) / (k * k - 1) * unsure);
    out->p = gsl_cdf_fdist_Q(out->f, out->between_freedom, out->within_freedom);
    return ANALYSIS_OK;
}

enum analysis_status compare_holm(const double *p, size_t count, double *adjusted)
{
    bool finite = all_finite(p, count), in_range = true;
    for (size_t i = 0; i < count; i++)
        in_range = in_range && p[i] >= 0 && p[i] <= 1;
    size_t *rising = xmalloc(count * sizeof *rising + 1);
    if (finite && in_range)
        gsl_sort_index(rising, p, 1, count);
    double least = 0;
    for (size_t i = 0; i < count; i++) {
        if (!finite || !in_range) {
            adjusted[i] = NAN;
            continue;
        }
        least = fmax(least, fmin((double)(count - i) * p[rising[i]], 1));
        adjusted[rising[i]] = least;
    }
    free(rising);
    if (count == 0)
        return ANALYSIS_NO_DATA;
    return !finite ? ANALYSIS_NOT_FINITE : !in_range ? ANALYSIS_OUT_OF_RANGE : ANALYSIS_OK;
}

enum analysis_status compare_pairs(const struct group *groups, size_t count, double risk,
                                   struct pair *pairs)
{
    if (count < 2)
        return count == 0 ? ANALYSIS_NO_DATA : ANALYSIS_TOO_FEW;
    double *p = xmalloc(PAIRS_OF(count) * sizeof *p);
    size_t at = 0, tested = 0;
    for (size_t a = 0; a < count; a++) {
        for (size_t b = a + 1; b < count; b++, at++) {
            pairs[at] = (struct pair){.a = a, .b = b, .p_adjusted = NAN};
            pairs[at].status = compare_two(&groups[a], &groups[b], 1 - risk, &pairs[at].difference);
            if (pairs[at].status == ANALYSIS_OK)
                p[tested++] = pairs[at].difference.p;
        }
    }
    compare_holm(p, tested, p);
    tested = 0;
    for (size_t i = 0; i < at; i++) {
        if (pairs[i].status != ANALYSIS_OK)
            continue;
        pairs[i].p_adjusted = p[tested++];
        pairs[i].differ = pairs[i].p_adjusted < risk;
    }
    free(p);
    if (!is_confidence(risk))
        return ANALYSIS_OUT_OF_RANGE;
    return tested == 0 ? pairs[0].status : ANALYSIS_OK;
}
