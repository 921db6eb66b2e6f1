/* What was left in cells after their time on the shelf, by model and arm (arms that were stored
 * alike and opened at other ages are one): results "remaining" by age, the age counted from the end
 * of the cell's last charge to the start of the discharge that found out; the courses that fit it,
 * and a forecast. Gathered once for the chart, the tables and the report. */
#ifndef PERDURE_VERDICT_SHELF_H
#define PERDURE_VERDICT_SHELF_H

#include <stddef.h>

#include "analysis/retention.h"
#include "analysis/summary.h"
#include "verdict/history.h"

#define SHELF_CONFIDENCE 0.95

struct shelf_check {
    const char *cell;
    size_t turn; /* in the order of the record */
    double days;
    double left, fresh;  /* A.s; fresh NAN: none */
    double temperature;  /* degC; NAN */
    const char *storage; /* the history's */
    bool of_set;         /* fresh is the mean of the model's cells */
    bool gap;            /* in what was left, or in the fresh charge */
};

/* The checks of one age. */
struct shelf_age {
    double days, days_least, days_most;
    size_t again; /* checks of cells that were opened at this age once more: the last counts */
    struct summary left; /* parts of the fresh charge, over cells */
    enum analysis_status status;
    double loss; /* a day, on average since the charge, as a part */
    double loss_low, loss_high;
};

struct shelf_group {
    size_t model;               /* the history's */
    struct text arm;            /* "", or several: "six_weeks and year" */
    struct text name;           /* the model's, with the arm where a model has several */
    int number;                 /* among the groups of its model, from 0 */
    struct shelf_check *checks; /* in order of age; those with a charge before them */
    size_t count, of_set;       /* of_set: checks against the mean of the set */
    struct fresh_set set;
    struct shelf_age *ages;
    size_t age_count;
    struct retention_fits fits;
    enum analysis_status fitted; /* the best of them; else why there is none */
    double days_least, days_most;
    double temperature_least, temperature_most; /* degC; NAN */
    bool some_temperatures;                     /* of some checks it is not on record */
};

struct shelf {
    struct shelf_group *groups; /* those with checks */
    size_t count;
    size_t no_charge;                /* checks left out: no charge on record before them */
    size_t no_fresh;                 /* checks left out of the numbers: no fresh capacity */
    const struct warming_rule *rule; /* NULL: days count as they are */
};

extern const struct fit_form *const shelf_forms[FIT_CHOICES];

/* ERROR_FAILED when no check is on record that can be used. `rule` may be NULL; it stays the
 * caller's. */
int shelf_of(struct shelf *out, const struct history *history, const struct warming_rule *rule,
             struct error *error);
void shelf_free(struct shelf *shelf);

/* What a curve of the form, such as group->fits.best, says at some ages (of the reference, with a
 * rule); `out` has room. */
enum analysis_status shelf_forecast(const struct shelf *shelf, const struct shelf_group *group,
                                    int form, const double *days, size_t count,
                                    struct retention_forecast *out);

#endif
