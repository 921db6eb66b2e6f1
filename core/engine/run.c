/* The life of one run in memory: begun, continued, ended, parked. Diagram and invariants are in
 * engine_internal.h. */
#include <inttypes.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "engine/acts.h"
#include "engine/engine_internal.h"
#include "engine/lost.h"
#include "engine/study.h"
#include "engine/unfit.h"

static void due(void *owner)
{
    struct live_run *run = owner;
    if (run->phase == LIVE_QUEUED)
        run->engine->queue_changed = true;
    else if (run->phase == LIVE_STEPPING)
        run_step_due(run);
    else if (run->phase == LIVE_WAITING)
        perform_due(run);
    else if (run->phase == LIVE_PARKED)
        lost_due(run);
}

struct live_run *run_new(struct engine *engine, struct run_record *record, struct error *error)
{
    struct live_run *run = xcalloc(1, sizeof *run);
    run->engine = engine;
    run->record = *record;
    *record = (struct run_record){0};
    run->pinned = (struct pinned){.logbook = engine->options.logbook, .run = run->record.id};
    run->phase = LIVE_QUEUED;
    run->driven = run->record.segment > 0; /* a replay does not come by what was before */
    run->deadline = (struct deadline){.due = due, .owner = run};
    if (run->record.cell &&
        facts_of_cell(engine->options.logbook, run->record.cell_label, &run->cell, error)) {
        run_free(run);
        return NULL;
    }
    return run;
}

static void close_script(struct live_run *run)
{
    if (run->script)
        run->engine->options.scripts->close(run->script);
    run->script = NULL;
    journal_free(&run->journal);
    run->journal = (struct journal){0};
}

static void free_channel(struct live_run *run)
{
    struct channel *channel = run->channel;
    if (!channel)
        return;
    channel->ops->make_safe(channel, NULL);
    channel->ops->remove(channel);
    channel->owner = NULL;
    channel->notify = NULL;
    channel->warn = NULL;
    run->channel = NULL;
    run->engine->queue_changed = true;
}

void run_free(struct live_run *run)
{
    deadline_clear(&run->engine->deadlines, &run->deadline);
    close_script(run);
    run_step_free(run);
    free_channel(run);
    text_free(&run->outcome);
    free(run->over_why);
    run_record_free(&run->record);
    free(run);
}

void run_event(struct live_run *run, const char *level, const char *format, ...)
{
    struct engine *engine = run->engine;
    struct text text = TEXT_EMPTY;
    va_list list;
    va_start(list, format);
    text_addv(&text, format, list);
    va_end(list);
    utc_us now = clock_utc(engine->options.clock);
    engine->changes++;
    engine_write(engine);
    logbook_add_event(engine->options.logbook, now, run->record.id, run->step_id, level, text.bytes,
                      engine_error(engine));
    if (engine->options.tell)
        engine->options.tell(engine->options.owner, now, run->record.id, level, text.bytes);
    text_free(&text);
}

static void set_state(struct live_run *run, enum run_state state, utc_us at, const char *why)
{
    struct engine *engine = run->engine;
    engine->changes++;
    engine_write(engine);
    logbook_set_run_state(engine->options.logbook, run->record.id, state, at, why,
                          engine_error(engine));
    run->record.state = state;
    if (run->record.why != why) {
        free(run->record.why);
        run->record.why = why ? xstrdup(why) : NULL;
    }
}

void run_waits_for(struct live_run *run, const char *format, ...)
{
    char why[1100];
    va_list list;
    va_start(list, format);
    vsnprintf(why, sizeof why, format, list);
    va_end(list);
    set_state(run, run->record.state, clock_utc(run->engine->options.clock), why);
}

void run_waits_no_more(struct live_run *run)
{
    set_state(run, run->record.state, clock_utc(run->engine->options.clock), NULL);
}

/* --- beginning -------------------------------------------------------------------------------- */

static int open_script(struct live_run *run, struct error *error)
{
    struct engine *engine = run->engine;
    if (pinned_open(&run->pinned, engine->options.scripts, &run->record, &run->cell, &run->script,
                    error))
        return error->code;
    return journal_load(&run->journal, engine->options.logbook, run->record.id, run->record.segment,
                        run->record.segment_at, error);
}

/* A logbook that cannot be read is the engine's trouble and no failure of the run: the pass meets
 * it, and the run is taken up later. */
static bool is_trouble(struct live_run *run, const struct error *failure)
{
    if (failure->code != ERROR_LOGBOOK && failure->code != ERROR_FULL &&
        failure->code != ERROR_BUSY)
        return false;
    *engine_error(run->engine) = *failure;
    return true;
}

static void warn(void *owner, const char *text)
{
    const struct live_run *run = owner;
    run_event(owner, "warning", "channel %s: %s", run->channel ? run->channel->name : "?", text);
}

int run_hold(struct live_run *run, struct channel *channel, struct error *error)
{
    if (channel->ops->insert(channel, &run->cell, error))
        return error->code;
    channel->owner = run;
    channel->notify = run_step_notify;
    channel->warn = warn;
    run->channel = channel;
    return 0;
}

