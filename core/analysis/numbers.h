/* Inside analysis only: sums that keep their digits, checks on arrays, Student's t. */
#ifndef PERDURE_ANALYSIS_NUMBERS_H
#define PERDURE_ANALYSIS_NUMBERS_H

#include <stdbool.h>
#include <stddef.h>

#include "analysis/status.h"

/* A running sum that carries what rounding drops (A. Neumaier, ZAMM 54, 1974). */
struct exact_sum {
    double sum, rest;
};
void exact_add(struct exact_sum *sum, double term);
double exact_total(const struct exact_sum *sum);

bool all_finite(const double *x, size_t count);

/* Whether they differ by nothing but what computing leaves between equal values. */
bool are_alike(const double *x, size_t count);

/* The mean, and the sum of squares about it: two passes, the second corrected for what the rounding
 * of the mean leaves (T. F. Chan, G. H. Golub, R. J. LeVeque, Am. Stat. 37, 1983). */
double mean_of(const double *x, size_t count);
double squares_about(const double *x, size_t count, double mean);

/* An own sorted copy; free() it. */
double *sorted_copy(const double *x, size_t count);

/* Student's t; `freedom` may be INFINITY: the normal distribution. */
double t_quantile(double probability, double freedom);
double t_two_sided(double t, double freedom); /* P(|T| >= |t|) */

/* The factor of a two-sided interval of this confidence. */
double t_factor(double confidence, double freedom);

bool is_confidence(double confidence); /* 0 < confidence < 1 */

/* GSL would end the process on an error of its own: it reports instead. Called by every function
 * that hands GSL something that it may refuse. */
void quiet_gsl(void);

#endif
