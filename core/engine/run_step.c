/* A step on a channel: from intent to outcome.
 *
 *   begin .. committed .. PRESENCE -> DRIVE -> READING -> (due) READING ... -> SAFE -> outcome
 *
 * Each arrow is one call of the channel, which answers now or later; `answered` is the one place
 * where both kinds of answer arrive. A rest and a read drive nothing and skip DRIVE. */
#include <inttypes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "bench/by_hand.h"
#include "bench/wired.h"
#include "engine/engine_internal.h"
#include "engine/lost.h"
#include "engine/unfit.h"

/* s of real time for an answer, where no limit says otherwise. */
#define PATIENCE 5.0

static void answered(struct live_run *run, const struct reading *reading,
                     const struct error *failure);

static bool drives(const struct live_run *run)
{
    return run->step->plan.kind != STEP_REST && run->step->plan.kind != STEP_READ;
}

/* --- calls of the channel --------------------------------------------------------------------- */

static void call(struct live_run *run, enum channel_wait wait)
{
    struct channel *channel = run->channel;
    struct reading reading = {0};
    struct error failure;
    enum channel_reply reply = CHANNEL_NOW;
    const bool reads = wait == AWAIT_READING || wait == AWAIT_PRESENCE;

    error_clear(&failure);
    run->awaits = wait;
    channel->asks_resistance = wait == AWAIT_READING && run->step->plan.kind == STEP_READ &&
                               run->step->plan.resistance != RESISTANCE_NEVER &&
                               channel->measures_resistance;
    if (reads) {
        reply = channel->ops->read(channel, &reading, &failure);
    } else if (wait == AWAIT_DRIVE) {
        struct drive drive = step_drive(run->step);
        reply = channel->ops->drive(channel, &drive, &failure);
    } else {
        reply = channel->ops->make_safe(channel, &failure);
    }

    if (reply == CHANNEL_LATER) {
        /* An instrument answers in real time, however fast the cell's time goes by. */
        const struct clock *clock = run->engine->options.clock;
        double patience = run->step ? run->step->limits.reading_age_most : NAN;
        if (!isfinite(patience))
            patience = PATIENCE;
        patience *= clock->face == CLOCK_SCALED ? clock->scale : 1;
        deadline_set(&run->engine->deadlines, &run->deadline,
                     clock_bench(clock) + (bench_us)(patience * 1e6));
        return;
    }
    answered(run, reads ? &reading : NULL, reply == CHANNEL_FAILED ? &failure : NULL);
}

void run_step_notify(void *owner, const struct reading *reading, const struct error *failure)
{
    struct live_run *run = owner;
    if (run->awaits == AWAIT_NOTHING)
        return;
    deadline_clear(&run->engine->deadlines, &run->deadline);
    answered(run, reading, failure);
    loop_wake(run->engine);
}

/* --- rows ------------------------------------------------------------------------------------- */

static void flush_rows(struct live_run *run)
{
    if (!run->row_count)
        return;
    engine_write(run->engine);
    if (!run->engine->options.no_samples)
        logbook_add_samples(run->engine->options.logbook, run->step_id, run->row_k, run->rows,
                            run->row_count, engine_error(run->engine));
    run->row_k += run->row_count;
    run->row_count = 0;
}

static void keep_rows(struct live_run *run)
{
    const struct step *step = run->step;
    engine_unsaved(run->engine);
    for (int i = 0; i < step->rows; i++) {
        if (run->row_count == ROWS_KEPT)
            flush_rows(run);
        run->rows[run->row_count++] = (struct sample){
            .t_us = step->row[i].t_us,
            .voltage = step->row[i].voltage,
            .current = step->row[i].current,
            .temperature = step->row[i].temperature,
        };
    }
    run->unsaved = true;
}

void run_step_save(struct live_run *run)
{
    if (!run->step || !run->unsaved)
        return;
    flush_rows(run);
    struct outcome outcome;
    struct step_sums sums;
    step_outcome(run->step, &outcome);
    outcome_sums(&outcome, &sums);
    struct text *progress = &run->engine->progress;
    text_clear(progress);
    step_save(run->step, progress);
    engine_write(run->engine);
    logbook_checkpoint_step(run->engine->options.logbook, run->step_id, &sums, progress->bytes,
                            run->step_started + run->step->elapsed_us, engine_error(run->engine));
    run->unsaved = false;
}

