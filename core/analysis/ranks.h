/* Ranks, and tests on them: for values whose distribution is not known or has a long tail. Ties get
 * the mean of the ranks that they share (mid-ranks), and the tests correct for them. */
#ifndef PERDURE_ANALYSIS_RANKS_H
#define PERDURE_ANALYSIS_RANKS_H

#include <stdbool.h>
#include <stddef.h>

#include "analysis/compare.h"

/* Mid-ranks from 1 for the smallest. Returns the sum of t^3 - t over the ties of t values. */
double ranks_of(const double *values, size_t count, double *ranks);

/* More than two groups (W. H. Kruskal, W. A. Wallis, J. Am. Stat. Assoc. 47, 1952), by chi-square,
 * which is rough below five cells a group. */
struct rank_analysis {
    double h, freedom, p;
};
enum analysis_status ranks_kruskal_wallis(const struct group *groups, size_t count,
                                          struct rank_analysis *out);

/* Two groups, or pairs (F. Wilcoxon, Biometrics Bull. 1, 1945). Exact without ties up to 50 values,
 * else by the normal distribution with corrections for ties and continuity. */
struct rank_test {
    double statistic; /* two groups: pairs (a, b) with a > b; paired: sum of the ranks of a > b */
    double p;         /* two-sided: no shift */
    double p_greater; /* against: a is greater */
    double p_less;
    bool exact;
};
enum analysis_status ranks_two(const struct group *a, const struct group *b, struct rank_test *out);
/* Pairs without a difference are left out. */
enum analysis_status ranks_paired(const double *a, const double *b, size_t count,
                                  struct rank_test *out);

#endif
