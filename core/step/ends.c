/* Ends: which comes first on the line between the last two readings, and where on it.
 *
 * Ends by time, voltage, current, charge and energy are found where the line crosses the limit;
 * those by drop, slope, temperature and a script's predicate at the reading that shows them. */
#include <math.h>
#include <string.h>

#include "step/parts.h"

#define SMOOTHING 30.0 /* s, time constant of the voltage that a drop is looked for in */
#define WINDOW_SPACING                                                                             \
    10.0                 /* s at least between entries of the window that slopes are taken over */
#define WINDOW_SPAN 60.0 /* s at least that it must span before a slope is believed */
#define TIME_ROOM   1e-6 /* s: clocks count microseconds */

struct found {
    enum step_end end;
    double cut;
};

static void consider(struct found *found, enum step_end end, double cut)
{
    if (!(cut > 0))
        cut = 0;
    if (cut > 1)
        cut = 1;
    if (found->end == END_NONE || cut < found->cut)
        *found = (struct found){end, cut};
}

double step_level_end(const struct step *step)
{
    return step->level < PULSE_LEVELS ? step->level_start + step->plan.level_time[step->level]
                                      : NAN;
}

static void by_time(struct found *found, enum step_end end, double limit, const struct step *step,
                    double dt)
{
    double left = limit - step->active;
    if (left <= dt + TIME_ROOM)
        consider(found, end, dt > 0 ? left / dt : 1);
}

/* Where a sum reaches its limit when its rate goes in a line from `from` to `to`. */
static void by_sum(struct found *found, enum step_end end, double missing, double from, double to,
                   double dt)
{
    double room = 1e-12 * fabs(missing);
    if (!(missing <= (from + to) / 2 * dt + room)) /* also when there is no limit */
        return;
    if (dt <= 0 || missing <= 0) {
        consider(found, end, dt > 0 ? 0 : 1);
        return;
    }
    double need = missing / dt, root = from * from + 2 * (to - from) * need;
    double denominator = from + sqrt(fmax(root, 0));
    consider(found, end, denominator > 0 ? 2 * need / denominator : 1);
}

static void by_voltage(struct found *found, const struct step *step, const struct stretch *stretch)
{
    double limit = step->plan.voltage, from = stretch->from.voltage, to = stretch->to.voltage;
    bool there;
    if (step->plan.kind == STEP_REST || step->plan.kind == STEP_READ)
        there = step->first_voltage < limit ? to >= limit : to <= limit;
    else
        there = step->plan.kind == STEP_CHARGE ? to >= limit : to <= limit;
    if (there)
        consider(found, END_VOLTAGE,
                 stretch->dt > 0 && from != to ? (limit - from) / (to - from) : 1);
}

static void by_current(struct found *found, struct step *step, const struct stretch *stretch)
{
    double limit = step->plan.current;
    double from = fabs(stretch->from.current), to = fabs(stretch->to.current);
    /* A source needs a moment to reach its current: falling is only what has been above. */
    if (to > limit || stretch->to.voltage >= 0.995 * step->plan.drive.ceiling)
        step->tapering = true;
    if (step->tapering && to <= limit)
        consider(found, END_CURRENT,
                 stretch->dt > 0 && from > to ? (from - limit) / (from - to) : 1);
}

/* Slope of `value` over time by least squares. */
static double slope(const struct step *step, const double *value)
{
    double n = step->window_count, mean_t = 0, mean = 0, products = 0, squares = 0;
    for (int i = 0; i < step->window_count; i++) {
        mean_t += step->window_t[i] / n;
        mean += value[i] / n;
    }
    for (int i = 0; i < step->window_count; i++) {
        double dt = step->window_t[i] - mean_t;
        products += dt * (value[i] - mean);
        squares += dt * dt;
    }
    return products / squares;
}

static bool blind(const struct step *step, double dt)
{
    return step->active + dt - step->stretch_start < step->plan.blind;
}

void step_watch(struct step *step, const struct stretch *stretch)
{
    const struct step_plan *plan = &step->plan;
    double voltage = stretch->to.voltage;
    if (!isnan(plan->drop)) {
        if (isnan(step->smooth_voltage))
            step->smooth_voltage = voltage;
        else
            step->smooth_voltage +=
                (voltage - step->smooth_voltage) * -expm1(-stretch->dt / SMOOTHING);
        if (blind(step, stretch->dt) || !(step->smooth_peak > step->smooth_voltage))
            step->smooth_peak = step->smooth_voltage;
    }
    if (isnan(plan->flat) && isnan(plan->temperature_rate))
        return;
    double t = (double)stretch->to.t_us * 1e-6;
    int n = step->window_count;
    if (n > 0 && t - step->window_t[n - 1] < WINDOW_SPACING)
        return;
    if (n == STEP_WINDOW) {
        n--;
        memmove(step->window_t, step->window_t + 1, sizeof(double) * (size_t)n);
        memmove(step->window_v, step->window_v + 1, sizeof(double) * (size_t)n);
        memmove(step->window_temperature, step->window_temperature + 1, sizeof(double) * (size_t)n);
    }
    step->window_t[n] = t;
    step->window_v[n] = voltage;
    step->window_temperature[n] = stretch->to.temperature;
    step->window_count = n + 1;
}

static void by_shape(struct found *found, const struct step *step, const struct stretch *stretch)
{
    const struct step_plan *plan = &step->plan;
    if (stretch->to.temperature >= plan->temperature)
        consider(found, END_TEMPERATURE, 1);
    if (blind(step, stretch->dt))
        return;
    if (step->smooth_peak - step->smooth_voltage >= plan->drop)
        consider(found, END_DROP, 1);
    if (isnan(plan->flat) && isnan(plan->temperature_rate))
        return;
    int n = step->window_count;
    if (n < 3 || step->window_t[n - 1] - step->window_t[0] < WINDOW_SPAN)
        return;
    if (fabs(slope(step, step->window_v)) <= plan->flat)
        consider(found, END_FLAT, 1);
    if (slope(step, step->window_temperature) >= plan->temperature_rate)
        consider(found, END_TEMPERATURE_RATE, 1);
}

enum step_end step_ended(struct step *step, const struct stretch *stretch, bool when, double *cut)
{
    const struct step_plan *plan = &step->plan;
    double dt = stretch->dt, direction = step_direction(step);
    double i0 = direction * stretch->from.current, i1 = direction * stretch->to.current;
    struct found found = {END_NONE, 1};

    if (plan->kind == STEP_PULSE) {
        if (step->level == PULSE_LEVELS - 1)
            by_time(&found, END_TIME, step_level_end(step), step, dt);
    } else {
        by_time(&found, END_TIME, plan->time, step, dt);
    }
    by_voltage(&found, step, stretch);
    by_current(&found, step, stretch);
    by_sum(&found, END_CHARGE, plan->charge - step->charge, i0, i1, dt);
    if (!isnan(plan->energy))
        by_sum(&found, END_ENERGY, plan->energy - step->energy, i0 * stretch->from.voltage,
               i1 * stretch->to.voltage, dt);
    by_shape(&found, step, stretch);
    if (when)
        consider(&found, END_WHEN, 1);
    by_time(&found, END_BACKSTOP_TIME, plan->backstop_time, step, dt);
    by_sum(&found, END_BACKSTOP_CHARGE, plan->backstop_charge - step->charge, i0, i1, dt);
    *cut = found.cut;
    return found.end;
}
