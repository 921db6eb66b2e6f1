/* A step on a channel that is worked by hand: a person is told what to do, and types what the
 * display says when it has ended. A rest needs nobody: it ends by itself.
 *
 * The question belongs to the step's journal number, so a restart finds it again, and what was
 * typed is the outcome. What a display does not show stays unknown: no sample is made up. */
#include <inttypes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/quantity.h"
#include "bench/by_hand.h"
#include "engine/engine_internal.h"

/* V that a display may show over the most that a cell of the chemistry has: its own error. */
#define ROOM_VOLTAGE 0.1

/* --- what to say ------------------------------------------------------------------------------ */

static void add_quantity(struct text *out, const char *before, double si, enum dimension dimension)
{
    char buffer[48];
    if (isfinite(si))
        text_addf(out, "%s%s", before, quantity_format(fabs(si), dimension, buffer, sizeof buffer));
}

static void say_ends(const struct step_plan *plan, struct text *out)
{
    const char *or_after = plan->kind == STEP_CHARGE ? "; ends: " : "; down to ";
    if (plan->kind == STEP_CHARGE) {
        add_quantity(out, "; ends after ", plan->time, DIM_TIME);
        add_quantity(out, ", at ", plan->voltage, DIM_VOLTAGE);
    } else {
        add_quantity(out, or_after, plan->voltage, DIM_VOLTAGE);
        add_quantity(out, ", at most ", plan->time, DIM_TIME);
    }
    add_quantity(out, ", or at a taper of ", plan->current, DIM_CURRENT);
    add_quantity(out, ", or after ", plan->charge, DIM_CHARGE);
    add_quantity(out, ", or at a drop of ", plan->drop, DIM_VOLTAGE);
    add_quantity(out, ", or at ", plan->temperature, DIM_TEMPERATURE);
}

static void say(const struct live_run *run, struct text *out)
{
    const struct step_plan *plan = &run->request.plan;
    text_addf(out, "%s in %s: ", run->cell.label, channel_title(run->channel));
    switch (plan->kind) {
    case STEP_CHARGE:
    case STEP_DISCHARGE:
        text_add(out, step_kind_name(plan->kind));
        if (plan->drive.mode == DRIVE_CURRENT)
            add_quantity(out, " at ", plan->drive.amount, DIM_CURRENT);
        else if (plan->drive.mode == DRIVE_POWER)
            add_quantity(out, " at ", plan->drive.amount, DIM_POWER);
        else if (plan->drive.mode == DRIVE_RESISTANCE)
            add_quantity(out, " through ", plan->drive.amount, DIM_RESISTANCE);
        say_ends(plan, out);
        text_add(out, ". Start it; when it has ended, type what the display says.");
        break;
    case STEP_PULSE: text_add(out, "measure the internal resistance and type it."); break;
    case STEP_READ:
        text_add(out, plan->resistance == RESISTANCE_MUST
                          ? "measure the resting cell with alternating current (1 kHz, four wires) "
                            "and type the display's AC resistance, such as 23 mohm; its voltage "
                            "too, if it shows one."
                          : "measure the voltage of the resting cell and type it.");
        break;
    case STEP_REST: break;
    }
}

static const char *needs(const struct step_plan *plan)
{
    if (plan->kind == STEP_PULSE || plan->resistance == RESISTANCE_MUST)
        return "\"resistance\"";
    return plan->kind == STEP_READ ? "\"voltage\"" : "\"charge\"";
}

/* --- doing ------------------------------------------------------------------------------------ */

static void ask_person(struct live_run *run)
{
    struct text words = TEXT_EMPTY, expects = TEXT_EMPTY;
    say(run, &words);
    text_addf(&expects,
              "{\"kind\":\"display\",\"needs\":[%s],\"rated_Ah\":", needs(&run->request.plan));
    text_add_number(&expects, run->cell.rated_charge / 3600);
    text_addf(&expects, ",\"asked_us\":%" PRId64, run->step_started);
    text_add(&expects, ",\"most_V\":");
    text_add_number(&expects, run->cell.profile->limits.voltage_most + ROOM_VOLTAGE);
    text_add(&expects, "}");
    perform_ask(run, run->journal.n, words.bytes, expects.bytes);
    text_free(&words);
    text_free(&expects);
}

