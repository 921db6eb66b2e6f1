/* Setting channels aside. */
#include "engine/unfit.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/quantity.h"
#include "engine/engine_internal.h"

/* Channels that are named one by one where none can do it. */
#define NAMED_MOST 4

struct unfit {
    struct unfit *next;
    const struct channel *channel;
    char script_hash[SHA256_HEX];
    char *params;
    const struct profile *profile;
    double rated_charge;
    char why[200]; /* "charge: 200 mA is above the limit of 150 mA for this cell in this channel" */
};

/* --- what it is set aside for ----------------------------------------------------------------- */

static const char *params_of(const struct live_run *run)
{
    return run->record.params ? run->record.params : "{}";
}

static const struct unfit *find(const struct live_run *run, const struct channel *channel)
{
    for (const struct unfit *unfit = run->engine->unfit; unfit; unfit = unfit->next)
        if (unfit->channel == channel && unfit->profile == run->cell.profile &&
            unfit->rated_charge == run->cell.rated_charge &&
            strcmp(unfit->script_hash, run->record.script_hash) == 0 &&
            strcmp(unfit->params, params_of(run)) == 0)
            return unfit;
    return NULL;
}

bool unfit_for(const struct live_run *run, const struct channel *channel)
{
    return find(run, channel) != NULL;
}

bool unfit_everywhere(const struct live_run *run)
{
    const struct bench *bench = run->engine->options.bench;
    if (!run->engine->unfit)
        return false;
    for (int i = 0; i < bench->count; i++)
        if (!find(run, bench->channels[i]))
            return false;
    return true;
}

void unfit_tell_all(const struct live_run *run, struct error *why)
{
    const struct bench *bench = run->engine->options.bench;
    struct text words = TEXT_EMPTY;
    if (bench->count == 1)
        return; /* said already */
    text_add(&words, "no channel of this bench can do it: ");
    for (int i = 0; i < bench->count && i < NAMED_MOST; i++) {
        const struct unfit *unfit = find(run, bench->channels[i]);
        text_addf(&words, "%s%s: %s", i ? ", " : "", bench->channels[i]->name,
                  unfit ? unfit->why : "not tried");
    }
    if (bench->count > NAMED_MOST)
        text_addf(&words, " and %d more", bench->count - NAMED_MOST);
    string_copy(why->what, sizeof why->what, step_kind_name(run->request.plan.kind));
    string_copy(why->why, sizeof why->why, words.bytes);
    text_free(&words);
}

void unfit_forget(struct engine *engine)
{
    while (engine->unfit) {
        struct unfit *next = engine->unfit->next;
        free(engine->unfit->params);
        free(engine->unfit);
        engine->unfit = next;
    }
}

/* --- whose limit it is ------------------------------------------------------------------------ */

static bool is_refused(const struct live_run *run, const struct step_plan *plan,
                       const struct limits *limits, struct error *why)
{
    struct step_plan tried = *plan; /* a check fills in ceilings and backstops */
    return step_plan_check(&tried, &run->cell, limits, why) != 0;
}

/* "raise its charge_current_most (150 mA)": the one limit that refuses the plan by itself. */
static void say_what_to_change(const struct live_run *run, const struct channel *channel,
                               const struct step_plan *plan, const struct limits *of_cell,
                               char *out, size_t size)
{
    const struct limits *own = &channel->limits;
    struct limits one = LIMITS_NONE;
    const struct {
        const char *name, *how;
        double limit, *alone;
        enum dimension dimension;
    } fields[] = {
        {"charge_current_most", "raise", own->charge_current_most, &one.charge_current_most,
         DIM_CURRENT},
        {"discharge_current_most", "raise", own->discharge_current_most,
         &one.discharge_current_most, DIM_CURRENT},
        {"voltage_most", "raise", own->voltage_most, &one.voltage_most, DIM_VOLTAGE},
        {"voltage_least", "lower", own->voltage_least, &one.voltage_least, DIM_VOLTAGE},
    };
    struct error ignored = {0};
    char shown[48];
    for (size_t i = 0; i < sizeof fields / sizeof fields[0]; i++) {
        one = LIMITS_NONE;
        *fields[i].alone = fields[i].limit;
        const struct limits met = limits_meet(&one, of_cell);
        if (!isfinite(fields[i].limit) || !is_refused(run, plan, &met, &ignored))
            continue;
        snprintf(out, size, "%s its %s (%s)", fields[i].how, fields[i].name,
                 quantity_format(fields[i].limit, fields[i].dimension, shown, sizeof shown));
        return;
    }
    string_copy(out, size, "widen its limits");
}

