/* When to look again: as rarely as the channel allows while little happens, and ever closer as an
 * end comes near, so that the line which is cut there is short.
 *
 * The interval at most doubles from one reading to the next. It never passes an end by time or the
 * end of a pulse's level: the reading then falls on it. */
#include <math.h>

#include "step/parts.h"

#define GROWTH          2.0
#define NEARING         0.5    /* of the time to an end that is approached in a line */
#define VOLTAGE_PIECE   0.01   /* V at most between readings, as well as can be foreseen */
#define REST_PIECE      0.003  /* V, the same in a rest */
#define CURRENT_PIECE   0.01   /* of the current, the same: keeps the trapezoid's error near 1e-5 */
#define SHAPE_PIECE     0.003  /* of the rated charge between looks for the shape of a full cell */
#define PREDICATE_PIECE 10.0   /* s between looks of a script's predicate */
#define FIRST_HOUR      3600.0 /* s of a rest in which it is read as often as an energised cell */

static double least_of(double a, double b)
{
    return b < a ? b : a; /* a NAN as b changes nothing */
}

/* Time until `now` reaches `limit` at this slope; NAN when it moves away or there is no limit. The
 * limits are looked at before anything is divided: most are not set, and this runs every tick. */
static double until(double limit, double now, double rate)
{
    double left = limit - now;
    return left * rate > 0 ? left / rate : NAN;
}

/* The tick, or less if `change` over `dt` would come to more than `piece` in it. */
static double in_pieces(double tick, double change, double dt, double piece)
{
    return fabs(change) * tick > piece * dt ? piece * dt / fabs(change) : tick;
}

static double shape_pace(const struct step *step, double current)
{
    if (step->plan.kind == STEP_REST)
        return step->tick_most;
    return step->rated > 0 ? SHAPE_PIECE * step->rated / fabs(current) : 10.0;
}

/* To the next row's time, which is less than `every` away after a reading that came late; but not
 * much faster than the channel can be read. */
static double until_row(const struct step *step, int64_t now_us)
{
    double left = (double)(step->row_due_us - now_us) * 1e-6;
    return fmax(left, 0.5 * fmin(step->tick_least, step->plan.every));
}

double step_pace(const struct step *step, const struct stretch *stretch)
{
    const struct step_plan *plan = &step->plan;
    const struct step_row *to = &stretch->to;
    double current = fabs(to->current), rested = (double)to->t_us * 1e-6;
    bool idle = plan->kind == STEP_REST || plan->kind == STEP_READ;
    double most = !idle                 ? step->tick_most
                  : rested < FIRST_HOUR ? fmin(step->tick_most, step->rest_most)
                                        : step->rest_most;
    double tick = plan->kind == STEP_PULSE ? step->tick_least : least_of(most, GROWTH * step->tick);

    if (stretch->dt > 0) {
        double dt = stretch->dt;
        double dv = to->voltage - stretch->from.voltage;
        double di = current - fabs(stretch->from.current);
        double dk = to->temperature - stretch->from.temperature;
        tick = in_pieces(tick, dv, dt, idle ? REST_PIECE : VOLTAGE_PIECE);
        if (!idle && current > 0)
            tick = in_pieces(tick, di, dt, CURRENT_PIECE * current);
        tick = least_of(tick, NEARING * dt * until(plan->voltage, to->voltage, dv));
        tick = least_of(tick, NEARING * dt * until(plan->current, current, di));
        tick = least_of(tick, NEARING * dt * until(plan->temperature, to->temperature, dk));
    }
    /* A microsecond more, so that a reading rounded to the clock falls behind the end. */
    tick = least_of(tick, until(plan->charge, step->charge, current) + 1e-6);
    tick = least_of(tick, until(plan->backstop_charge, step->charge, current) + 1e-6);
    tick = least_of(tick, until(plan->energy, step->energy, current * to->voltage) + 1e-6);
    if (!isnan(plan->drop) || !isnan(plan->flat) || !isnan(plan->temperature_rate))
        tick = least_of(tick, shape_pace(step, current));
    if (plan->when)
        tick = least_of(tick, PREDICATE_PIECE);
    if (tick < step->tick_least || step->odd_currents > 0) /* doubtful: look again soon */
        tick = step->tick_least;
    if (plan->every > 0 && tick >= plan->every)
        tick = until_row(step, to->t_us);

    if (plan->kind == STEP_PULSE)
        return least_of(tick, step_level_end(step) - step->active);
    tick = least_of(tick, plan->time - step->active);
    return least_of(tick, plan->backstop_time - step->active);
}
