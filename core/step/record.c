/* Which readings become rows: few, and the curve keeps its shape.
 *
 * A row is kept when its time has come, or enough has changed. Times of rows that nothing else asks
 * for are `every` apart however late each reading was: lateness does not add up, and none is left
 * out. A row for another reason begins the count anew. When the
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

/* When the next row is due: the times that are past already are passed over. */
static void count_on(struct step *step, int64_t now_us, bool on_time)
{
    double every = step->plan.every * 1e6;
    if (!(every < 1e15)) { /* never: NAN */
        step->row_due_us = INT64_MAX;
        return;
    }
    int64_t every_us = llround(every), from_us = on_time ? step->row_due_us : now_us;
    int64_t past = every_us > 0 ? (now_us - from_us) / every_us : 0;
    step->row_due_us = from_us + (past + 1) * every_us;
}

void step_keep(struct step *step, const struct step_row *here, bool must)
{
    const struct step_plan *plan = &step->plan;
    bool first = step->row_count == 0;
    bool changed = !first && differs(plan, here, &step->kept);
    bool due = !first && here->t_us >= step->row_due_us;
    if (!(first || must || changed || due))
        return;
    count_on(step, here->t_us, due && !must);
    if (!first && step->kept.t_us != step->last.t_us &&
        (differs(plan, here, &step->last) || step->interrupted))
        add(step, &step->last);
    add(step, here);
}