static int insert_cell(struct live_run *run, struct channel *channel, struct error *error)
{
    if (!channel)
        return 0;
    if (run_hold(run, channel, error))
        return error->code;
    if (strcmp(run->record.channel, channel->name) != 0) {
        string_copy(run->record.channel, sizeof run->record.channel, channel->name);
        engine_write(run->engine);
        logbook_set_run_channel(run->engine->options.logbook, run->record.id, channel->name,
                                engine_error(run->engine));
    }
    return 0;
}

static void say_taken_up(struct live_run *run)
{
    const struct engine *engine = run->engine;
    if (strcmp(run->record.engine_version, PERDURE_VERSION) != 0 ||
        strcmp(run->record.lua_version, engine->options.scripts->version) != 0)
        run_event(run, "warning", "taken up by Perdure %s with %s; it began under %s with %s",
                  PERDURE_VERSION, engine->options.scripts->version, run->record.engine_version,
                  run->record.lua_version);
    else
        run_event(run, "info", "taken up%s%s at journal entry %" PRId64,
                  run->record.channel[0] ? " on channel " : "", run->record.channel,
                  run->journal.n + journal_left(&run->journal));
}

void run_start(struct live_run *run)
{
    utc_us now = clock_utc(run->engine->options.clock);
    if (!run->record.started_at) /* else it has begun already, on another channel */
        run->record.started_at = run->record.segment_at = run->journal.cursor = now;
    run->moved = false;
    set_state(run, RUN_RUNNING, now, NULL);
    if (run->channel)
        run_event(run, "info", "started on channel %s", run->channel->name);
    else
        run_event(run, "info", "study started");
    run_continue(run, NULL);
}

void run_begin(struct live_run *run, struct channel *channel)
{
    struct error failure;
    error_clear(&failure);
    run->names_channel = run->record.channel[0] != '\0';
    if (insert_cell(run, channel, &failure) || open_script(run, &failure)) {
        if (is_trouble(run, &failure))
            return;
        run_end_because(run, RUN_FAILED, "%s: %s; %s", failure.what, failure.why, failure.todo);
        return;
    }
    if (run->record.state == RUN_QUEUED) {
        if (!cell_ask_for(run))
            run_start(run);
        return;
    }
    if (run->record.why) /* what it waited for is there */
        run_waits_no_more(run);
    say_taken_up(run);
    run_continue(run, NULL);
}

/* What was asked for last is not on record. When nothing else is either, it has not begun. */
void run_requeue(struct live_run *run)
{
    struct engine *engine = run->engine;
    const bool anew = run->journal.n == 1 && run->record.segment == 0;
    close_script(run);
    free_channel(run);
    run->phase = LIVE_QUEUED;
    run->moved = true;
    run->record.state = RUN_QUEUED;
    run->record.channel[0] = '\0';
    if (anew)
        run->record.started_at = run->record.segment_at = 0;
    engine->changes++;
    engine_write(engine);
    logbook_requeue_run(engine->options.logbook, run->record.id, anew, engine_error(engine));
}

/* --- going on --------------------------------------------------------------------------------- */

void run_journal_outcome(struct live_run *run, const char *outcome)
{
    struct engine *engine = run->engine;
    utc_us now = clock_utc(engine->options.clock);
    engine_write(engine);
    logbook_journal_outcome(engine->options.logbook, run->record.id, run->record.segment,
                            run->journal.n, outcome, now, engine_error(engine));
    run->journal.cursor = now;
}

void run_refuse(struct live_run *run, const struct error *why)
{
    text_clear(&run->outcome);
    outcome_error(why, &run->outcome);
}

void run_complete(struct live_run *run, const char *outcome)
{
    run_journal_outcome(run, outcome);
    run_continue(run, outcome);
}

static void journal_intent(struct live_run *run)
{
    struct engine *engine = run->engine;
    struct journal_entry entry = {
        .n = run->journal.n,
        .name = run->request.name,
        .args = run->request.args,
        .intent_at = clock_utc(engine->options.clock),
    };
    engine_write(engine);
    logbook_journal_intent(engine->options.logbook, run->record.id, run->record.segment, &entry,
                           engine_error(engine));
}

/* A fresh segment: the script begins again with plain-data state and an empty journal. */
static bool restart(struct live_run *run)
{
    struct engine *engine = run->engine;
    struct error failure;
    error_clear(&failure);
    engine_write(engine);
    logbook_set_run_segment(engine->options.logbook, run->record.id, run->record.segment + 1,
                            run->request.state, run->journal.cursor, engine_error(engine));
    char *state = xstrdup(run->request.state);
    run->record.segment_at = run->journal.cursor;
    close_script(run);
    run->record.segment++;
    free(run->record.segment_state);
    run->record.segment_state = state;
    if (open_script(run, &failure)) {
        if (!is_trouble(run, &failure))
            run_end(run, RUN_FAILED, failure.why);
        return false;
    }
    return true;
}

