/* Endurance where some cells are still going: the part of cells that lasts, and whether models
 * differ in it. A cell that was still good at its last check is censored there; it counts as one
 * that lasted at least so long. Time is in cycles, or any unit. */
#ifndef PERDURE_ANALYSIS_SURVIVAL_H
#define PERDURE_ANALYSIS_SURVIVAL_H

#include <stdbool.h>
#include <stddef.h>

#include "analysis/status.h"

/* One cell: when it ended, or when it was last seen going. */
struct survivor {
    double time;
    bool ended;
};

/* The course at one time at which cells ended (E. L. Kaplan, P. Meier, J. Am. Stat. Assoc. 53,
 * 1958).
 */
struct survival_step {
    double time;
    size_t at_risk, ended, censored; /* censored: at this time or after it, before the next step */
    double part;                     /* of cells that last longer */
    double standard_error;           /* by Greenwood's formula */
    double low, high; /* interval on the logarithm, at most 1; NAN once no cell is left */
};

struct survival {
    size_t cells, ended, steps;
    double median;                  /* first time at which part <= 1/2; NAN when not reached */
    double median_low, median_high; /* where the ends of the interval pass 1/2; NAN when not */
    double confidence;
};

/* `steps` has room for `cells`. ANALYSIS_NOT_REACHED: no cell has ended, or the median is not
 * reached; the course is set all the same. */
enum analysis_status survival_of(const struct survivor *cells, size_t count, double confidence,
                                 struct survival_step *steps, struct survival *out);

/* Do groups last equally long? Log-rank test (N. Mantel, Cancer Chemother. Rep. 50, 1966) over two
 * or more groups. `expected` (may be NULL) has room for `groups`: ends expected if all were alike.
 */
struct log_rank {
    double chi2, freedom, p;
};
enum analysis_status survival_log_rank(const struct survivor *const *cells, const size_t *counts,
                                       size_t groups, double *expected, struct log_rank *out);

#endif
