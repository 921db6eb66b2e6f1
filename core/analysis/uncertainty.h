/* Uncertainty as the GUM has it (JCGM 100:2008, "Guide to the expression of uncertainty in
 * measurement"): standard uncertainties combined by the law of propagation, effective degrees of
 * freedom, coverage factor, expanded uncertainty. Clause numbers are those of JCGM 100:2008. */
#ifndef PERDURE_ANALYSIS_UNCERTAINTY_H
#define PERDURE_ANALYSIS_UNCERTAINTY_H

#include <stddef.h>

#include "analysis/status.h"

/* One input quantity x of y = f(x1, x2, ...). */
struct uncertainty_input {
    double sensitivity; /* c = df/dx, in units of y per unit of x */
    double standard;    /* u(x), >= 0 */
    double freedom;     /* degrees of freedom of u(x); INFINITY where it is well known */
};

struct uncertainty {
    double standard;   /* combined standard uncertainty u(y) */
    double freedom;    /* effective degrees of freedom, not truncated; INFINITY for none known */
    double coverage;   /* k: t of `confidence` for the freedom truncated to a whole number */
    double expanded;   /* U = k u(y) */
    double confidence; /* of the interval y - U to y + U: 0.95 */
};

/* u(y)^2 = sum over i and j of c_i c_j u_i u_j r_ij (5.2.2, eq. 16). `correlation` is count x
 * count, row by row, symmetric with ones on its diagonal; NULL where no inputs are correlated.
 *
 * Effective freedom by Welch-Satterthwaite (G.4.1, eq. G.2b), which holds for independent inputs.
 * Inputs that are correlated with one another therefore enter as one contribution, with the least
 * freedom among them. ANALYSIS_TOO_FEW when less than one degree of freedom is left: `standard` and
 * `freedom` are still set. */
enum analysis_status uncertainty_combine(const struct uncertainty_input *inputs, size_t count,
                                         const double *correlation, double confidence,
                                         struct uncertainty *out);

/* Several outputs from the same inputs: covariance of the outputs = J V J' (H.2.3). `jacobian` is
 * outputs x inputs, `covariance` inputs x inputs, `out` outputs x outputs, all row by row. */
enum analysis_status uncertainty_propagate(const double *jacobian, size_t outputs, size_t inputs,
                                           const double *covariance, double *out);

/* Means of quantities that were read together, `readings` times, and the covariance of those means
 * (5.2.3, eq. 17): reading k of quantity q is x[k * quantities + q]. Freedom is readings - 1. */
enum analysis_status uncertainty_of_means(const double *x, size_t readings, size_t quantities,
                                          double *means, double *covariance);

/* k for a level of confidence (Table G.2); freedom is truncated to a whole number, as G.4.1 lets
 * one. NAN for less than one degree of freedom. */
double coverage_factor(double confidence, double freedom);

/* Type B: standard uncertainty of what is known only to lie within +-half_width (4.3.7, 4.3.9,
 * H.1.3.2); of a reading that is rounded to multiples of `step` (F.2.2.1). NAN when negative. */
double type_b_rectangular(double half_width); /* any value as likely: a / sqrt(3) */
double type_b_triangular(double half_width);  /* near the middle likelier: a / sqrt(6) */
double type_b_arcsine(double half_width);     /* swings like a sine, as a thermostat: a / sqrt(2) */
double type_b_resolution(double step);        /* step / sqrt(12) */

/* Degrees of freedom of a Type B uncertainty that is itself unsure by the fraction `unsure`: about
 * 1 / (2 unsure^2) (G.4.2, eq. G.3); 25 % gives 8. NAN unless above 0. */
double type_b_freedom(double unsure);

#endif