/* --- beginning -------------------------------------------------------------------------------- */

/* Takes up a step that an earlier engine, or a pause, left open. False when there is none on
 * record. */
static bool take_up(struct live_run *run)
{
    struct engine *engine = run->engine;
    char *progress = NULL;
    utc_us seen = 0;
    struct error *error = engine_error(engine);
    if (logbook_open_step(engine->options.logbook, run->record.id, run->record.segment,
                          run->journal.n, &run->step_id, &run->step_started, &progress, &seen,
                          error) ||
        !run->step_id)
        return false;

    if (progress && step_load(run->step, progress, error)) {
        free(progress);
        return true; /* trouble: the pass ends the engine */
    }
    free(progress);
    run->row_k = run->step->row_count;

    run->seen = seen ? seen : run->step_started;
    return true;
}

/* What went by unseen until now; the run is over when that is longer than the bench allows. */
static void count_gap(struct live_run *run, const char *why)
{
    struct engine *engine = run->engine;
    utc_us now = clock_utc(engine->options.clock), seen = run->seen;
    double gap = now > seen ? (double)(now - seen) / 1e6 : 0;
    if (gap <= 0)
        return;
    run->seen = now;
    step_interrupt(run->step, gap);
    run->unsaved = true;
    engine_write(engine);
    logbook_add_gap(engine->options.logbook, run->step_id, seen, now, why, engine_error(engine));
    if (gap > run->channel->void_after) {
        step_stop(run->step, END_STOPPED, GUARD_NONE);
        char text[64];
        run_end_because(run, RUN_FAILED,
                        "void: the gap of %s is longer than the bench allows on channel %s",
                        span_format(gap, text, sizeof text), run->channel->name);
    } else {
        lost_over(run, gap);
    }
}

void run_step_record(struct live_run *run)
{
    struct engine *engine = run->engine;
    struct text plan = TEXT_EMPTY;
    plan_json(&run->request.plan, &plan);
    run->step_started = clock_utc(engine->options.clock);
    struct step_record record = {
        .run = run->record.id,
        .segment = run->record.segment,
        .n = run->journal.n,
        .cell = run->record.cell,
        .plan = plan.bytes,
        .started_at = run->step_started,
    };
    string_copy(record.channel, sizeof record.channel, run->channel->name);
    string_copy(record.kind, sizeof record.kind, step_kind_name(run->request.plan.kind));
    string_copy(record.how, sizeof record.how, run->channel->ops->kind);
    engine_write(engine);
    logbook_add_step(engine->options.logbook, &record, engine_error(engine));
    run->step_id = record.id;
    text_free(&plan);
}

static void be_energised(struct live_run *run)
{
    if (run->phase != LIVE_STEPPING || run->awaits != AWAIT_NOTHING)
        return; /* the gap has ended the run */
    run->to_energise = true;
    run->engine->energising = true;
}

bool run_step_begin(struct live_run *run, bool taken_up)
{
    struct error refusal;
    error_clear(&refusal);
    struct limits of_cell = profile_limits(run->cell.profile, run->cell.rated_charge);
    struct limits limits = limits_meet(&run->channel->limits, &of_cell);
    struct step_plan *plan = &run->request.plan;
    const struct step_plan asked = *plan; /* a check fills in ceilings and backstops */
    bool unfit = unfit_set_aside(run, run->channel, &asked, &refusal);
    if (unfit || step_plan_check(plan, &run->cell, &limits, &refusal)) {
        if (unfit && !run->names_channel && unfit_everywhere(run))
            unfit_tell_all(run, &refusal);
        run_refuse(run, &refusal);
        return true;
    }

    if (channel_is_by_hand(run->channel))
        return by_hand_begin(run, taken_up);

    run->step = xcalloc(1, sizeof *run->step);
    run->rows = xmalloc(ROWS_KEPT * sizeof *run->rows);
    run->row_count = 0;
    run->row_k = 0;
    run->unsaved = run->vouched = false;
    run->phase = LIVE_STEPPING;
    step_begin(run->step, plan, &run->cell, &limits, run->channel->tick_least,
               run->channel->tick_most, run->channel->rest_most);

    if (!taken_up || !take_up(run)) {
        run_step_record(run);
    } else if (cell_asked(run)) {
        return false;
    } else {
        count_gap(run, run->gap_why ? run->gap_why : "no engine at work");
    }
    be_energised(run);
    return false;
}

