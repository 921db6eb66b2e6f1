/* Cells in service, by model and arm: capacity and resistance over the cycles drawn, the forms that
 * fit, when a level is passed, before and after. Gathered once for charts, tables and the report.
 * A cell is in service when ten cycles or more lie between its first and its last check. */
#ifndef PERDURE_VERDICT_SERVICE_H
#define PERDURE_VERDICT_SERVICE_H

#include "analysis/compare.h"
#include "analysis/survival.h"
#include "analysis/wear.h"
#include "verdict/history.h"

#define SERVICE_CONFIDENCE 0.95

/* One cell's checks of one name. Arrays are owned. */
struct service_course {
    const struct subject *subject;
    double *cycles, *values; /* A.s, or ohm */
    size_t gaps;             /* values with a gap */
    const char *script;      /* of resistances: the protocol, all by one */
    size_t count;
};

/* A straight line through each cell's checks: what is lost or gained a cycle, over cells. */
struct service_slope {
    struct summary a_cycle; /* A.s or ohm a cycle */
    enum analysis_status status;
};

struct service_level {
    double part;                    /* of the rating */
    size_t reached, from_the_start; /* cells whose checks passed it; below it at the first check */
    struct survival seen;           /* cycles at which half of the cells have passed it */
    enum analysis_status seen_status;
    struct fit_crossing *each; /* by cell; owned */
    struct wear_summary fitted;
    enum analysis_status status;
};

#define SERVICE_LEVELS 2

struct service_group {
    size_t model;
    const char *arm;
    struct text name; /* the model's, with the arm where a model has several */
    struct service_course *capacities, *resistances;
    size_t count, resistance_count;
    double cycles_least, cycles_most;      /* at the last checks */
    struct wear_pair capacity, resistance; /* first to last, A.s and ohm */
    enum analysis_status capacity_status, resistance_status;
    struct summary first, last, before, after; /* A.s, A.s, ohm, ohm */
    struct service_slope fade, rise;
    double aicc[FIT_CHOICES]; /* summed over cells; NAN where not every cell can be fitted */
    int form;                 /* that levels are read from: the least criterion, else the line */
    bool chosen;              /* by the criterion */
    struct service_level level[SERVICE_LEVELS];
    /* Worn cells against those of the model that were not in service, resistance by one protocol */
    struct summary unworn;
    struct difference against;
    enum analysis_status against_status;
};

struct service {
    struct service_group *groups;
    size_t count;
    size_t not_in_service; /* cells with a capacity on record and less than ten cycles after it */
};

extern const struct fit_form *const service_forms[FIT_CHOICES];

/* ERROR_FAILED when no cell was in service. */
int service_of(struct service *out, const struct history *history, struct error *error);
void service_free(struct service *service);

#endif
