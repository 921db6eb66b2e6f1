/* Charge, energy and voltages of a curve. Two passes: the integrals, then the voltage at which half
 * of the charge had passed. */
#include "analysis/curve.h"

#include <math.h>

#include "analysis/numbers.h"

#define LESSER_WAY 0.01 /* charge in the other direction that is taken for noise */

/* The line between two samples, as far as it counts. */
struct stretch {
    double dt, v0, v1, i0, i1;
};

enum analysis_status curve_check(const struct curve *curve, size_t least)
{
    if (curve->count == 0)
        return ANALYSIS_NO_DATA;
    if (!all_finite(curve->time, curve->count) || !all_finite(curve->voltage, curve->count) ||
        !all_finite(curve->current, curve->count))
        return ANALYSIS_NOT_FINITE;
    for (size_t k = 1; k < curve->count; k++) {
        if (curve->time[k] < curve->time[k - 1])
            return ANALYSIS_TIME_ORDER;
    }
    return curve->count < least ? ANALYSIS_TOO_FEW : ANALYSIS_OK;
}

static struct stretch stretch_at(const struct curve *curve, size_t k)
{
    return (struct stretch){curve->time[k + 1] - curve->time[k], curve->voltage[k],
                            curve->voltage[k + 1], curve->current[k], curve->current[k + 1]};
}

/* Which way most of the charge went: 1 in, -1 out, 0 nowhere. */
static enum analysis_status find_direction(const struct curve *curve, double *direction)
{
    struct exact_sum in = {0, 0}, out = {0, 0};
    for (size_t k = 0; k + 1 < curve->count; k++) {
        struct stretch s = stretch_at(curve, k);
        double charge = s.dt * (s.i0 + s.i1) / 2;
        exact_add(charge > 0 ? &in : &out, fabs(charge));
    }
    double into = exact_total(&in), out_of = exact_total(&out);
    *direction = into > out_of ? 1 : out_of > into ? -1 : 0;
    return fmin(into, out_of) > LESSER_WAY * fmax(into, out_of) ? ANALYSIS_MIXED_DIRECTIONS
                                                                : ANALYSIS_OK;
}

/* Shortens the stretch where it crosses the end voltage. True when it does. */
static bool cut_at(struct stretch *s, double end_voltage, double direction)
{
    if (isnan(end_voltage) || direction == 0)
        return false;
    double before = direction * (end_voltage - s->v0), after = direction * (end_voltage - s->v1);
    if (before > 0 && after > 0)
        return false;
    double part = before > 0 ? before / (before - after) : 0; /* 0: it was past it already */
    s->dt *= part;
    s->v1 = s->v0 + part * (s->v1 - s->v0);
    s->i1 = s->i0 + part * (s->i1 - s->i0);
    return true;
}

/* How far along the stretch `charge` has passed, 0..1: the current is a line, the charge a
 * parabola.
 */
static double part_for_charge(const struct stretch *s, double charge)
{
    double i0 = fabs(s->i0), i1 = fabs(s->i1), wanted = charge / s->dt;
    /* i0 x + (i1 - i0) x^2 / 2 = wanted, in the form that survives i0 = i1 */
    double root = sqrt(fmax(i0 * i0 + 2 * (i1 - i0) * wanted, 0));
    double part = i0 + root > 0 ? 2 * wanted / (i0 + root) : 0;
    return fmin(part, 1);
}

enum analysis_status curve_measure(const struct curve *curve, const struct curve_options *options,
                                   struct curve_measures *out)
{
    *out = (struct curve_measures){.charge = NAN,
                                   .energy = NAN,
                                   .of_rating = NAN,
                                   .duration = NAN,
                                   .first_voltage = NAN,
                                   .last_voltage = NAN,
                                   .mean_voltage = NAN,
                                   .mid_voltage = NAN,
                                   .gap_time = NAN};
    double direction;
    enum analysis_status status = curve_check(curve, 2);
    if (status == ANALYSIS_OK)
        status = find_direction(curve, &direction);
    if (status != ANALYSIS_OK)
        return status;
    if (!isnan(options->rated) && !(options->rated > 0))
        return ANALYSIS_OUT_OF_RANGE;

    struct exact_sum charge = {0, 0}, energy = {0, 0}, time = {0, 0}, voltage_time = {0, 0};
    out->first_voltage = out->last_voltage = curve->voltage[0];
    out->gap_time = 0;
    size_t end = 0; /* stretches that count */
    for (; end + 1 < curve->count && !out->reached; end++) {
        struct stretch s = stretch_at(curve, end);
        if (s.dt > options->gap) {
            out->gaps++;
            out->gap_time += s.dt;
            out->last_voltage = s.v1;
            continue;
        }
        out->reached = cut_at(&s, options->end_voltage, direction);
        exact_add(&time, s.dt);
        exact_add(&charge, s.dt * (s.i0 + s.i1) / 2);
        exact_add(&energy, s.dt * (s.v0 * s.i0 + s.v1 * s.i1) / 2);
        exact_add(&voltage_time, s.dt * (s.v0 + s.v1) / 2);
        out->last_voltage = s.v1;
    }
    out->duration = exact_total(&time);
    out->charge = fabs(exact_total(&charge));
    out->energy = fabs(exact_total(&energy));
    out->of_rating = out->charge / options->rated;
    if (out->duration > 0)
        out->mean_voltage = exact_total(&voltage_time) / out->duration;

    double half = out->charge / 2, passed = 0;
    for (size_t k = 0; k < end && out->charge > 0; k++) {
        struct stretch s = stretch_at(curve, k);
        if (s.dt > options->gap)
            continue;
        cut_at(&s, options->end_voltage, direction);
        double here = direction * s.dt * (s.i0 + s.i1) / 2;
        if (here > 0 && passed + here >= half * (1 - 1e-15)) {
            out->mid_voltage = s.v0 + part_for_charge(&s, half - passed) * (s.v1 - s.v0);
            break;
        }
        passed += here;
    }
    return ANALYSIS_OK;
}

enum analysis_status curve_efficiency(double out_of_cell, double into_cell, double *efficiency)
{
    *efficiency = NAN;
    if (!isfinite(out_of_cell) || !isfinite(into_cell))
        return ANALYSIS_NOT_FINITE;
    if (out_of_cell < 0 || into_cell <= 0)
        return ANALYSIS_OUT_OF_RANGE;
    *efficiency = out_of_cell / into_cell;
    return ANALYSIS_OK;
}