void run_step_go_on(struct live_run *run)
{
    struct engine *engine = run->engine;
    run->phase = LIVE_STEPPING;
    if (run->step->row_count || run->step->gaps) {
        count_gap(run, "waited for a person to look at the cell");
    } else {
        run->step_started = clock_utc(engine->options.clock);
        engine_write(engine);
        logbook_move_step(engine->options.logbook, run->step_id, run->step_started,
                          engine_error(engine));
    }
    be_energised(run);
}

void run_step_energise(struct live_run *run)
{
    run->to_energise = false;
    call(run, AWAIT_PRESENCE);
}

/* --- answers ---------------------------------------------------------------------------------- */

#define NO_CURRENT 1e-3 /* A: less is none */

static void trip(struct live_run *run, const struct reading *reading)
{
    struct text seen = TEXT_EMPTY;
    if (reading) {
        text_addf(&seen, " (%.4f V, %.4f A", reading->voltage, reading->current);
        if (isfinite(reading->temperature))
            text_addf(&seen, ", %.1f degC", reading->temperature);
        text_add(&seen, ")");
        if (run->step->guard == GUARD_OVER_CURRENT && fabs(reading->current) < NO_CURRENT)
            text_add(&seen, "; nothing flows: see whether leads, relay and fuse join the cell");
    }
    run_end_because(run, RUN_FAILED, "guard %s at channel %s: %s%s",
                    step_guard_name(run->step->guard), run->channel->name,
                    step_guard_about(run->step->guard), seen.length ? seen.bytes : "");
    text_free(&seen);
}

static void present(struct live_run *run, const struct reading *reading)
{
    enum step_guard guard;
    if (cell_is_wrong(run, reading, &guard))
        return;
    if (guard != GUARD_NONE) {
        step_stop(run->step, END_GUARD, guard);
        trip(run, reading);
        return;
    }
    session_saw(run->engine, run->channel);
    call(run, drives(run) ? AWAIT_DRIVE : AWAIT_READING);
}

static void read_one(struct live_run *run, const struct reading *reading)
{
    struct engine *engine = run->engine;
    bool when = false;
    if (run->step->plan.when) {
        struct error failure;
        error_clear(&failure);
        if (engine->options.scripts->predicate(run->script, reading, run->step, &when, &failure)) {
            step_stop(run->step, END_STOPPED, GUARD_NONE);
            run_end_because(run, RUN_FAILED, "%s: %s", failure.what, failure.why);
            return;
        }
    }
    engine->readings++;
    enum step_verdict verdict = step_feed(run->step, reading, when);
    keep_rows(run);
    switch (verdict) {
    case STEP_GO_ON:
        deadline_set(&engine->deadlines, &run->deadline,
                     reading->at + (bench_us)llround(step_next(run->step) * 1e6));
        break;
    case STEP_REDRIVE: call(run, AWAIT_DRIVE); break;
    case STEP_ENDED: run_step_make_safe(run, AFTER_STEP); break;
    case STEP_TRIPPED: trip(run, reading); break;
    }
}

/* The step is over and its channel safe: the rest of its record, then its outcome. */
static void record_end(struct live_run *run)
{
    struct engine *engine = run->engine;
    struct outcome outcome;
    struct outcome_standard standard;
    struct step_sums sums;
    flush_rows(run);
    step_outcome(run->step, &outcome);
    if (outcome.kind == STEP_PULSE && strcmp(outcome.quality, "good") == 0 &&
        !isfinite(outcome.resistance))
        run_event(run, "warning",
                  "no resistance on channel %s: the current was the same at the end of both levels",
                  run->channel->name);
    standard_of_step(&run->channel->accuracy, &outcome, &standard);
    outcome_sums(&outcome, &sums);
    engine_write(engine);
    logbook_end_step(engine->options.logbook, run->step_id, &sums,
                     run->step_started + run->step->elapsed_us, engine_error(engine));
    text_clear(&run->outcome);
    outcome_json(&outcome, &standard, &run->outcome);
    run_step_free(run);
}

