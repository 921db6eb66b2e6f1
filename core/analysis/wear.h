/* Wear in service: capacity or resistance against cycles, the cycles a cell gives until it is down
 * to a part of where it began, and cells compared with themselves before and after. */
#ifndef PERDURE_ANALYSIS_WEAR_H
#define PERDURE_ANALYSIS_WEAR_H

#include <stdbool.h>
#include <stddef.h>

#include "analysis/fit.h"
#include "analysis/summary.h"

/* The usual levels of capacity, as parts of the rated or fresh capacity. 60 % is the end of
 * endurance of IEC 61951-2 (3 h of the 5 h at 0.2 It). */
#define WEAR_WORN 0.80
#define WEAR_END  0.60

/* The checks of one cell in service. Arrays stay the caller's. */
struct wear_course {
    const double *cycles; /* rising */
    const double *values; /* A.s, or ohm */
    size_t count;
    double reference; /* the level 1: fresh or rated; NAN: none, which is refused */
};

/* When the measured values first pass part * reference, by the line between the check before and
 * the one after. Falling for part < 1, rising for part > 1. ANALYSIS_NOT_REACHED: not within the
 * checks; `cycles` is then the last check, at which the cell was still going, for survival.h. */
struct wear_event {
    double cycles;
    bool reached;
};
enum analysis_status wear_observed(const struct wear_course *course, double part,
                                   struct wear_event *out);

/* When a fit through the checks passes part * reference, with an interval from the scatter of the
 * checks about the curve (fit.h: fit_reaches). May be extrapolated, and says so. */
enum analysis_status wear_fitted(const struct wear_course *course, const struct fit_form *form,
                                 double part, double confidence, struct fit_crossing *out);

/* The cycles to a level over the cells of one arm: every cell's own fit, Student's t over cells.
 * ANALYSIS_CENSORED when the curve of a cell never passes the level: `each` and `cells_reached` are
 * set all the same. `each` has room for `cells`. */
struct wear_summary {
    struct summary cycles;
    size_t cells_reached, cells_extrapolated;
};
enum analysis_status wear_of_arm(const struct wear_course *courses, size_t cells,
                                 const struct fit_form *form, double part, double confidence,
                                 struct fit_crossing *each, struct wear_summary *out);

/* The same cells before and after: differences after - before, paired t test and interval. */
struct wear_pair {
    double difference, low, high; /* mean, in the values' unit */
    double sd;                    /* of the differences */
    double t, freedom, p;         /* two-sided: no change */
    double change;                /* mean of (after - before) / before */
    double change_low, change_high;
};
/* `change` is NAN where a value before is not above 0. */
enum analysis_status wear_paired(const double *before, const double *after, size_t cells,
                                 double confidence, struct wear_pair *out);

#endif
