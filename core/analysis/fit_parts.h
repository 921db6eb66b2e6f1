/* Inside the fits only: the two ways to the parameters, and what both share. */
#ifndef PERDURE_ANALYSIS_FIT_PARTS_H
#define PERDURE_ANALYSIS_FIT_PARTS_H

#include "analysis/fit.h"

/* Every number NAN, every parameter unknown. */
void fit_clear(struct fit *fit, const struct fit_form *form, const double *x, size_t count);

/* The straight line, in closed form. */
enum analysis_status fit_line_solve(const double *x, const double *y, size_t count,
                                    struct fit *out);

/* Any form, by iteration: fills value and the covariance for a residual variance of 1. */
enum analysis_status fit_iterate(const struct fit_form *form, const double *start, const double *x,
                                 const double *y, size_t count, struct fit *out);

/* From the values and the covariance for residual variance 1 to everything else. */
void fit_finish(const double *x, const double *y, struct fit *out);

#endif
