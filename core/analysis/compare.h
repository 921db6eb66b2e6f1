/* Do groups of cells differ? Tests on means that do not ask for equal scatter, correction for
 * having asked many questions, the size of a difference, and which groups cannot be told apart.
 * Tests on ranks, for values far from normal, are in ranks.h. */
#ifndef PERDURE_ANALYSIS_COMPARE_H
#define PERDURE_ANALYSIS_COMPARE_H

#include <stdbool.h>
#include <stddef.h>

#include "analysis/status.h"

/* One value a cell. Not owned. */
struct group {
    const double *values;
    size_t count;
};

/* Two groups of unequal variance (B. L. Welch, Biometrika 34, 1947), two-sided. */
struct difference {
    double mean;      /* of a less that of b */
    double low, high; /* interval of it */
    double t, freedom, p;
    double effect; /* Hedges' g: the difference in pooled sd, small-sample bias corrected (L. V.
                      Hedges, J. Educ. Stat. 6, 1981) */
};
enum analysis_status compare_two(const struct group *a, const struct group *b, double confidence,
                                 struct difference *out);

/* One-way analysis of variance. */
struct variance_analysis {
    double between_squares, within_squares;
    double between_freedom, within_freedom;
    double f, p;
    double r_squared;   /* NAN for Welch's */
    double residual_sd; /* NAN for Welch's */
};
/* The classical one: groups of equal variance. */
enum analysis_status compare_anova(const struct group *groups, size_t count,
                                   struct variance_analysis *out);
/* Welch's (Biometrika 38, 1951): unequal variances. Sets the freedoms, f and p. */
enum analysis_status compare_welch_anova(const struct group *groups, size_t count,
                                         struct variance_analysis *out);

/* p values of a family of tests, adjusted so that the risk of one false alarm or more in the whole
 * family stays below the level (S. Holm, Scand. J. Stat. 6, 1979). `adjusted` may be `p`. */
enum analysis_status compare_holm(const double *p, size_t count, double *adjusted);

/* Every group with every other: Welch's t, adjusted by Holm. A pair that cannot be tested has a
 * status and differs by no evidence. */
struct pair {
    size_t a, b; /* a < b */
    enum analysis_status status;
    struct difference difference;
    double p_adjusted; /* NAN without a test */
    bool differ;       /* p_adjusted < risk */
};
#define PAIRS_OF(count) ((count) * ((count) > 0 ? (count)-1 : 0) / 2)

/* `pairs` has room for PAIRS_OF(count). Intervals have the confidence 1 - risk, each by itself. */
enum analysis_status compare_pairs(const struct group *groups, size_t count, double risk,
                                   struct pair *pairs);

/* Letters: groups that share one cannot be told apart (H.-P. Piepho, J. Comput. Graph. Stat. 13,
 * 2004: insert and absorb). `order` lists the groups as they will be shown, so that the letters run
 * down the table; NULL for 0, 1, 2... ANALYSIS_TOO_MANY beyond 64 groups or 26 letters. */
#define LETTERS_MOST 26
typedef char group_letters[LETTERS_MOST + 1];
enum analysis_status compare_letters(const struct pair *pairs, size_t count, const size_t *order,
                                     group_letters *letters);

#endif
