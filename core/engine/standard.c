/* From a channel's stated accuracy to the standard uncertainties of an outcome. */
#include "engine/standard.h"

#include <math.h>

#include "analysis/accuracy.h"
#include "analysis/uncertainty.h"

#define CLOCK_RELATIVE 100e-6

#define NOTHING ((struct outcome_standard){NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN})

static bool is_stated(const struct stated_accuracy *stated)
{
    return isfinite(stated->relative) && isfinite(stated->absolute);
}

static struct accuracy limits_of(const struct stated_accuracy *stated)
{
    return (struct accuracy){stated->relative, stated->absolute, 0};
}

static double of_reading(const struct stated_accuracy *stated, double value)
{
    struct accuracy limits = limits_of(stated);
    return accuracy_standard(&limits, value);
}

/* The seconds by which the limit of the voltage's error moves an end by voltage. */
static double end_by_voltage(const struct channel_accuracy *accuracy, const struct outcome *o)
{
    const struct stated_accuracy *v = &accuracy->voltage;
    if (o->ended_by != END_VOLTAGE || !is_stated(v) || !isfinite(o->end_slope))
        return 0;
    return (v->relative * fabs(o->last_voltage) + v->absolute) / fabs(o->end_slope);
}

/* Of a duration up to this outcome's end. An end that is not sharp at all leaves it unknown. */
static struct accuracy time_limits(const struct channel_accuracy *accuracy, const struct outcome *o)
{
    struct accuracy time = is_stated(&accuracy->time) ? limits_of(&accuracy->time)
                                                      : (struct accuracy){CLOCK_RELATIVE, 0, 0};
    time.absolute += o->end_span + end_by_voltage(accuracy, o);
    return time;
}

static struct meters meters_of(const struct channel_accuracy *accuracy, const struct outcome *o)
{
    static const struct stated_accuracy exact = {0, 0}; /* where the sum does not ask for it */
    return (struct meters){
        .voltage = limits_of(is_stated(&accuracy->voltage) ? &accuracy->voltage : &exact),
        .current = limits_of(is_stated(&accuracy->current) ? &accuracy->current : &exact),
        .time = time_limits(accuracy, o),
        .shared = accuracy->shared,
        .steady = isfinite(accuracy->steady) ? accuracy->steady : 0,
    };
}

/* Charge, energy and resistance: sums and differences of readings. */
static void of_sums(const struct channel_accuracy *accuracy, const struct outcome *o,
                    struct outcome_standard *out)
{
    struct meters meters = meters_of(accuracy, o);
    struct delivered run = {.charge = o->charge,
                            .energy = o->energy,
                            .duration = o->duration,
                            .mean_voltage = o->mean_voltage};
    const double *u = o->level_voltage, *i = o->level_current;
    if (!is_stated(&accuracy->current))
        return;
    if (o->kind == STEP_DISCHARGE) /* in a charge they would in part cancel: not relied on */
        run.end_by_voltage = end_by_voltage(accuracy, o);
    if (isfinite(o->charge))
        accuracy_of_charge(&meters, &run, &out->charge);
    if (!is_stated(&accuracy->voltage))
        return;
    if (isfinite(o->energy))
        accuracy_of_energy(&meters, &run, &out->energy);
    if (o->kind == STEP_PULSE && isfinite(o->resistance))
        accuracy_of_resistance(&meters, fabs(u[0]), fabs(i[0]), fabs(u[1]), fabs(i[1]),
                               &out->resistance);
}

void standard_of_step(const struct channel_accuracy *accuracy, const struct outcome *o,
                      struct outcome_standard *out)
{
    *out = NOTHING;
    of_sums(accuracy, o, out);
    if (o->kind == STEP_READ)
        out->resistance = of_reading(&accuracy->resistance, o->resistance);
    out->first_voltage = of_reading(&accuracy->voltage, o->first_voltage);
    out->last_voltage = of_reading(&accuracy->voltage, o->last_voltage);
    out->mean_voltage = of_reading(&accuracy->voltage, o->mean_voltage);
    out->peak_voltage = of_reading(&accuracy->voltage, o->peak_voltage);
    out->last_current = of_reading(&accuracy->current, o->last_current);
    out->max_temperature = of_reading(&accuracy->temperature, o->max_temperature);
    if (is_stated(&accuracy->current) || is_stated(&accuracy->voltage)) {
        struct accuracy time = time_limits(accuracy, o);
        out->duration = accuracy_standard(&time, o->duration);
    }
}

static double of_display(const struct stated_accuracy *stated, double value, const json_t *answer,
                         const char *name)
{
    double step = json_number_value(json_object_get(json_object_get(answer, "steps"), name));
    return hypot(of_reading(stated, value), type_b_resolution(step));
}

void standard_of_display(const struct channel_accuracy *accuracy, const struct outcome *o,
                         const json_t *answer, struct outcome_standard *out)
{
    *out = NOTHING;
    out->charge = of_display(&accuracy->charge, o->charge, answer, "charge");
    out->energy = of_display(&accuracy->energy, o->energy, answer, "energy");
    out->duration = of_display(&accuracy->time, o->duration, answer, "time");
    out->last_voltage = of_display(&accuracy->voltage, o->last_voltage, answer, "voltage");
    out->resistance = of_display(&accuracy->resistance, o->resistance, answer, "resistance");
    out->max_temperature =
        of_display(&accuracy->temperature, o->max_temperature, answer, "temperature");
}