static void safe(struct live_run *run)
{
    switch (run->after) {
    case AFTER_STEP:
        record_end(run);
        run_complete(run, run->outcome.bytes);
        break;
    case AFTER_PARK:
        if (run->step && run->step->ended_by != END_NONE) {
            record_end(run); /* it ended on the last look; the script hears of it when taken up */
            run_journal_outcome(run, run->outcome.bytes);
        } else {
            run_step_save(run);
            run_step_free(run);
        }
        run_parked(run);
        break;
    case AFTER_OVER:
        if (run->step) {
            if (run->step->ended_by == END_NONE)
                step_stop(run->step, END_STOPPED, GUARD_NONE);
            record_end(run);
        }
        run_over(run);
        break;
    }
}

static void answered(struct live_run *run, const struct reading *reading,
                     const struct error *failure)
{
    enum channel_wait was = run->awaits;
    run->awaits = AWAIT_NOTHING;
    if (failure) {
        const char *channel = run->channel->name;
        if (was == AWAIT_SAFE) { /* may be unsafe: on record, and the run is over all the same */
            run_event(run, "error", "channel %s could not be made safe: %s: %s", channel,
                      failure->what, failure->why);
            if (run->step && drives(run))
                lost_unsafe(run, failure);
            safe(run);
        } else if (!lost_wait(run, failure)) {
            if (failure->code == ERROR_LOST)
                step_stop(run->step, END_GUARD, GUARD_STALE);
            run_end_because(run, RUN_FAILED, "channel %s: %s: %s%s", channel, failure->what,
                            failure->why, failure->code == ERROR_LOST ? ", again and again" : "");
        }
        return;
    }
    switch (was) {
    case AWAIT_NOTHING: break;
    case AWAIT_PRESENCE: present(run, reading); break;
    case AWAIT_DRIVE: call(run, AWAIT_READING); break;
    case AWAIT_READING: read_one(run, reading); break;
    case AWAIT_SAFE: safe(run); break;
    }
}

void run_step_due(struct live_run *run)
{
    if (run->awaits == AWAIT_NOTHING) {
        call(run, AWAIT_READING);
        return;
    }
    /* Asked, and no answer in time: it may be patient with its line for longer than a step is. */
    struct error failure;
    const struct instrument *awaited = wired_awaited(run->channel);
    error_set(&failure, ERROR_LOST, awaited ? instrument_name(awaited) : run->channel->name,
              "look at the instrument and its link", "no answer in time");
    answered(run, NULL, &failure);
}

/* Before a step is left in the middle: what it has come to by now, where the channel can say so at
 * once. One that answers later is not waited for: safe comes first, and its last stretch is a
 * gap. */
static enum step_verdict last_look(struct live_run *run, struct reading *reading)
{
    if (!run->step || run->step->ended_by != END_NONE || run->to_energise || run->asks_own ||
        run->awaits != AWAIT_NOTHING || !run->channel ||
        run->channel->ops->read(run->channel, reading, NULL) != CHANNEL_NOW)
        return STEP_GO_ON;
    enum step_verdict verdict = step_feed(run->step, reading, false);
    keep_rows(run);
    return verdict;
}

void run_step_make_safe(struct live_run *run, enum after_safe after)
{
    deadline_clear(&run->engine->deadlines, &run->deadline);
    struct reading reading;
    if (last_look(run, &reading) == STEP_TRIPPED) {
        trip(run, &reading); /* comes back here, and is then safe and over */
        return;
    }
    run->after = after;
    run->to_energise = false;
    if (!run->channel) {
        safe(run);
        return;
    }
    call(run, AWAIT_SAFE);
}

void run_step_free(struct live_run *run)
{
    free(run->step);
    free(run->rows);
    run->step = NULL;
    run->rows = NULL;
    run->row_count = 0;
    run->step_id = 0;
    run->unsaved = false;
}