/* Fills *refusal and what to change about the channel. */
static bool cannot(const struct live_run *run, const struct channel *channel,
                   const struct step_plan *plan, struct error *refusal, char *change, size_t size)
{
    struct limits of_cell = profile_limits(run->cell.profile, run->cell.rated_charge);
    struct limits limits = limits_meet(&channel->limits, &of_cell);
    struct error ignored = {0};
    char todo[sizeof refusal->todo];
    if (is_refused(run, plan, &limits, refusal)) {
        if (is_refused(run, plan, &of_cell, &ignored))
            return false;
        say_what_to_change(run, channel, plan, &of_cell, change, size);
        snprintf(todo, sizeof todo, "%.80s in the bench file if channel %s bears it, or %.80s",
                 change, channel->name, refusal->todo);
        string_copy(refusal->todo, sizeof refusal->todo, todo);
        return true;
    }
    if (plan->resistance != RESISTANCE_MUST || channel->measures_resistance)
        return false;
    string_copy(change, size, "name its ohmmeter = ...");
    error_set(refusal, ERROR_SCRIPT, "read",
              "name ohmmeter = ... in the bench file, choose a channel that has one, or use "
              "cell:pulse, the method by direct current",
              "channel %s has nothing that measures a resistance by alternating current",
              channel->name);
    return true;
}

bool unfit_set_aside(struct live_run *run, const struct channel *channel,
                     const struct step_plan *plan, struct error *why)
{
    struct error refusal;
    char what[96], change[96], rated[48];
    error_clear(&refusal);
    if (!cannot(run, channel, plan, &refusal, change, sizeof change))
        return false;
    snprintf(what, sizeof what, "%.31s on channel %s", refusal.what, channel->name);
    error_set(why, ERROR_SCRIPT, what, refusal.todo, "%s", refusal.why);
    if (find(run, channel))
        return true;

    struct unfit *unfit = xcalloc(1, sizeof *unfit);
    *unfit = (struct unfit){.next = run->engine->unfit,
                            .channel = channel,
                            .params = xstrdup(params_of(run)),
                            .profile = run->cell.profile,
                            .rated_charge = run->cell.rated_charge};
    string_copy(unfit->script_hash, sizeof unfit->script_hash, run->record.script_hash);
    snprintf(unfit->why, sizeof unfit->why, "%.40s: %.150s", refusal.what, refusal.why);
    run->engine->unfit = unfit;
    run_event(run, "warning",
              "channel %s is set aside for %s on %s cells of %s: %s: %s; to use it, %s in the "
              "bench file if that is right for it, then start the engine anew",
              channel->name, run->record.script_name, run->cell.profile->chemistry,
              quantity_format(run->cell.rated_charge, DIM_CHARGE, rated, sizeof rated),
              refusal.what, refusal.why, change);
    return true;
}

/* --- another channel -------------------------------------------------------------------------- */

bool unfit_moves(struct live_run *run)
{
    const struct engine *engine = run->engine;
    const struct step_plan *plan = &run->request.plan;
    struct error why;
    if (run->request.kind != REQUEST_STEP || !run->channel)
        return false;
    if (engine->options.assume_answers) /* a rehearsal: to be told of every channel */
        for (int i = 0; i < engine->options.bench->count; i++)
            unfit_set_aside(run, engine->options.bench->channels[i], plan, &why);
    if (!unfit_set_aside(run, run->channel, plan, &why) || run->driven || run->names_channel ||
        unfit_everywhere(run))
        return false;
    run_event(run, "info", "back to the queue, for another channel than %s: %s: %s",
              run->channel->name, why.what, why.why);
    run_requeue(run);
    return true;
}
