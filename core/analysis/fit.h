/* Curves through points by least squares: parameters with standard errors, a stated criterion to
 * choose between forms, bands, and when a level is reached.
 *
 * All points count alike and are taken as independent; repeated checks of one cell are not: see
 * retention.h and wear.h, which fit each cell by itself. */
#ifndef PERDURE_ANALYSIS_FIT_H
#define PERDURE_ANALYSIS_FIT_H

#include <stdbool.h>
#include <stddef.h>

#include "analysis/status.h"

#define FIT_PARAMETERS_MOST 4

/* A form of curve. */
struct fit_form {
    const char *name;
    const char *formula;
    size_t parameters;
    double (*value)(double x, const double *p);
    void (*gradient)(double x, const double *p, double *dp); /* by each parameter */
    /* The x of y, NAN where there is none; NULL where that is not known. */
    double (*inverse)(double y, const double *p);
    /* Starting values from the data; NULL where the caller must give them. */
    enum analysis_status (*start)(const double *x, const double *y, size_t count, double *p);
};

extern const struct fit_form fit_line;        /* a + b x */
extern const struct fit_form fit_exponential; /* a exp(-k x) */
extern const struct fit_form fit_power;       /* a - b x^p, 0.01 < p < 10, x >= 0 */

struct fit {
    const struct fit_form *form;
    size_t count;
    double value[FIT_PARAMETERS_MOST];
    double standard_error[FIT_PARAMETERS_MOST];
    double covariance[FIT_PARAMETERS_MOST][FIT_PARAMETERS_MOST];
    double residual_squares;
    double freedom;     /* count - parameters */
    double residual_sd; /* sqrt(residual_squares / freedom) */
    double r_squared;   /* NAN when the values do not differ */
    /* Corrected information criterion of Akaike for normal residuals (C. M. Hurvich, C.-L. Tsai,
     * Biometrika 76, 1989), K = parameters + 1 for the scatter; lower is better. NAN for fewer than
     * parameters + 3 points. */
    double aicc;
    double x_least, x_most; /* beyond them the curve is extrapolated */
};

/* ANALYSIS_TOO_FEW with no more points than parameters. `x` and `y` stay the caller's. */
enum analysis_status fit_points(const struct fit_form *form, const double *x, const double *y,
                                size_t count, struct fit *out);

/* The same from given starting values. */
enum analysis_status fit_points_from(const struct fit_form *form, const double *start,
                                     const double *x, const double *y, size_t count,
                                     struct fit *out);

/* All three forms, to be shown; `best` has the least AICc, -1 where none could be had. A difference
 * in AICc under about 2 is no reason to prefer one. */
#define FIT_CHOICES 3
struct fit_choice {
    struct fit fits[FIT_CHOICES]; /* line, exponential, power */
    enum analysis_status status[FIT_CHOICES];
    int best;
};
enum analysis_status fit_choose(const double *x, const double *y, size_t count,
                                struct fit_choice *out);

/* The curve at one x. Linear in the parameters' errors (the delta method), Student's t. */
struct fit_band {
    double x, value, standard_error;
    double low, high;                     /* of the mean: where the curve itself lies */
    double predicted_low, predicted_high; /* where one new point would lie */
    bool extrapolated;
};
enum analysis_status fit_at(const struct fit *fit, double x, double confidence,
                            struct fit_band *out);

/* The x at which the curve is at a level. The interval holds the x for which the band of the mean
 * holds the level; its ends are -INFINITY or INFINITY where the data set no bound. */
struct fit_crossing {
    double level, x;
    double standard_error; /* delta method */
    double low, high;
    bool extrapolated;
};
enum analysis_status fit_reaches(const struct fit *fit, double level, double confidence,
                                 struct fit_crossing *out);

#endif
