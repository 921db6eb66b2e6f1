/* A step's plan and outcome as JSON, in bench units: what the journal keeps and a script is
 * given. */
#include <math.h>

#include "base/quantity.h"
#include "engine/engine_internal.h"

static void field(struct text *out, const char *name, double si, enum dimension dimension)
{
    if (!isfinite(si))
        return;
    text_addf(out, ",\"%s\":", name);
    text_add_number(out, quantity_to_bench(si, dimension));
}

void outcome_json(const struct outcome *o, const struct outcome_standard *u, struct text *out)
{
    text_addf(out, "{\"ended_by\":\"%s\",\"quality\":\"%s\",\"gaps\":%d",
              step_end_name(o->ended_by), o->quality, o->gaps);
    if (o->gaps)
        field(out, "gap_time", o->gap_time, DIM_TIME);
    field(out, "charge", o->charge, DIM_CHARGE);
    field(out, "energy", o->energy, DIM_ENERGY);
    field(out, "duration", o->duration, DIM_TIME);
    field(out, "first_voltage", o->first_voltage, DIM_VOLTAGE);
    field(out, "last_voltage", o->last_voltage, DIM_VOLTAGE);
    field(out, "mean_voltage", o->mean_voltage, DIM_VOLTAGE);
    field(out, "mid_voltage", o->mid_voltage, DIM_VOLTAGE);
    field(out, "peak_voltage", o->peak_voltage, DIM_VOLTAGE);
    field(out, "last_current", o->last_current, DIM_CURRENT);
    field(out, "max_temperature", o->max_temperature, DIM_TEMPERATURE);
    field(out, "resistance", o->resistance, DIM_RESISTANCE);
    field(out, "charge_uncertainty", u->charge, DIM_CHARGE);
    field(out, "energy_uncertainty", u->energy, DIM_ENERGY);
    field(out, "duration_uncertainty", u->duration, DIM_TIME);
    field(out, "first_voltage_uncertainty", u->first_voltage, DIM_VOLTAGE);
    field(out, "last_voltage_uncertainty", u->last_voltage, DIM_VOLTAGE);
    field(out, "mean_voltage_uncertainty", u->mean_voltage, DIM_VOLTAGE);
    field(out, "peak_voltage_uncertainty", u->peak_voltage, DIM_VOLTAGE);
    field(out, "last_current_uncertainty", u->last_current, DIM_CURRENT);
    field(out, "max_temperature_uncertainty", u->max_temperature, DIM_TEMPERATURE_DIFFERENCE);
    field(out, "resistance_uncertainty", u->resistance, DIM_RESISTANCE);
    text_add(out, "}");
}

static void drive_json(const struct drive *drive, struct text *out)
{
    static const struct {
        const char *name;
        enum dimension dimension;
    } modes[] = {
        [DRIVE_CURRENT] = {"current", DIM_CURRENT},
        [DRIVE_POWER] = {"power", DIM_POWER},
        [DRIVE_RESISTANCE] = {"resistance", DIM_RESISTANCE},
    };
    if (drive->mode != DRIVE_OFF)
        field(out, modes[drive->mode].name, drive->amount, modes[drive->mode].dimension);
    field(out, "ceiling", drive->ceiling, DIM_VOLTAGE);
}

void plan_json(const struct step_plan *plan, struct text *out)
{
    text_addf(out, "{\"kind\":\"%s\"", step_kind_name(plan->kind));
    drive_json(&plan->drive, out);
    for (int i = 0; i < PULSE_LEVELS && plan->kind == STEP_PULSE; i++) {
        text_addf(out, ",\"level_%d\":{\"level\":%d", i + 1, i + 1);
        drive_json(&plan->level[i], out);
        field(out, "time", plan->level_time[i], DIM_TIME);
        text_add(out, "}");
    }
    for (const struct step_limit *limit = step_limits; limit->name; limit++)
        field(out, limit->on_record, step_limit_of(plan, limit), limit->dimension);
    if (plan->when)
        text_add(out, ",\"when\":true");
    if (plan->resistance != RESISTANCE_IF_ANY)
        text_addf(out, ",\"resistance\":%s",
                  plan->resistance == RESISTANCE_MUST ? "true" : "false");
    field(out, "backstop_time", plan->backstop_time, DIM_TIME);
    field(out, "backstop_charge", plan->backstop_charge, DIM_CHARGE);
    field(out, "every", plan->every, DIM_TIME);
    field(out, "by_voltage", plan->by_voltage, DIM_VOLTAGE);
    field(out, "by_current", plan->by_current, DIM_CURRENT);
    field(out, "by_temperature", plan->by_temperature, DIM_TEMPERATURE_DIFFERENCE);
    text_add(out, "}");
}

void outcome_sums(const struct outcome *o, struct step_sums *sums)
{
    *sums = (struct step_sums){
        .charge = o->charge,
        .energy = o->energy,
        .duration = o->duration,
        .first_voltage = o->first_voltage,
        .last_voltage = o->last_voltage,
        .mean_voltage = o->mean_voltage,
        .mid_voltage = o->mid_voltage,
        .peak_voltage = o->peak_voltage,
        .max_temperature = o->max_temperature,
        .resistance = o->resistance,
        .gaps = o->gaps,
        .gap_time = o->gap_time,
        .ended_by = o->ended_by == END_NONE ? NULL : step_end_name(o->ended_by),
        .quality = o->quality,
    };
}

void outcome_error(const struct error *why, struct text *out)
{
    struct text message = TEXT_EMPTY;
    text_addf(&message, "%s: %s; %s", why->what, why->why, why->todo);
    text_add(out, "{\"error\":");
    text_add_json_string(out, message.bytes, message.length);
    text_add(out, "}");
    text_free(&message);
}
