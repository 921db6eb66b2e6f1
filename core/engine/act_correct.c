/* The act of correcting an answer: another one to a question that has one.
 *
 * What was typed stays on record, each time. What follows from it is worked out anew, all in the
 * transaction of the answer: the outcome of the entry that waited for it, then, by a replay of the
 * script over its journal, whatever the script recorded. The figures that held before go on record
 * as events.
 *
 * 1. Only the values of `record` and the words of `note` may come out otherwise. Where the script
 *    would have asked for anything else, what was done to the cell belongs to the wrong answer: the
 *    correction is refused and nothing of it is kept, not even the answer, for the latest answer is
 *    the one that holds.
 * 2. What a study decided by the old figures is its history, and stays.
 * 3. The accuracy that counts is that of the session which took the answer, not of today's
 * bench. */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "base/rows.h"
#include "engine/act_internal.h"
#include "engine/correct.h"
#include "engine/engine_internal.h"
#include "engine/replay.h"
#include "logbook/corrections.h"

#define FLAG "corrected"

struct correction {
    struct act *a;
    struct answered before;
    struct run_record run;
    const char *who;
    json_t *changes;     /* of the reply */
    struct text outcome; /* the new one of the entry, JSON */
    struct step_sums sums;
};

/* --- telling ---------------------------------------------------------------------------------- */

static int event_of(struct correction *c, int64_t run, const struct text *words,
                    struct error *error)
{
    struct text all = TEXT_EMPTY;
    text_addf(&all, "%s: question %" PRId64 " was corrected%s%s", words->bytes, c->before.question,
              c->who[0] ? " by " : "", c->who);
    logbook_add_event(c->a->logbook, c->a->now, run, run == c->run.id ? c->before.step : 0, "note",
                      all.bytes, error);
    text_free(&all);
    return error->code;
}

/* Turns what a replay says into a refusal. The record's own troubles are not the answer's. */
static int refuse(const struct correction *c, const char *because, struct error *error)
{
    struct error why = *error;
    char what[32], todo[sizeof why.todo];
    struct text words = TEXT_EMPTY;
    if (why.code != ERROR_FAILED && why.code != ERROR_SCRIPT)
        return why.code;
    snprintf(what, sizeof what, "question %" PRId64, c->before.question);
    if (run_state_is_over(c->run.state))
        text_addf(&words, "nothing is changed; run %s again%s%s%s", c->run.script_name,
                  c->run.cell ? " on " : "", c->run.cell_label,
                  c->run.parent ? ", or let the study withdraw the cell" : "");
    else
        text_addf(&words,
                  "nothing is changed; stop the run (perdure stop %" PRId64
                  ") and start %s anew, or let it go on as it is",
                  c->run.id, c->run.script_name);
    string_copy(todo, sizeof todo, words.bytes);
    text_free(&words);
    return error_set(error, ERROR_FAILED, what, todo, "%s: %s: %s", because, why.what, why.why);
}

static int refuse_own(const struct correction *c, struct error *error)
{
    char what[32], todo[128];
    snprintf(what, sizeof what, "question %" PRId64, c->before.question);
    snprintf(todo, sizeof todo,
             "if the cell in there is another one: perdure stop %" PRId64
             ", then start anew with the right one",
             c->run.id);
    return error_set(error, ERROR_FAILED, what, todo,
                     "it asked for the cell in the channel and has its answer: the run has gone on "
                     "by it, and there is no figure to correct");
}

/* --- the entry itself ------------------------------------------------------------------------- */

/* A display is typed in parts: what is not typed again stays as it was. */
static void keep_untyped(json_t *value, const json_t *before)
{
    if (!json_is_object(value) || !json_is_object(before))
        return;
    json_object_update_missing(json_object_get(value, "steps"), json_object_get(before, "steps"));
    json_object_update_missing(value, (json_t *)before);
}

static enum step_kind kind_of(const char *name)
{
    enum step_kind kind = STEP_CHARGE;
    while (kind < STEP_READ && strcmp(step_kind_name(kind), name) != 0)
        kind++;
    return kind;
}

/* As the engine makes it of a first answer: see by_hand_end, and perform_answered for an ask. */
static void make_outcome(struct correction *c, const char *answer)
{
    struct channel_accuracy accuracy;
    if (!c->before.step) {
        text_add(&c->outcome, answer);
        return;
    }
    session_accuracy(c->before.accuracy, &accuracy);
    by_hand_outcome(kind_of(c->before.kind), &accuracy, answer, 0, &c->sums, &c->outcome);
}

