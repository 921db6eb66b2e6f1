/* A group of cells in a few numbers: mean, scatter, how sure the mean is, quartiles, and which
 * value looks out of line. Numerically stable: the sums keep their digits. */
#ifndef PERDURE_ANALYSIS_SUMMARY_H
#define PERDURE_ANALYSIS_SUMMARY_H

#include <stdbool.h>
#include <stddef.h>

#include "analysis/status.h"

struct summary {
    size_t count;
    double mean;
    double sd;             /* between cells; divisor count - 1 */
    double standard_error; /* sd / sqrt(count) */
    double confidence;
    double low, high; /* interval of the mean, by Student's t */
    double minimum, lower_quartile, median, upper_quartile, maximum;
};

/* ANALYSIS_ONE_CELL: the mean is known, the scatter is not. ANALYSIS_NO_SPREAD: all are equal, sd
 * is 0 and no interval can be given. */
enum analysis_status summary_of(const double *values, size_t count, double confidence,
                                struct summary *out);

/* The value below which the fraction `part` lies, between order statistics by a straight line
 * (position part * (count - 1), counted from 0). */
enum analysis_status summary_quantile(const double *values, size_t count, double part, double *out);

/* Grubbs' test for one value out of line with a normal sample, two-sided (F. E. Grubbs,
 * Technometrics 11, 1969). The value is flagged for a person to look at; it is never dropped. */
struct outlier {
    bool found;
    size_t index;    /* of the value furthest from the mean, found or not */
    double distance; /* G = |value - mean| / sd */
    double critical; /* G above this is an outlier at the level `risk` */
};
enum analysis_status summary_outlier(const double *values, size_t count, double risk,
                                     struct outlier *out);

/* Critical G for `count` values; NAN for fewer than 3. */
double outlier_critical(size_t count, double risk);

/* ANALYSIS_MIXED_RATINGS unless all the cells have one rated charge. */
enum analysis_status summary_one_rating(const double *rated, size_t count);

/* Groups of repeated readings: cells that were put into the holder anew each time, days on which
 * one cell was measured. How much comes from within a group, how much from between, and how sure
 * the mean is (nested design, JCGM 100:2008, H.5). */
struct repeats {
    double mean;
    double within;         /* sd of one reading within a group, pooled */
    double between;        /* sd of the groups' true values; 0 where within explains it all */
    double standard_error; /* of the mean: sd of group means / sqrt(groups) */
    double freedom;        /* of standard_error: groups - 1 */
    double f, p;           /* groups do not differ: F test on groups - 1, groups (readings - 1) */
};
/* Each of `groups` has `readings` values: values[g * readings + k]. */
enum analysis_status summary_of_repeats(const double *values, size_t groups, size_t readings,
                                        struct repeats *out);
/* The same from each group's mean and sd. */
enum analysis_status summary_of_group_means(const double *means, const double *sds, size_t groups,
                                            size_t readings, struct repeats *out);

#endif