static void end_of_script(struct live_run *run, enum script_status status,
                          const struct error *failure)
{
    if (status == SCRIPT_DONE) {
        run_end(run, RUN_DONE, NULL);
        return;
    }
    run_end_because(run, RUN_FAILED, "%s: %s%s%s", failure->what, failure->why,
                    failure->todo[0] ? "; " : "", failure->todo);
}

static bool may_drive(const struct script_request *request)
{
    return request->kind == REQUEST_STEP && request->plan.kind != STEP_REST &&
           request->plan.kind != STEP_READ;
}

void run_continue(struct live_run *run, const char *outcome)
{
    struct engine *engine = run->engine;
    struct error failure;
    for (;;) {
        error_clear(&failure);
        run->phase = LIVE_WORKING;
        enum script_status status = engine->options.scripts->resume(
            run->script, outcome, run->journal.cursor, &run->request, &failure);
        if (status != SCRIPT_AWAITS) {
            end_of_script(run, status, &failure);
            return;
        }
        study_window(run);
        enum journal_step where = journal_next(&run->journal, &run->request, &outcome, &failure);
        if (where == JOURNAL_DIVERGED) {
            run_end_because(run, RUN_ATTENTION, "%s: %s", failure.what, failure.why);
            return;
        }
        if (where == JOURNAL_NEW && unfit_moves(run))
            return;
        run->driven |= may_drive(&run->request);
        if (where == JOURNAL_REPLAYED)
            continue;
        if (where == JOURNAL_NEW)
            journal_intent(run);
        if (!perform(run, where == JOURNAL_OPEN))
            return;
        run_journal_outcome(run, run->outcome.bytes);
        outcome = run->outcome.bytes;
        if (run->request.kind == REQUEST_RESTART) {
            if (!restart(run))
                return;
            outcome = NULL;
        }
        if (engine->trouble.code)
            return; /* the pass will drop or end everything: nothing more is promised */
    }
}

void run_hear_again(struct live_run *run)
{
    const struct script_ops *scripts = run->engine->options.scripts;
    const int64_t stands = run->journal.n;
    const char *outcome = NULL;
    enum journal_step step = JOURNAL_REPLAYED;
    struct error failure;
    error_clear(&failure);
    if (!run->script)
        return; /* it hears its journal when it is taken up */
    close_script(run);
    bool heard = !open_script(run, &failure);
    while (heard && run->journal.n < stands && step == JOURNAL_REPLAYED) {
        heard = scripts->resume(run->script, outcome, run->journal.cursor, &run->request,
                                &failure) == SCRIPT_AWAITS;
        if (heard)
            step = journal_next(&run->journal, &run->request, &outcome, &failure);
    }
    if (heard && step == (stands ? JOURNAL_OPEN : JOURNAL_REPLAYED))
        return;
    if (!is_trouble(run, &failure))
        run_end_because(run, RUN_ATTENTION, "after a corrected answer: %s: %s", failure.what,
                        failure.why);
}

/* --- ending and parking ----------------------------------------------------------------------- */

void run_ends_as(struct live_run *run, enum run_state state, const char *why)
{
    run->after = AFTER_OVER;
    run->over_state = state;
    free(run->over_why);
    run->over_why = why ? xstrdup(why) : NULL;
}

void run_end(struct live_run *run, enum run_state state, const char *why)
{
    run_ends_as(run, state, why);
    run_step_make_safe(run, AFTER_OVER);
}

void run_end_because(struct live_run *run, enum run_state state, const char *format, ...)
{
    char why[2048];
    va_list list;
    va_start(list, format);
    vsnprintf(why, sizeof why, format, list);
    va_end(list);
    run_end(run, state, why);
}

void run_over(struct live_run *run)
{
    /* A step that was never taken up again ends with its run, as it last stood. */
    if (run->over_state != RUN_ATTENTION) {
        engine_write(run->engine);
        logbook_stop_open_steps(run->engine->options.logbook, run->record.id,
                                clock_utc(run->engine->options.clock), engine_error(run->engine));
    }
    set_state(run, run->over_state, clock_utc(run->engine->options.clock), run->over_why);
    run_event(run, run->over_state == RUN_DONE ? "info" : "error", "%s%s%s",
              run_state_name(run->over_state), run->over_why ? ": " : "",
              run->over_why ? run->over_why : "");
    close_script(run);
    if (run->over_state == RUN_ATTENTION) {
        run->phase = LIVE_PARKED; /* the cell stays where it is until a person has looked */
        return;
    }
    run->phase = LIVE_OVER;
    free_channel(run);
    run->engine->some_over = true;
}

void run_park(struct live_run *run)
{
    if (run->phase == LIVE_PARKED || run->phase == LIVE_OVER)
        return;
    run_step_make_safe(run, AFTER_PARK);
}

void run_parked(struct live_run *run)
{
    close_script(run);
    run->phase = LIVE_PARKED;
    lost_parked(run);
}