bool by_hand_begin(struct live_run *run, bool taken_up)
{
    struct engine *engine = run->engine;
    struct step_plan *plan = &run->request.plan;
    char *progress = NULL;
    utc_us seen = 0;
    run->phase = LIVE_ASKING;
    run->by_hand = true;
    if (taken_up) {
        logbook_open_step(engine->options.logbook, run->record.id, run->record.segment,
                          run->journal.n, &run->step_id, &run->step_started, &progress, &seen,
                          engine_error(engine));
        free(progress);
    } else {
        run_step_record(run);
        if (plan->kind != STEP_REST)
            ask_person(run);
    }
    if (plan->kind == STEP_REST) {
        run->phase = LIVE_WAITING;
        run->until = run->step_started + (utc_us)llround(plan->time * 1e6);
        perform_rearm(run);
    } else if (taken_up) {
        perform_answered(run);
    }
    return false;
}

static double typed(const json_t *answer, const char *name)
{
    const json_t *value = json_object_get(answer, name);
    return json_is_number(value) ? json_number_value(value) : NAN;
}

void by_hand_outcome(enum step_kind kind, const struct channel_accuracy *accuracy,
                     const char *answer_text, double rested, struct step_sums *sums,
                     struct text *json)
{
    json_t *answer = answer_text ? json_loads(answer_text, 0, NULL) : NULL;
    struct outcome outcome = {
        .kind = kind,
        .charge = typed(answer, "charge"),
        .energy = typed(answer, "energy"),
        .duration = typed(answer, "time"),
        .first_voltage = NAN,
        .last_voltage = typed(answer, "voltage"),
        .mean_voltage = NAN,
        .mid_voltage = NAN,
        .peak_voltage = NAN,
        .last_current = NAN,
        .max_temperature = typed(answer, "temperature"),
        .resistance = typed(answer, "resistance"),
        .ended_by = kind == STEP_REST ? END_TIME : END_PERSON,
        .quality = "good",
    };
    if (kind == STEP_REST)
        outcome.duration = rested;
    if (isfinite(outcome.charge) && isfinite(outcome.energy) && outcome.charge > 0)
        outcome.mean_voltage = outcome.energy / outcome.charge;
    struct outcome_standard standard;
    standard_of_display(accuracy, &outcome, answer, &standard);
    json_decref(answer);
    outcome_sums(&outcome, sums);
    text_clear(json);
    outcome_json(&outcome, &standard, json);
}

bool by_hand_times(const char *answer_text, const struct step_sums *sums, utc_us asked,
                   utc_us *started, utc_us *ended)
{
    json_t *answer = answer_text ? json_loads(answer_text, 0, NULL) : NULL;
    const json_t *told = json_object_get(answer, "ended_us");
    const bool tells = told != NULL;
    if (tells) {
        *ended = json_integer_value(told);
        if (isfinite(sums->duration))
            *started = *ended - (utc_us)llround(sums->duration * 1e6);
        if (*started < asked)
            *started = asked;
    }
    json_decref(answer);
    return tells;
}

void by_hand_end(struct live_run *run, const char *answer)
{
    struct engine *engine = run->engine;
    utc_us now = clock_utc(engine->options.clock), started = run->step_started, ended = now;
    struct step_sums sums;
    by_hand_outcome(run->request.plan.kind, &run->channel->accuracy, answer,
                    (double)(now - run->step_started) / 1e6, &sums, &run->outcome);
    engine_write(engine);
    if (by_hand_times(answer, &sums, run->step_started, &started, &ended))
        logbook_move_step(engine->options.logbook, run->step_id, started, engine_error(engine));
    logbook_end_step(engine->options.logbook, run->step_id, &sums, ended, engine_error(engine));
    run->by_hand = false;
    run->step_id = 0;
    run_complete(run, run->outcome.bytes);
}
