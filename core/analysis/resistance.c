/* Two-step resistance, and the fit of a relaxation. */
#include "analysis/resistance.h"

#include <math.h>
#include <stdlib.h>

#include "analysis/fit.h"
#include "analysis/numbers.h"
#include "base/text.h"

enum analysis_status resistance_two_step(double u1, double i1, double u2, double i2, double *ohm)
{
    *ohm = NAN;
    if (!isfinite(u1) || !isfinite(i1) || !isfinite(u2) || !isfinite(i2))
        return ANALYSIS_NOT_FINITE;
    if (i1 < 0 || i2 < 0)
        return ANALYSIS_OUT_OF_RANGE;
    if (i1 == i2)
        return ANALYSIS_NO_CURRENT_STEP;
    double resistance = (u1 - u2) / (i2 - i1);
    if (resistance < 0)
        return ANALYSIS_IMPOSSIBLE;
    *ohm = resistance;
    return ANALYSIS_OK;
}

enum analysis_status resistance_of_pulse(const struct curve *curve, double first_time,
                                         double second_time, struct two_step *out)
{
    *out = (struct two_step){NAN, NAN, NAN, NAN, NAN};
    enum analysis_status status = curve_check(curve, 4);
    if (status != ANALYSIS_OK)
        return status;
    if (!(first_time >= 0) || !(second_time > 0))
        return ANALYSIS_OUT_OF_RANGE;
    const double *t = curve->time, *i = curve->current, *v = curve->voltage;

    /* The largest rise between two currents that both flow: the rise out of rest is none. */
    size_t step = curve->count;
    double rise = 0;
    for (size_t k = 0; k + 1 < curve->count; k++) {
        double here = fabs(i[k + 1]) - fabs(i[k]);
        if (i[k] * i[k + 1] > 0 && here > rise) {
            rise = here;
            step = k;
        }
    }
    if (step == curve->count)
        return ANALYSIS_NO_CURRENT_STEP;
    size_t start = step;
    while (start > 0 && fabs(i[start - 1] - i[step]) < rise / 2)
        start--;
    if (t[step] - t[start] < 0.98 * first_time)
        return ANALYSIS_TOO_FEW;

    double until = t[step] + second_time, slack = 1e-6 * second_time;
    size_t k = step + 1;
    while (k + 1 < curve->count && t[k] < until - slack)
        k++;
    if (t[k] < until - slack || fabs(i[k]) - fabs(i[step]) < rise / 2)
        return ANALYSIS_TOO_FEW; /* over before its time */
    double part = k == step + 1 ? 1 : fmin((until - t[k - 1]) / (t[k] - t[k - 1]), 1);
    out->u1 = v[step];
    out->i1 = fabs(i[step]);
    out->u2 = v[k - 1] + part * (v[k] - v[k - 1]);
    out->i2 = fabs(i[k - 1] + part * (i[k] - i[k - 1]));
    return resistance_two_step(out->u1, out->i1, out->u2, out->i2, &out->ohm);
}

/* V(t) = p0 + p1 exp(-t / p2) */
static double course_value(double t, const double *p)
{
    return p[0] + p[1] * exp(-t / p[2]);
}

static void course_gradient(double t, const double *p, double *dp)
{
    dp[0] = 1;
    dp[1] = exp(-t / p[2]);
    dp[2] = p[1] * dp[1] * t / (p[2] * p[2]);
}

/* For a given time constant the rest is a straight line: the best of a few. */
static enum analysis_status course_start(const double *t, const double *v, size_t count, double *p)
{
    double span = t[count - 1], best = INFINITY, mean_v = mean_of(v, count);
    for (double tau = span / 200; tau < 5 * span; tau *= 1.2) {
        double mean_e = 0, ee = 0, ev = 0, squares = 0;
        for (size_t k = 0; k < count; k++)
            mean_e += exp(-t[k] / tau) / (double)count;
        for (size_t k = 0; k < count; k++) {
            double de = exp(-t[k] / tau) - mean_e;
            ee += de * de;
            ev += de * (v[k] - mean_v);
        }
        double slope = ev / ee;
        for (size_t k = 0; k < count; k++) {
            double residual = v[k] - mean_v - slope * (exp(-t[k] / tau) - mean_e);
            squares += residual * residual;
        }
        if (squares < best) {
            best = squares;
            p[0] = mean_v - slope * mean_e;
            p[1] = slope;
            p[2] = tau;
        }
    }
    return isfinite(best) ? ANALYSIS_OK : ANALYSIS_NO_FIT;
}

static const struct fit_form course = {.name = "relaxation",
                                       .formula = "a + b exp(-t / tau)",
                                       .parameters = 3,
                                       .value = course_value,
                                       .gradient = course_gradient,
                                       .start = course_start};

