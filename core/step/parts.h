/* Inside the step layer: the parts that a reading passes through, in this order. */
#ifndef PERDURE_STEP_PARTS_H
#define PERDURE_STEP_PARTS_H

#include "step/step.h"

/* From the reading before to this one, the line that everything is integrated and cut along. */
struct stretch {
    double dt; /* s; 0 for the first reading and after a gap */
    struct step_row from, to;
};

/* +1 where charge into the cell counts, -1 where charge out of it does. */
double step_direction(const struct step *step);

/* Whether the reading trips a guard. Counts readings whose current is not what was asked. */
enum step_guard step_guarded(struct step *step, const struct reading *reading);

/* What the ends by drop and slope look at: smooth voltage, its peak, the window. */
void step_watch(struct step *step, const struct stretch *stretch);

/* The first end on this stretch, END_NONE for none; *cut is where along the stretch it came,
 * 0..1. */
enum step_end step_ended(struct step *step, const struct stretch *stretch, bool when, double *cut);

/* Puts the rows to be kept into step->row; `must` keeps this one whatever the thinning says. */
void step_keep(struct step *step, const struct step_row *here, bool must);

/* The time to the next wanted reading, after a stretch that did not end the step. */
double step_pace(const struct step *step, const struct stretch *stretch);

/* When the level that is driven ends, in s of `active`. */
double step_level_end(const struct step *step);

#endif
