/* The primitives that need no channel: results and notes, waiting, asking a person. */
#include <inttypes.h>
#include <stdlib.h>

#include "engine/answer.h"
#include "engine/engine_internal.h"
#include "engine/notify.h"
#include "engine/study.h"

static void done_with(struct live_run *run, const char *json)
{
    text_clear(&run->outcome);
    text_add(&run->outcome, json);
}

static void record(struct live_run *run)
{
    const struct script_request *request = &run->request;
    struct result_record result = {
        .run = run->record.id,
        .segment = run->record.segment,
        .n = run->journal.n,
        .cell = run->record.cell,
        .name = request->text,
        .value = request->value,
        .unit = request->unit,
        .uncertainty = request->uncertainty,
        .freedom = request->freedom,
        .how = run->channel ? run->channel->ops->kind : "",
        .flags = "",
        .at = clock_utc(run->engine->options.clock),
    };
    logbook_add_result(run->engine->options.logbook, &result, engine_error(run->engine));
    done_with(run, "true");
}

void perform_rearm(struct live_run *run)
{
    struct engine *engine = run->engine;
    utc_us now = clock_utc(engine->options.clock);
    deadline_set(&engine->deadlines, &run->deadline,
                 clock_bench(engine->options.clock) + (run->until > now ? run->until - now : 0));
}

/* What a wait gives: by the rules of a zone, which may be changed, also when its window ended. */
static const char *wait_outcome(const struct live_run *run, char *buffer, size_t size)
{
    const struct zone *zone = logbook_zone(run->engine->options.logbook);
    if (run->request.kind != REQUEST_WAIT || !run->request.has_window || !zone)
        return "true";
    utc_us latest = zone_after(zone, run->request.until, &run->request.late);
    snprintf(buffer, size, "%.6f", (double)latest / (double)US_PER_S);
    return buffer;
}

/* `taken_up`: it was begun, and is not judged again by what a later version refuses. */
static bool wait(struct live_run *run, bool taken_up)
{
    char outcome[40];
    struct error refusal;
    error_clear(&refusal);
    if (!taken_up && window_check(&run->request, &refusal)) {
        run_refuse(run, &refusal);
        return true;
    }
    run->until =
        wait_end(logbook_zone(run->engine->options.logbook), &run->request, run->journal.cursor);
    if (run->until <= clock_utc(run->engine->options.clock)) {
        done_with(run, wait_outcome(run, outcome, sizeof outcome));
        return true;
    }
    run->phase = LIVE_WAITING;
    perform_rearm(run);
    return false;
}

void perform_due(struct live_run *run)
{
    char outcome[40];
    /* The wall clock may have been set back since: a date is met by the calendar only. */
    if (run->until > clock_utc(run->engine->options.clock)) {
        perform_rearm(run);
        return;
    }
    if (run->by_hand)
        by_hand_end(run, NULL);
    else
        run_complete(run, wait_outcome(run, outcome, sizeof outcome));
}

int64_t perform_ask(struct live_run *run, int64_t n, const char *text, const char *expects)
{
    struct engine *engine = run->engine;
    struct question_record question = {
        .run = run->record.id,
        .segment = run->record.segment,
        .n = n,
        .text = text,
        .expects = expects,
        .asked_at = clock_utc(engine->options.clock),
    };
    logbook_add_question(engine->options.logbook, &question, engine_error(engine));
    run_event(run, "info", "asks (question %" PRId64 "): %s", question.id, question.text);
    notify_question(run, question.id);
    return question.id;
}

static void assume(struct live_run *run)
{
    struct engine *engine = run->engine;
    char *answer = answer_assumed(run->request.expects);
    int64_t question = perform_ask(run, run->journal.n, run->request.text, run->request.expects);
    logbook_answer(engine->options.logbook, question, answer, "assumed",
                   clock_utc(engine->options.clock), engine_error(engine));
    done_with(run, answer);
    free(answer);
}

static bool ask(struct live_run *run, bool taken_up)
{
    if (run->engine->options.assume_answers) {
        assume(run);
        return true;
    }
    run->phase = LIVE_ASKING;
    if (taken_up)
        perform_answered(run);
    else
        perform_ask(run, run->journal.n, run->request.text, run->request.expects);
    return false;
}

void perform_answered(struct live_run *run)
{
    int64_t id = 0;
    char *answer = NULL;
    utc_us at = 0;
    if (logbook_question(run->engine->options.logbook, run->record.id, run->record.segment,
                         run->asks_own ? run->own_n : run->journal.n, &id, &answer, &at,
                         engine_error(run->engine)))
        return;
    if (!answer) { /* still open: the engine that put it may have told nobody */
        if (id)
            notify_question(run, id);
        return;
    }
    if (run->asks_own)
        cell_answered(run, answer);
    else if (run->by_hand)
        by_hand_end(run, answer);
    else
        run_complete(run, answer);
    free(answer);
}

bool perform(struct live_run *run, bool taken_up)
{
    struct engine *engine = run->engine;
    engine_write(engine);
    switch (run->request.kind) {
    case REQUEST_STEP: return run_step_begin(run, taken_up);
    case REQUEST_WAIT: return wait(run, taken_up);
    case REQUEST_ASK: return ask(run, taken_up);
    case REQUEST_RECORD: record(run); return true;
    case REQUEST_NOTE:
        run_event(run, "note", "%s", run->request.text);
        done_with(run, "true");
        return true;
    case REQUEST_RESTART:
    case REQUEST_PERFORM: return study_perform(run, taken_up);
    case REQUEST_PLACE:
        study_place(run);
        done_with(run, "true");
        return true;
    }
    done_with(run, "true");
    return true;
}
