/* A step from its first reading to its outcome. See parts.h for what a reading passes through. */
#include "step/step.h"

#include <math.h>
#include <string.h>

#include "step/parts.h"

void step_begin(struct step *step, const struct step_plan *plan, const struct cell_facts *cell,
                const struct limits *limits, double tick_least, double tick_most, double rest_most)
{
    memset(step, 0, sizeof(*step));
    step->plan = *plan;
    step->limits = *limits;
    step->present_least = cell->profile != NULL ? cell->profile->present_least : NAN;
    step->rated = cell->rated_charge;
    step->tick_least = tick_least;
    step->tick_most = tick_most;
    step->rest_most = rest_most;
    step->first_voltage = step->peak_voltage = step->low_voltage = NAN;
    step->max_temperature = step->min_temperature = NAN;
    step->smooth_voltage = step->smooth_peak = NAN;
    step->last = step->kept = (struct step_row){0, NAN, NAN, NAN};
    for (int i = 0; i < PULSE_LEVELS; i++)
        step->level_voltage[i] = step->level_current[i] = NAN;
    step->origin = BENCH_NEVER;
    step->tick = tick_least;
    step->end_span = 0;
    step->end_slope = NAN;
    step->resistance = NAN;
}

double step_direction(const struct step *step)
{
    return step->plan.kind == STEP_DISCHARGE || step->plan.kind == STEP_PULSE ? -1 : 1;
}

struct drive step_drive(const struct step *step)
{
    if (step->ended_by != END_NONE)
        return DRIVE_NOTHING;
    return step->plan.kind == STEP_PULSE ? step->plan.level[step->level] : step->plan.drive;
}

/* Shortens the stretch to its part up to `cut`. */
static void cut_short(struct stretch *stretch, double cut)
{
    if (cut >= 1 || stretch->dt <= 0)
        return;
    const struct step_row *from = &stretch->from;
    struct step_row *to = &stretch->to;
    to->t_us = from->t_us + llround(cut * (double)(to->t_us - from->t_us));
    to->voltage = from->voltage + cut * (to->voltage - from->voltage);
    to->current = from->current + cut * (to->current - from->current);
    to->temperature = from->temperature + cut * (to->temperature - from->temperature);
    stretch->dt *= cut;
}

/* For the voltage at half the charge: a few points, thinned to every second when they are full. In
 * whole microcoulombs, which take half the room in a checkpoint. */
static void remember(struct step *step, double voltage)
{
    int n = step->past_count;
    if (n > 0 && step->charge < step->past_charge[n - 1] + step->past_spacing)
        return;
    if (n == STEP_PAST) {
        for (n = 0; n < STEP_PAST / 2; n++) {
            step->past_charge[n] = step->past_charge[2 * n];
            step->past_voltage[n] = step->past_voltage[2 * n];
        }
        step->past_spacing = step->charge / (STEP_PAST / 2);
    }
    step->past_charge[n] = rint(step->charge * 1e6) / 1e6;
    step->past_voltage[n] = voltage;
    step->past_count = n + 1;
}

static void widen(double *low, double *high, double value)
{
    if (!(value >= *low) && !isnan(value))
        *low = value;
    if (!(value <= *high) && !isnan(value))
        *high = value;
}

static void integrate(struct step *step, const struct stretch *stretch)
{
    const struct step_row *from = &stretch->from, *to = &stretch->to;
    double dt = stretch->dt, half = step_direction(step) * dt / 2;
    step->charge += half * (from->current + to->current);
    step->energy += half * (from->voltage * from->current + to->voltage * to->current);
    step->voltage_time += dt / 2 * (from->voltage + to->voltage);
    step->active += dt;
    step->elapsed_us = to->t_us;
    widen(&step->low_voltage, &step->peak_voltage, to->voltage);
    widen(&step->min_temperature, &step->max_temperature, to->temperature);
    if (step->plan.kind == STEP_CHARGE || step->plan.kind == STEP_DISCHARGE)
        remember(step, to->voltage);
}

/* How sharply the end was found, for its uncertainty. The slope is that from the last row kept, a
 * few millivolts back: less steep than the knee itself, so the cautious one. */
static void mark_end(struct step *step, const struct stretch *stretch, double span, double cut)
{
    double dt = (double)(stretch->to.t_us - step->kept.t_us) * 1e-6;
    bool crossed = step->ended_by == END_VOLTAGE || step->ended_by == END_CURRENT;
    step->end_span = crossed && cut < 1 ? span : 0;
    if (step->ended_by == END_VOLTAGE && dt > 0)
        step->end_slope = (stretch->to.voltage - step->kept.voltage) / dt;
}

/* The end of a pulse's level: its voltage and current at the very time, by the line. */
static bool level_over(struct step *step, const struct stretch *stretch, double before)
{
    if (step->plan.kind != STEP_PULSE || step->level >= PULSE_LEVELS)
        return false;
    double left = step_level_end(step) - before;
    if (left > stretch->dt + 1e-6)
        return false;
    struct stretch at_end = *stretch;
    if (stretch->dt > 0)
        cut_short(&at_end, left / stretch->dt);
    step->level_voltage[step->level] = at_end.to.voltage;
    step->level_current[step->level] = at_end.to.current;
    step->level_start = step->active;
    step->level++;
    return true;
}

static enum step_verdict trip(struct step *step, enum step_guard guard)
{
    step->guard = guard;
    step->ended_by = END_GUARD;
    return STEP_TRIPPED;
}