static int put_outcome(struct correction *c, const json_t *was, const json_t *is,
                       struct error *error)
{
    const struct answered *of = &c->before;
    struct text words = TEXT_EMPTY;
    char entry[64];
    if (logbook_correct_outcome(c->a->logbook, of->run, of->segment, of->n, c->outcome.bytes,
                                error) ||
        (of->step && logbook_correct_step(c->a->logbook, of->step, &c->sums, error)))
        return error->code;
    snprintf(entry, sizeof entry, "%s, entry %" PRId64, of->name, of->n);
    if (of->step)
        correct_say_outcome(entry, was, is, &words, c->changes);
    else
        correct_say_value("the answer", was, is, &words, c->changes);
    if (words.length)
        event_of(c, of->run, &words, error);
    text_free(&words);
    return error->code;
}

/* When the step was: the ages of all that comes after it on this cell are counted from there. */
static int put_times(struct correction *c, const char *answer, struct error *error)
{
    struct logbook *logbook = c->a->logbook;
    struct text words = TEXT_EMPTY;
    char was[40], is[40];
    utc_us started, ended, old;
    if (logbook_step_times(logbook, c->before.step, &started, &ended, error))
        return error->code;
    old = ended;
    if (!by_hand_times(answer, &c->sums, c->before.asked_at, &started, &ended) || old == ended)
        return 0;
    const struct zone *zone = logbook_zone(logbook);
    if (ended > c->before.outcome_at) {
        zone_format(zone, c->before.outcome_at - c->before.outcome_at % US_PER_S, was, sizeof was);
        return error_set(error, ERROR_FAILED, c->before.name, "give an earlier time",
                         "it had ended when it was first answered, at %s", was);
    }
    zone_format(zone, old - old % US_PER_S, was, sizeof was);
    zone_format(zone, ended - ended % US_PER_S, is, sizeof is);
    text_addf(&words, "%s, entry %" PRId64 ": ended %s and not %s", c->before.name, c->before.n, is,
              was);
    json_array_append_new(c->changes,
                          json_pack("{s:s, s:s, s:s}", "what", "ended", "was", was, "is", is));
    if (!logbook_correct_times(logbook, c->before.step, started, ended, error))
        event_of(c, c->before.run, &words, error);
    text_free(&words);
    return error->code;
}

/* --- what the script made of it --------------------------------------------------------------- */

/* A study that has read the child's results goes on by what it read. */
static int tell_study(struct correction *c, const json_t *was, const json_t *is,
                      struct error *error)
{
    const struct run_record *run = &c->run;
    bool done = false;
    struct text words = TEXT_EMPTY, unused = TEXT_EMPTY;
    if (!run->parent || logbook_journal_is_done(c->a->logbook, run->parent, run->parent_segment,
                                                run->parent_n, &done, error))
        return error->code;
    json_t *rows = json_array();
    correct_say_result(was, is, &unused, rows);
    const json_t *row = json_array_get(rows, 0);
    text_addf(&words, "the study went on by %s %s of %s (run %" PRId64 "), which is %s now",
              row_text(row, "what"), row_text(row, "was"), run->cell_label, run->id,
              row_text(row, "is"));
    if (done)
        event_of(c, run->parent, &words, error);
    json_decref(rows);
    text_free(&words);
    text_free(&unused);
    return error->code;
}

static int put_result(struct correction *c, const struct journal_entry *entry, const json_t *was,
                      const json_t *is, const struct script_request *now, struct error *error)
{
    const bool differs = !correct_same(was, is);
    struct text words = TEXT_EMPTY;
    struct result_record result = {
        .run = c->before.run,
        .segment = c->before.segment,
        .n = entry->n,
        .value = now->value,
        .unit = now->unit,
        .uncertainty = now->uncertainty,
        .freedom = now->freedom,
    };
    if (logbook_correct_result(c->a->logbook, &result, differs ? FLAG : NULL, error) || !differs)
        return error->code;
    correct_say_result(was, is, &words, c->changes);
    if (!event_of(c, c->before.run, &words, error))
        tell_study(c, was, is, error);
    text_free(&words);
    return error->code;
}

static int put_restated(void *owner, const struct journal_entry *entry,
                        const struct script_request *now, struct error *error)
{
    struct correction *c = owner;
    struct text words = TEXT_EMPTY;
    if (logbook_correct_args(c->a->logbook, c->before.run, c->before.segment, entry->n, now->args,
                             error))
        return error->code;
    json_t *was = json_loads(entry->args, 0, NULL), *is = json_loads(now->args, 0, NULL);
    if (now->kind == REQUEST_RECORD) {
        put_result(c, entry, was, is, now, error);
    } else {
        correct_say_value("the note", json_object_get(was, "text"), json_object_get(is, "text"),
                          &words, c->changes);
        event_of(c, c->before.run, &words, error);
    }
    text_free(&words);
    json_decref(was);
    json_decref(is);
    return error->code;
}

