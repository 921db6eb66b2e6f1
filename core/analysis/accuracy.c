/* From accuracy entries to uncertainties of charge, energy and resistance. */
#include "analysis/accuracy.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

#include "analysis/numbers.h"
#include "analysis/uncertainty.h"
#include "base/text.h"

static int wrong_entry(const char *text, const char *why, struct error *error)
{
    char quoted[80], what[100];
    snprintf(what, sizeof what, "accuracy %s", string_quote(text, quoted, sizeof quoted));
    return error_set(error, ERROR_USAGE, what, "write it like \"0.05 % + 2 mV\"", "%s", why);
}

/* One part of an entry into the field that it belongs to. */
static int read_part(const char *text, const char *part, enum dimension dimension, bool negative,
                     struct accuracy *out, bool seen[2], struct error *error)
{
    bool is_ratio = strchr(part, '%') != NULL;
    double value;
    int code = quantity_read(part, is_ratio ? DIM_RATIO : dimension, 0, &value, error);
    if (code != 0)
        return code;
    if (!negative && !(value >= 0))
        return wrong_entry(text, "a part is below zero", error);
    if (seen[is_ratio])
        return wrong_entry(text, "it has two parts of one kind", error);
    seen[is_ratio] = true;
    *(is_ratio ? &out->relative : &out->absolute) = value;
    return 0;
}

static int read_parts(const char *text, enum dimension dimension, bool negative,
                      struct accuracy *out, struct error *error)
{
    *out = (struct accuracy){0, 0, 0};
    char part[128];
    bool seen[2] = {false, false};
    for (const char *from = text;;) {
        size_t length = strcspn(from, "+");
        if (length >= sizeof part)
            return wrong_entry(text, "it is too long", error);
        memcpy(part, from, length);
        part[length] = '\0';
        int code = read_part(text, part, dimension, negative, out, seen, error);
        if (code != 0) {
            *out = (struct accuracy){NAN, NAN, NAN};
            return code;
        }
        if (from[length] == '\0')
            return 0;
        from += length + 1;
    }
}

int accuracy_read(const char *text, enum dimension dimension, struct accuracy *out,
                  struct error *error)
{
    return read_parts(text, dimension, false, out, error);
}

int accuracy_read_error(const char *text, enum dimension dimension, struct accuracy *out,
                        struct error *error)
{
    return read_parts(text, dimension, true, out, error);
}

static bool is_accuracy(const struct accuracy *accuracy)
{
    return accuracy->relative >= 0 && accuracy->absolute >= 0 && accuracy->resolution >= 0 &&
           isfinite(accuracy->relative + accuracy->absolute + accuracy->resolution);
}

static bool are_meters(const struct meters *meters)
{
    return is_accuracy(&meters->voltage) && is_accuracy(&meters->current) &&
           is_accuracy(&meters->time) && !(fabs(meters->shared) > 1) && fabs(meters->steady) <= 1;
}

static double limits_of(const struct accuracy *accuracy, double value)
{
    return type_b_rectangular(accuracy->relative * fabs(value) + accuracy->absolute);
}

double accuracy_standard(const struct accuracy *accuracy, double value)
{
    if (!is_accuracy(accuracy) || !isfinite(value))
        return NAN;
    return hypot(limits_of(accuracy, value), type_b_resolution(accuracy->resolution));
}

/* A contribution in units of the result, of well known size. */
static struct uncertainty_input contribution(double standard)
{
    return (struct uncertainty_input){1, standard, INFINITY};
}

/* Of a quantity in proportion to the duration: the error is that of the duration, times the rate.
 */
static double by_time(const struct accuracy *time, double total, double duration)
{
    return accuracy_standard(time, duration) * fabs(total) / duration;
}

/* Not known: the greater, for in a charge and an energy the errors add. */
static double shared_of(const struct meters *meters)
{
    return isnan(meters->shared) ? 1 : meters->shared;
}

/* The correlation of the duration's error with the voltage's: the part of it that is the same. */
static double of_end(const struct meters *meters, const struct delivered *run)
{
    double whole = accuracy_standard(&meters->time, run->duration);
    return whole > 0 ? fmin(type_b_rectangular(run->end_by_voltage) / whole, 1) : 0;
}

static void correlate(double *r, size_t count, size_t a, size_t b, double by)
{
    r[a * count + b] = r[b * count + a] = by;
}

static enum analysis_status check_run(const struct meters *meters, double total, double duration)
{
    if (!isfinite(total) || !isfinite(duration))
        return ANALYSIS_NOT_FINITE;
    return are_meters(meters) && duration > 0 ? ANALYSIS_OK : ANALYSIS_OUT_OF_RANGE;
}