static double error_of(const struct fit *fit, const double *sensitivity)
{
    double variance = 0;
    for (size_t a = 0; a < 3; a++) {
        for (size_t b = 0; b < 3; b++)
            variance += sensitivity[a] * fit->covariance[a][b] * sensitivity[b];
    }
    return sqrt(fmax(variance, 0));
}

#define NO_CURRENT 0.02 /* as a part of the change */

static const struct resistance_parts no_parts = {NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN};

static enum analysis_status check_relaxation(const struct relaxation *r)
{
    double all[] = {r->voltage_before, r->current_before, r->current_after};
    if (!all_finite(all, 3) || isnan(r->held))
        return ANALYSIS_NOT_FINITE;
    if (r->held <= 0)
        return ANALYSIS_OUT_OF_RANGE;
    for (size_t k = 0; k < r->count; k++) {
        if (r->time[k] < 0)
            return ANALYSIS_NEGATIVE_TIME;
        if (k > 0 && r->time[k] < r->time[k - 1])
            return ANALYSIS_TIME_ORDER;
    }
    return r->current_after == r->current_before ? ANALYSIS_NO_CURRENT_STEP : ANALYSIS_OK;
}

enum analysis_status resistance_of_relaxation(const struct relaxation *relaxation,
                                              struct resistance_parts *out)
{
    *out = no_parts;
    enum analysis_status status = check_relaxation(relaxation);
    if (status != ANALYSIS_OK)
        return status;
    struct fit fit;
    status = fit_points(&course, relaxation->time, relaxation->voltage, relaxation->count, &fit);
    if (status != ANALYSIS_OK)
        return status;
    double change = relaxation->current_after - relaxation->current_before;
    double b = fit.value[1], tau = fit.value[2], held = relaxation->held;
    if (!(tau > 0) || fit.standard_error[2] > tau)
        return ANALYSIS_NO_FIT; /* a straight line would do as well */

    /* Positive current charges: V = OCV + I R0 + v1. While current_before flowed out of rest, v1
     * came to current_before R1 built; from there it goes to current_after R1. */
    double left = isinf(held) ? 0 : exp(-held / tau), built = 1 - left;
    double driven = relaxation->current_before * built - relaxation->current_after;
    double r0 = (fit.value[0] + b - relaxation->voltage_before) / change;
    double r1 = b / driven;
    if (!(r0 >= 0) || !(r1 >= 0))
        return ANALYSIS_IMPOSSIBLE;
    double built_by_tau = isinf(held) ? 0 : -held / (tau * tau) * left;
    const double for_r0[] = {1 / change, 1 / change, 0};
    const double for_r1[] = {0, 1 / driven,
                             -r1 / driven * relaxation->current_before * built_by_tau};
    out->r0 = r0;
    out->r0_error = hypot(error_of(&fit, for_r0), fit.residual_sd / fabs(change));
    out->r1 = r1;
    out->r1_error = error_of(&fit, for_r1);
    out->tau = tau;
    out->tau_error = fit.standard_error[2];
    out->end_voltage = fit.value[0];
    out->residual_sd = fit.residual_sd;
    out->freedom = fit.freedom;
    return ANALYSIS_OK;
}

enum analysis_status resistance_of_change(const struct curve *curve, double held,
                                          struct resistance_parts *out)
{
    *out = no_parts;
    enum analysis_status status = curve_check(curve, 5);
    if (status != ANALYSIS_OK)
        return status;
    const double *t = curve->time, *i = curve->current;
    size_t step = 0, start, end;
    for (size_t k = 0; k + 1 < curve->count; k++)
        if (fabs(i[k + 1] - i[k]) > fabs(i[step + 1] - i[step]))
            step = k;
    double size = fabs(i[step + 1] - i[step]);
    if (size == 0)
        return ANALYSIS_NO_CURRENT_STEP;
    for (start = step; start > 0 && fabs(i[start - 1] - i[step]) < size / 2;)
        start--;
    for (end = step + 1; end < curve->count && fabs(i[end] - i[step + 1]) < size / 2;)
        end++;
    struct relaxation relaxation = {.voltage_before = curve->voltage[step],
                                    .current_before = i[step],
                                    .current_after = mean_of(i + step + 1, end - step - 1),
                                    .held = isnan(held) ? t[step] - t[start] : held,
                                    .voltage = curve->voltage + step + 1,
                                    .count = end - step - 1};
    if (i[step] == 0) /* nothing flowed: for how long is no matter */
        relaxation.held = INFINITY;
    bool out_of_rest = start == 0 || fabs(i[start - 1]) < NO_CURRENT * size;
    if (relaxation.held == 0 || (isnan(held) && i[step] != 0 && !out_of_rest))
        return ANALYSIS_TOO_FEW;
    double *since = xmalloc(relaxation.count * sizeof *since);
    for (size_t k = 0; k < relaxation.count; k++)
        since[k] = t[step + 1 + k] - t[step];
    relaxation.time = since;
    status = resistance_of_relaxation(&relaxation, out);
    free(since);
    return status;
}
