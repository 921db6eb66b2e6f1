/* Which readings become rows: few, and the curve keeps its shape.
 *
 * A row is kept when enough time has passed since the one before, or enough has changed. When the
 * change came at a jump, the reading just before it is kept as well, or the line between the rows
 * would show a slope that never was. */
#include <math.h>

#include "step/parts.h"

static bool differs(const struct step_plan *plan, const struct step_row *a,
                    const struct step_row *b)
{
    return fabs(a->voltage - b->voltage) >= plan->by_voltage ||
           fabs(a->current - b->current) >= plan->by_current ||
           fabs(a->temperature - b->temperature) >= plan->by_temperature;
}

static void add(struct step *step, const struct step_row *row)
{
    step->row[step->rows++] = *row;
    step->kept = *row;
    step->row_count++;
}

void step_keep(struct step *step, const struct step_row *here, bool must)
{
    const struct step_plan *plan = &step->plan;
    bool first = step->row_count == 0;
    bool changed = !first && differs(plan, here, &step->kept);
    bool due = !first && (double)(here->t_us - step->kept.t_us) * 1e-6 >= plan->every;
    if (!(first || must || changed || due))
        return;
    if (!first && step->kept.t_us != step->last.t_us &&
        (differs(plan, here, &step->last) || step->interrupted))
        add(step, &step->last);
    add(step, here);
}