/* A script that failed by its figures fails by other ones. */
static int tell_failure(struct correction *c, const struct replay_report *was,
                        const struct replay_report *is, struct error *error)
{
    struct text words = TEXT_EMPTY;
    text_addf(&words, "it failed by \"%s\" and would fail by \"%s\"", was->last, is->last);
    event_of(c, c->run.id, &words, error);
    text_free(&words);
    return error->code;
}

/* What is over ended here, and would not have; or the other way round. */
static int same_end(struct correction *c, const struct replay_report *was,
                    const struct replay_report *is, struct error *error)
{
    static const char *const ended[] = {
        [REPLAY_WAITS] = "waited for ",
        [REPLAY_ASKS] = "asked for ",
        [REPLAY_DONE] = "was done",
        [REPLAY_FAILED] = "failed: ",
    };
    static const char *const would[] = {
        [REPLAY_WAITS] = "wait for ",
        [REPLAY_ASKS] = "ask for ",
        [REPLAY_DONE] = "be done",
        [REPLAY_FAILED] = "fail: ",
    };
    const bool over = run_state_is_over(c->run.state) || c->before.segment != c->run.segment;
    if (!over || (was->end == is->end && strcmp(was->last, is->last) == 0))
        return 0;
    if (was->end == REPLAY_FAILED && is->end == REPLAY_FAILED)
        return tell_failure(c, was, is, error);
    char what[64];
    snprintf(what, sizeof what, "after journal entry %" PRId64, is->entries);
    return error_set(error, ERROR_FAILED, what, "compare the two", "it would %s%s where it %s%s",
                     would[is->end], is->last, ended[was->end], was->last);
}

static int work_out(struct correction *c, const json_t *was, const json_t *is, struct error *error)
{
    struct logbook *logbook = c->a->logbook;
    const struct script_ops *scripts = c->a->scripts;
    const int segment = c->before.segment;
    struct replay_report before, now;
    struct replay_change change = {
        .n = c->before.n, .outcome = c->outcome.bytes, .restated = put_restated, .owner = c};
    if (replay_changed(logbook, scripts, &c->run, segment, NULL, &before, error))
        return refuse(c, "the run's record does not fit its script as it is", error);
    if (put_outcome(c, was, is, error))
        return error->code;
    if (replay_changed(logbook, scripts, &c->run, segment, &change, &now, error) ||
        same_end(c, &before, &now, error))
        return refuse(c, "by this answer the script would have gone on otherwise", error);
    return 0;
}

/* --- the act ---------------------------------------------------------------------------------- */

static int apply(struct correction *c, json_t *value, struct error *error)
{
    struct act *a = c->a;
    json_t *before = json_loads(c->before.answer, JSON_DECODE_ANY, NULL);
    if (c->before.n >= 1)
        keep_untyped(value, before);
    bool same = correct_same(before, value);
    json_decref(before);
    char *text = json_dumps(value, JSON_ENCODE_ANY | JSON_COMPACT);
    json_t *was = NULL, *is = NULL;
    if (c->before.outcome) {
        make_outcome(c, text);
        was = json_loads(c->before.outcome, JSON_DECODE_ANY, NULL);
        is = json_loads(c->outcome.bytes, JSON_DECODE_ANY, NULL);
        json_object_set_new(a->reply, "run", json_integer(c->before.run));
        json_object_set(a->reply, "changes", c->changes);
    }
    const bool follows = is && !correct_same(was, is);
    if (same && !follows)
        json_object_set_new(a->reply, "same", json_true());
    else if (!logbook_answer(a->logbook, c->before.question, text, c->who, a->now, error) &&
             !(is && c->before.step && put_times(c, text, error)) && follows)
        work_out(c, was, is, error);
    json_decref(was);
    json_decref(is);
    free(text);
    return error->code;
}

int correct_act(struct act *a, int64_t question, json_t *value, const char *who,
                struct error *error)
{
    struct correction c = {.a = a, .who = who, .changes = json_array()};
    a->reply = json_pack("{s:I, s:o, s:b}", "question", (json_int_t)question, "answer", value,
                         "correction", true);
    if (!logbook_answered(a->logbook, question, &c.before, error) &&
        !logbook_run(a->logbook, c.before.run, &c.run, error)) {
        if (c.before.n < 1 && c.before.outcome)
            refuse_own(&c, error);
        else
            apply(&c, value, error);
    }
    json_decref(c.changes);
    text_free(&c.outcome);
    answered_free(&c.before);
    run_record_free(&c.run);
    return error->code;
}
