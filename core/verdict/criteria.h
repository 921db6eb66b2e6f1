/* What cells are compared by: named criteria, each with a plain statement of which of a cell's
 * results it takes. One value a cell; fresh cells and worn ones never come into one. */
#ifndef PERDURE_VERDICT_CRITERIA_H
#define PERDURE_VERDICT_CRITERIA_H

#include "verdict/history.h"

struct criterion_kind {
    const char *name;
    const char *heading; /* for people: "Left", to be followed by an age */
    bool higher_is_better;
    bool of_age;        /* compares cells opened at one age only */
    const char *result; /* that it takes */
    const char *unit;
    const char *takes; /* for people: "each cell's first capacity, as part of its rating" */
    bool beside;       /* recorded beside: a verdict on cells does not rest on it */
};
extern const struct criterion_kind criterion_kinds[]; /* ends with a NULL name */

const struct criterion_kind *criterion_kind_of(const char *name);

struct taken {
    double value;      /* in the kind's unit; NAN: the cell has none, or with a check, no number */
    double correction; /* standard uncertainty of a bias taken off, same unit */
    double cycles;     /* drawn until then */
    double days;       /* since the charge; NAN */
    const struct check *check; /* NULL: the cell has none */
    bool of_set;               /* against the mean of its set */
    bool still_going;          /* none yet, and once it has one it is better than those that have */
};

/* `age`: days, for kinds of an age; else no matter. The last check at that age counts. */
struct taken criterion_take(const struct history *history, const struct subject *subject,
                            const struct criterion_kind *kind, double age);

/* The oldest age at which every wanted model was opened (`wanted` by model, NULL for all), by the
 * median of those checks; NAN when there is none. */
double criterion_common_age(const struct history *history, const struct criterion_kind *kind,
                            const bool *wanted);

#endif