enum analysis_status accuracy_of_charge(const struct meters *meters, const struct delivered *run,
                                        double *standard)
{
    *standard = NAN;
    enum analysis_status status = check_run(meters, run->charge, run->duration);
    if (status != ANALYSIS_OK)
        return status;
    /* The integral of relative |I| + absolute is relative Q + absolute T: that of the mean current,
     * times T. */
    struct uncertainty_input inputs[] = {
        {run->duration, accuracy_standard(&meters->current, run->charge / run->duration), INFINITY},
        contribution(by_time(&meters->time, run->charge, run->duration)),
    };
    double together = shared_of(meters) * of_end(meters, run);
    const double r[] = {1, together, together, 1};
    struct uncertainty out;
    status = uncertainty_combine(inputs, 2, r, 0.95, &out);
    *standard = out.standard;
    return status;
}

enum analysis_status accuracy_of_energy(const struct meters *meters, const struct delivered *run,
                                        double *standard)
{
    *standard = NAN;
    if (!isfinite(run->charge) || !isfinite(run->mean_voltage))
        return ANALYSIS_NOT_FINITE;
    enum analysis_status status = check_run(meters, run->energy, run->duration);
    if (status != ANALYSIS_OK)
        return status;
    double energy = fabs(run->energy), charge = fabs(run->charge);
    double shared = shared_of(meters), end = of_end(meters, run);
    double voltage_time = fabs(run->mean_voltage) * run->duration;
    const struct accuracy *v = &meters->voltage, *i = &meters->current;
    enum { VOLTAGE, CURRENT, VOLTAGE_STEP, CURRENT_STEP, TIME, COUNT };
    struct uncertainty_input inputs[COUNT] = {
        [VOLTAGE] = contribution(type_b_rectangular(v->relative * energy + v->absolute * charge)),
        [CURRENT] =
            contribution(type_b_rectangular(i->relative * energy + i->absolute * voltage_time)),
        [VOLTAGE_STEP] = contribution(type_b_resolution(v->resolution * charge)),
        [CURRENT_STEP] = contribution(type_b_resolution(i->resolution * voltage_time)),
        [TIME] = contribution(by_time(&meters->time, energy, run->duration)),
    };
    double r[COUNT * COUNT] = {0};
    for (size_t k = 0; k < COUNT; k++)
        r[k * COUNT + k] = 1;
    correlate(r, COUNT, VOLTAGE, CURRENT, shared);
    correlate(r, COUNT, VOLTAGE, TIME, end);
    correlate(r, COUNT, CURRENT, TIME, shared * end);
    struct uncertainty out;
    status = uncertainty_combine(inputs, COUNT, r, 0.95, &out);
    *standard = out.standard;
    return status;
}

static enum analysis_status resistance_with(const struct meters *meters, double shared, double u1,
                                            double i1, double u2, double i2, double *standard)
{
    if (!isfinite(u1) || !isfinite(i1) || !isfinite(u2) || !isfinite(i2))
        return ANALYSIS_NOT_FINITE;
    if (!are_meters(meters))
        return ANALYSIS_OUT_OF_RANGE;
    double step = i2 - i1;
    if (step == 0)
        return ANALYSIS_NO_CURRENT_STEP;
    double resistance = (u1 - u2) / step;
    const struct accuracy *v = &meters->voltage, *i = &meters->current;
    /* In turn U1, U2, I1, I2, then what rounding to the display adds to each, which is its own. */
    struct uncertainty_input inputs[8] = {
        {1 / step, limits_of(v, u1), INFINITY},
        {-1 / step, limits_of(v, u2), INFINITY},
        {resistance / step, limits_of(i, i1), INFINITY},
        {-resistance / step, limits_of(i, i2), INFINITY},
        {1 / step, type_b_resolution(v->resolution), INFINITY},
        {1 / step, type_b_resolution(v->resolution), INFINITY},
        {resistance / step, type_b_resolution(i->resolution), INFINITY},
        {resistance / step, type_b_resolution(i->resolution), INFINITY},
    };
    double r[64] = {0};
    for (size_t a = 0; a < 8; a++) {
        for (size_t b = 0; b < 8; b++) {
            double other_meter = a / 2 == b / 2 ? 1 : shared;
            double other_reading = a % 2 == b % 2 ? 1 : meters->steady;
            if (a < 4 && b < 4)
                r[a * 8 + b] = other_meter * other_reading;
            else
                r[a * 8 + b] = a == b;
        }
    }
    struct uncertainty out;
    enum analysis_status status = uncertainty_combine(inputs, 8, r, 0.95, &out);
    *standard = out.standard;
    return status;
}

enum analysis_status accuracy_of_resistance(const struct meters *meters, double u1, double i1,
                                            double u2, double i2, double *standard)
{
    *standard = NAN;
    if (!isnan(meters->shared))
        return resistance_with(meters, meters->shared, u1, i1, u2, i2, standard);
    /* The square goes in a line with the correlation, so the greater is at one of its ends. */
    double apart = NAN, together = NAN;
    enum analysis_status status = resistance_with(meters, 0, u1, i1, u2, i2, &apart);
    if (status == ANALYSIS_OK)
        status = resistance_with(meters, 1, u1, i1, u2, i2, &together);
    if (status == ANALYSIS_OK)
        *standard = fmax(apart, together);
    return status;
}
