/* What is left after time on the shelf: percent of the fresh capacity, average loss a day, and the
 * course of it with a forecast.
 *
 * Time is in days here, what a shelf is counted in. Retention is a fraction of the fresh charge:
 * the cell's own, or the mean of the set that was measured fresh where a shelf cell is opened only
 * once. Self-discharge starts fast and slows down: a forecast beyond the data says that it is one.
 */
#ifndef PERDURE_ANALYSIS_RETENTION_H
#define PERDURE_ANALYSIS_RETENTION_H

#include <stdbool.h>
#include <stddef.h>

#include "analysis/fit.h"

/* left / fresh, and its standard uncertainty. `correlation` is that of the two charges' errors:
 * near 1 for one channel whose gain is off alike both times, 0 for two. */
enum analysis_status retention_ratio(double left, double u_left, double fresh, double u_fresh,
                                     double correlation, double *ratio, double *u_ratio);

/* (1 - ratio) / days: the mean over the whole time, not the rate of any one day. */
enum analysis_status retention_loss_a_day(double ratio, double days, double *loss);

/* One opening of one cell. */
struct retention_check {
    size_t cell;        /* which cell, any numbering: the same number is the same cell */
    double days;        /* since the charge */
    double left;        /* A.s */
    double fresh;       /* A.s; NAN: none, which is refused */
    double rated;       /* A.s */
    double temperature; /* degC, mean over the days; used only with a rule for it */
};

/* How self-discharge speeds up with temperature. Only where the user gives it: none is assumed. */
enum warming { WARMING_NONE, WARMING_Q10, WARMING_ARRHENIUS };
struct warming_rule {
    enum warming kind;
    double q10;        /* factor for 10 K more */
    double activation; /* J/mol; factor exp(Ea/R (1/T_reference - 1/T)) */
    double reference;  /* degC to which days are brought */
};
/* How many days at the reference one day at `temperature` counts for. */
enum analysis_status retention_speed(const struct warming_rule *rule, double temperature,
                                     double *factor);

/* The mean of cells that were measured fresh, where it stands for shelf cells that were not: what
 * it is unsure of moves all of their retentions alike, and the fit through them cannot see it. */
struct fresh_set {
    double relative; /* standard error of the mean, as a part of it */
    double freedom;  /* cells - 1 */
};

struct retention_arm {
    const struct retention_check *checks; /* not owned */
    size_t count;
    const struct warming_rule *rule; /* NULL: days count as they are */
    const struct fresh_set *fresh;   /* NULL: every cell has a fresh capacity of its own */
};

/* The checks as points, in their order: x days (at the reference, with a rule), y retention. Looks
 * at every check's fresh reference, rating and times. */
enum analysis_status retention_points(const struct retention_arm *arm, double *x, double *y);

/* Every form fitted. Cells opened once each: one fit through all. Cells checked repeatedly: each
 * cell its own fit, and the criterion summed over cells, since checks of one cell are not
 * independent (`by_cell`; `pooled` is then empty). `best` as in fit.h. */
struct retention_fits {
    bool by_cell;
    struct fit_choice pooled;
    double aicc[FIT_CHOICES]; /* line, exponential, power; NAN where not every fit succeeded */
    int best;
};
enum analysis_status retention_fit(const struct retention_arm *arm, struct retention_fits *out);

struct retention_forecast {
    double days;
    double value;
    double low, high;                     /* of the mean of cells like these */
    double predicted_low, predicted_high; /* of one more cell */
    bool extrapolated;                    /* beyond the first or last check */
    size_t cells;                         /* that it rests on */
};
/* At each of `days`. By one fit through all cells, or, for cells checked repeatedly, by the cells'
 * own curves at that day and Student's t over cells; what a fresh set is unsure of is added. A
 * charge below nothing is none: values are not below 0. ANALYSIS_MIXED_CHECKS where some cells were
 * checked once and some repeatedly. */
enum analysis_status retention_forecast(const struct retention_arm *arm,
                                        const struct fit_form *form, const double *days,
                                        size_t day_count, double confidence,
                                        struct retention_forecast *out);

#endif
