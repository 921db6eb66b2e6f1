/* Mid-ranks, Kruskal-Wallis, Wilcoxon. */
#include "analysis/ranks.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_sort.h>

#include "analysis/numbers.h"
#include "base/text.h"

#define EXACT_MOST 50

double ranks_of(const double *values, size_t count, double *ranks)
{
    size_t *rising = xmalloc(count * sizeof *rising + 1);
    gsl_sort_index(rising, values, 1, count);
    double ties = 0;
    for (size_t i = 0, next; i < count; i = next) {
        next = i + 1;
        while (next < count && values[rising[next]] == values[rising[i]])
            next++;
        double t = (double)(next - i);
        ties += t * t * t - t;
        for (size_t k = i; k < next; k++)
            ranks[rising[k]] = ((double)i + 1 + (double)next) / 2;
    }
    free(rising);
    return ties;
}

static enum analysis_status check_group(const struct group *group)
{
    if (group->count == 0)
        return ANALYSIS_NO_DATA;
    return all_finite(group->values, group->count) ? ANALYSIS_OK : ANALYSIS_NOT_FINITE;
}

enum analysis_status ranks_kruskal_wallis(const struct group *groups, size_t count,
                                          struct rank_analysis *out)
{
    *out = (struct rank_analysis){NAN, NAN, NAN};
    if (count < 2)
        return count == 0 ? ANALYSIS_NO_DATA : ANALYSIS_TOO_FEW;
    size_t all = 0;
    for (size_t g = 0; g < count; g++) {
        enum analysis_status status = check_group(&groups[g]);
        if (status != ANALYSIS_OK)
            return status;
        all += groups[g].count;
    }
    if (all <= count)
        return ANALYSIS_ONE_CELL;
    double *values = xmalloc(2 * all * sizeof *values), *ranks = values + all;
    for (size_t g = 0, at = 0; g < count; at += groups[g++].count)
        memcpy(values + at, groups[g].values, groups[g].count * sizeof *values);
    double ties = ranks_of(values, all, ranks), n = (double)all, sum = 0;
    for (size_t g = 0, at = 0; g < count; g++) {
        double group_sum = 0;
        for (size_t i = 0; i < groups[g].count; i++)
            group_sum += ranks[at++];
        sum += group_sum * group_sum / (double)groups[g].count;
    }
    free(values);
    double correction = 1 - ties / (n * n * n - n);
    if (!(correction > 0))
        return ANALYSIS_NO_SPREAD;
    out->h = (12 / (n * (n + 1)) * sum - 3 * (n + 1)) / correction;
    out->freedom = (double)count - 1;
    out->p = gsl_cdf_chisq_Q(out->h, out->freedom);
    return ANALYSIS_OK;
}

/* From the ways in which each value 0..most of the statistic comes about. */
static void exact_tails(const double *ways, size_t most, struct rank_test *out)
{
    double all = 0, up_to = 0, from = 0;
    for (size_t s = 0; s <= most; s++) {
        all += ways[s];
        up_to += (double)s <= out->statistic ? ways[s] : 0;
        from += (double)s >= out->statistic ? ways[s] : 0;
    }
    out->exact = true;
    out->p_less = up_to / all;
    out->p_greater = from / all;
    out->p = fmin(2 * fmin(out->p_less, out->p_greater), 1);
}

static void normal_tails(double mean, double variance, struct rank_test *out)
{
    double sd = sqrt(variance), above = out->statistic - mean;
    double nearer = above > 0 ? above - 0.5 : above < 0 ? above + 0.5 : 0;
    out->p_greater = gsl_cdf_ugaussian_Q((above - 0.5) / sd);
    out->p_less = gsl_cdf_ugaussian_P((above + 0.5) / sd);
    out->p = fmin(2 * gsl_cdf_ugaussian_Q(fabs(nearer) / sd), 1);
}

/* In how many ways m of the ranks 1..n have the sum m (m + 1) / 2 + s. */
static void rank_sum_ways(size_t m, size_t n, double *ways)
{
    size_t least = m * (m + 1) / 2, room = n * (n + 1) / 2 + 1;
    double *sums = xcalloc((m + 1) * room, sizeof *sums);
    sums[0] = 1;
    for (size_t rank = 1; rank <= n; rank++) {
        for (size_t taken = rank < m ? rank : m; taken > 0; taken--) {
            for (size_t s = room; s-- > rank;)
                sums[taken * room + s] += sums[(taken - 1) * room + s - rank];
        }
    }
    memcpy(ways, sums + m * room + least, (m * (n - m) + 1) * sizeof *ways);
    free(sums);
}

enum analysis_status ranks_two(const struct group *a, const struct group *b, struct rank_test *out)
{
    *out = (struct rank_test){NAN, NAN, NAN, NAN, false};
    enum analysis_status status = check_group(a);
    if (status == ANALYSIS_OK)
        status = check_group(b);
    if (status != ANALYSIS_OK)
        return status;
    size_t all = a->count + b->count;
    double *values = xmalloc(2 * all * sizeof *values), *ranks = values + all;
    memcpy(values, a->values, a->count * sizeof *values);
    memcpy(values + a->count, b->values, b->count * sizeof *values);
    double ties = ranks_of(values, all, ranks), sum = 0;
    for (size_t i = 0; i < a->count; i++)
        sum += ranks[i];
    free(values);
    double m = (double)a->count, k = (double)b->count, n = m + k;
    double variance = m * k / 12 * (n + 1 - ties / (n * (n - 1)));
    if (!(variance > 0))
        return ANALYSIS_NO_SPREAD;
    out->statistic = sum - m * (m + 1) / 2;
    if (ties == 0 && all <= EXACT_MOST) {
        size_t most = a->count * b->count;
        double *ways = xmalloc((most + 1) * sizeof *ways);
        rank_sum_ways(a->count, all, ways);
        exact_tails(ways, most, out);
        free(ways);
    } else {
        normal_tails(m * k / 2, variance, out);
    }
    return ANALYSIS_OK;
}

enum analysis_status ranks_paired(const double *a, const double *b, size_t count,
                                  struct rank_test *out)
{
    *out = (struct rank_test){NAN, NAN, NAN, NAN, false};
    if (count == 0)
        return ANALYSIS_NO_DATA;
    if (!all_finite(a, count) || !all_finite(b, count))
        return ANALYSIS_NOT_FINITE;
    double *size = xmalloc(3 * count * sizeof *size), *sign = size + count, *ranks = sign + count;
    size_t n = 0;
    for (size_t i = 0; i < count; i++) {
        double difference = a[i] - b[i];
        if (difference == 0)
            continue;
        size[n] = fabs(difference);
        sign[n++] = difference;
    }
    double ties = ranks_of(size, n, ranks), sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += sign[i] > 0 ? ranks[i] : 0;
    free(size);
    if (n == 0)
        return ANALYSIS_NO_SPREAD;
    out->statistic = sum;
    if (ties == 0 && n <= EXACT_MOST) {
        size_t most = n * (n + 1) / 2;
        double *ways = xcalloc(most + 1, sizeof *ways);
        ways[0] = 1;
        for (size_t rank = 1; rank <= n; rank++) {
            for (size_t s = most + 1; s-- > rank;)
                ways[s] += ways[s - rank];
        }
        exact_tails(ways, most, out);
        free(ways);
    } else {
        double k = (double)n;
        normal_tails(k * (k + 1) / 4, k * (k + 1) * (2 * k + 1) / 24 - ties / 48, out);
    }
    return ANALYSIS_OK;
}
