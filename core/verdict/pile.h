/* One result over the cells of one group: the values that are compared, and what they share. */
#ifndef PERDURE_VERDICT_PILE_H
#define PERDURE_VERDICT_PILE_H

#include "verdict/criteria.h"
#include "verdict/history.h"

struct pile {
    const struct history *history;
    const char *by, *group, *arm; /* arm NULL: all */
    const struct criterion_kind *kind;
    const char *result; /* as it is called */
    const char *unit;
    const char *takes;
    double age; /* days; NAN */
    double *values, *corrections, *rated;
    const struct subject **subjects;
    const struct check **checks;
    size_t count;
    size_t going; /* cells that have none yet, and will have a better one */
};

/* Without values yet; `history` is borrowed. */
void pile_open(struct pile *pile, const struct history *history, const char *by);
void pile_close(struct pile *pile);

/* What a cell is grouped by: its model's name, or size, chemistry, maker; "(not said)". */
const char *pile_key(const struct history *history, const struct subject *subject, const char *by);

/* Takes the values anew, as group, arm, kind, result, unit and age say. */
void pile_fill(struct pile *pile);

/* Standard uncertainty of the mean by what was taken off as bias: one channel's is one error. */
double pile_shared_error(const struct pile *pile);
/* Its degrees of freedom: all biases rest on the same reference runs. */
double pile_shared_freedom(const struct pile *pile);

#endif