enum step_verdict step_feed(struct step *step, const struct reading *reading, bool when)
{
    step->rows = 0;
    enum step_guard guard = step_guarded(step, reading);
    if (guard == GUARD_IMPOSSIBLE) { /* nothing of it can be used */
        if (step->row_count > 0)
            step_keep(step, &step->last, step->kept.t_us != step->last.t_us);
        return trip(step, guard);
    }

    bool fresh = step->interrupted || step->origin == BENCH_NEVER;
    if (fresh)
        step->origin = reading->at - step->elapsed_us;
    struct stretch stretch = {
        .from = step->last,
        .to = {reading->at - step->origin, reading->voltage, reading->current,
               reading->temperature},
    };
    if (fresh) {
        stretch.from = stretch.to;
        step->stretch_start = step->active;
    }
    stretch.dt = (double)(stretch.to.t_us - stretch.from.t_us) * 1e-6;
    if (step->row_count == 0)
        step->first_voltage = reading->voltage;
    step->resistance = reading->resistance;

    double cut = 1;
    if (guard == GUARD_NONE) {
        step_watch(step, &stretch);
        step->ended_by = step_ended(step, &stretch, when, &cut);
    }
    double before = step->active, span = stretch.dt;
    cut_short(&stretch, cut);
    if (step->ended_by == END_VOLTAGE && cut < 1)
        stretch.to.voltage = step->plan.voltage;
    mark_end(step, &stretch, span, cut);
    integrate(step, &stretch);
    if (step->ended_by == END_TIME && step->plan.kind != STEP_PULSE &&
        fabs(step->active - step->plan.time) < 1e-6)
        step->active = step->plan.time; /* the clock counts whole microseconds */
    bool over = guard == GUARD_NONE && level_over(step, &stretch, before);
    bool ends = guard != GUARD_NONE || step->ended_by != END_NONE;
    step_keep(step, &stretch.to, fresh || ends || over);
    step->last = stretch.to;
    step->interrupted = false;

    if (guard != GUARD_NONE)
        return trip(step, guard);
    if (ends)
        return STEP_ENDED;
    step->tick = over ? 0 : step_pace(step, &stretch);
    return over ? STEP_REDRIVE : STEP_GO_ON;
}

double step_next(const struct step *step)
{
    return step->tick;
}

void step_interrupt(struct step *step, double seconds)
{
    step->rows = 0;
    if (!step->interrupted)
        step->gaps++;
    step->interrupted = true;
    step->gap_time += seconds;
    step->elapsed_us += llround(seconds * 1e6);
    if (step->plan.kind == STEP_REST)
        step->active += seconds;
    step->tick = step->tick_least;
    step->odd_currents = 0;
    step->window_count = 0;
    step->smooth_voltage = step->smooth_peak = NAN;
}

void step_stop(struct step *step, enum step_end end, enum step_guard guard)
{
    step->rows = 0;
    step->ended_by = end;
    step->guard = guard;
    if (step->row_count > 0 && step->kept.t_us != step->last.t_us)
        step_keep(step, &step->last, true);
}

static double mid_voltage(const struct step *step)
{
    double half = step->charge / 2;
    int n = step->past_count;
    if (n < 2 || !(step->charge > 0))
        return NAN;
    for (int i = 1; i <= n; i++) {
        double q0 = step->past_charge[i - 1], v0 = step->past_voltage[i - 1];
        double q1 = i < n ? step->past_charge[i] : step->charge;
        double v1 = i < n ? step->past_voltage[i] : step->last.voltage;
        if (q1 >= half)
            return q1 > q0 ? v0 + (v1 - v0) * (half - q0) / (q1 - q0) : v1;
    }
    return step->last.voltage;
}

static double resistance(const struct step *step)
{
    if (step->plan.kind == STEP_READ)
        return step->resistance;
    if (step->plan.kind != STEP_PULSE || step->level < PULSE_LEVELS || step->gaps > 0)
        return NAN;
    return (step->level_voltage[0] - step->level_voltage[1]) /
           (step->level_current[0] - step->level_current[1]);
}

static const char *quality(const struct step *step)
{
    if (step->ended_by == END_GUARD || step->ended_by == END_STOPPED ||
        (step->plan.kind == STEP_PULSE && step->gaps > 0))
        return "void";
    return step->gaps > 0 ? "gap" : "good";
}

void step_outcome(const struct step *step, struct outcome *out)
{
    bool moved = step->plan.kind != STEP_REST && step->plan.kind != STEP_READ;
    double seen = step->plan.kind == STEP_REST ? step->active - step->gap_time : step->active;
    bool pulsed = step->plan.kind == STEP_PULSE && isfinite(resistance(step));
    *out = (struct outcome){
        .kind = step->plan.kind,
        .charge = moved ? step->charge : NAN,
        .energy = moved ? step->energy : NAN,
        .duration = step->active,
        .first_voltage = step->first_voltage,
        .last_voltage = step->last.voltage,
        .mean_voltage = seen > 0 ? step->voltage_time / seen : step->last.voltage,
        .mid_voltage = mid_voltage(step),
        .peak_voltage = step->peak_voltage,
        .last_current = step->last.current,
        .max_temperature = step->max_temperature,
        .resistance = resistance(step),
        .end_span = step->end_span,
        .end_slope = step->end_slope,
        .ended_by = step->ended_by,
        .guard = step->guard,
        .gaps = step->gaps,
        .gap_time = step->gap_time,
        .quality = quality(step),
    };
    for (int i = 0; i < PULSE_LEVELS; i++) {
        out->level_voltage[i] = pulsed ? step->level_voltage[i] : NAN;
        out->level_current[i] = pulsed ? step->level_current[i] : NAN;
    }
}
