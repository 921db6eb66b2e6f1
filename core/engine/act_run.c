/* Acts on one run: pause, resume, stop, answer, adopt. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "engine/act_internal.h"
#include "engine/answer.h"
#include "engine/engine_internal.h"
#include "engine/replay.h"
#include "logbook/cells.h"

static int run_of_request(struct act *a, struct run_record *record, struct error *error)
{
    json_int_t id = 0;
    json_error_t problem;
    if (json_unpack_ex((json_t *)a->request, &problem, 0, "{s:I}", "run", &id))
        return bad_request(error, problem.text);
    if (logbook_run(a->logbook, id, record, error))
        return error->code;
    a->reply = json_pack("{s:I, s:b}", "run", id, "engine", a->engine != NULL);
    return 0;
}

static int wrong_state(const struct run_record *record, const char *verb, struct error *error)
{
    char what[32], todo[96];
    snprintf(what, sizeof what, "run %" PRId64, record->id);
    snprintf(todo, sizeof todo, "perdure runs %" PRId64 " shows how it stands", record->id);
    return error_set(error, ERROR_FAILED, what, todo, "its state is %s, and there is nothing to %s",
                     run_state_name(record->state), verb);
}

static int pause_run(struct act *a, const struct run_record *record, struct error *error)
{
    if (run_state_is_over(record->state) || record->state == RUN_PAUSED ||
        record->state == RUN_ATTENTION)
        return wrong_state(record, "pause", error);
    return logbook_set_run_state(a->logbook, record->id, RUN_PAUSED, a->now, NULL, error);
}

static int resume_run(struct act *a, const struct run_record *record, struct error *error)
{
    if (record->state != RUN_PAUSED)
        return wrong_state(record, "resume", error);
    /* One that never began is queued again; its start decides. */
    enum run_state state = record->started_at ? RUN_RUNNING : RUN_QUEUED;
    return logbook_set_run_state(a->logbook, record->id, state, a->now, NULL, error);
}

const char *stop_reason(const struct act *a, char buffer[STOP_REASON_SIZE])
{
    const char *said = json_string_value(json_object_get(a->request, "why"));
    bool some = said && said[0];
    snprintf(buffer, STOP_REASON_SIZE, "by a person%s%s", some ? ": " : "", some ? said : "");
    return buffer;
}

static int stop_run(struct act *a, const struct run_record *record, struct error *error)
{
    char why[STOP_REASON_SIZE];
    const char *said = json_string_value(json_object_get(a->request, "why"));
    if (run_state_is_over(record->state))
        return wrong_state(record, "stop", error);
    if (said && strlen(said) > STOP_SAID_MOST)
        return error_set(error, ERROR_USAGE, "--why", "say it shorter",
                         "a reason has %d bytes at most", STOP_SAID_MOST);
    if (a->engine && engine_find(a->engine, record->id))
        return 0; /* the engine ends it, safe first */
    return logbook_stop_open_steps(a->logbook, record->id, a->now, error) ||
                   logbook_set_run_state(a->logbook, record->id, RUN_STOPPED, a->now,
                                         stop_reason(a, why), error)
               ? error->code
               : 0;
}

typedef int run_act(struct act *a, const struct run_record *record, struct error *error);

static int on_run(struct act *a, run_act *function, struct error *error)
{
    struct run_record record = {0};
    int code = run_of_request(a, &record, error);
    if (!code)
        code = function(a, &record, error);
    run_record_free(&record);
    return code;
}

int pause_act(struct act *a, struct error *error)
{
    return on_run(a, pause_run, error);
}

int resume_act(struct act *a, struct error *error)
{
    return on_run(a, resume_run, error);
}

int stop_act(struct act *a, struct error *error)
{
    return on_run(a, stop_run, error);
}

/* Another label than the expected one: where that cell is, or belongs, says what went wrong. */
static void say_where(struct act *a, const char *expects, const char *typed, struct error *error)
{
    json_t *document = json_loads(expects, 0, NULL);
    const char *kind = json_string_value(json_object_get(document, "kind"));
    char label[64], where[sizeof error->why];
    struct cell_record cell;
    struct run_record record = {0};
    struct error unknown;
    string_copy(label, sizeof label, typed + strspn(typed, " \t\r\n"));
    label[strcspn(label, " \t\r\n")] = '\0';
    error_clear(&unknown);
    if (kind && strcmp(kind, "label") == 0 && !logbook_cell(a->logbook, label, &cell, &unknown) &&
        cell.busy_run && !logbook_run(a->logbook, cell.busy_run, &record, &unknown) &&
        record.channel[0]) {
        snprintf(where, sizeof where,
                 record.started_at ? "%s; %s is in %s already" : "%s; %s belongs in %s", error->why,
                 cell.label, record.channel);
        string_copy(error->why, sizeof error->why, where);
    }
    run_record_free(&record);
    json_decref(document);
}

int answer_act(struct act *a, struct error *error)
{
    json_int_t question;
    json_t *value = NULL;
    const char *typed, *who;
    char *expects = NULL;
    int answers = 0;
    json_error_t problem;
    if (json_unpack_ex((json_t *)a->request, &problem, 0, "{s:I, s:s, s:s}", "question", &question,
                       "answer", &typed, "who", &who))
        return bad_request(error, problem.text);
    if (logbook_question_expects(a->logbook, question, &expects, &answers, error))
        return error->code;
    const struct answer_clock clock = {logbook_zone(a->logbook), a->now};
    int refused = answer_read(expects, typed, &clock, &value, error);
    if (refused)
        say_where(a, expects, typed, error);
    free(expects);
    if (refused)
        return refused;
    if (answers > 0)
        return correct_act(a, question, value, who, error);
    char *text = json_dumps(value, JSON_ENCODE_ANY | JSON_COMPACT);
    int code = logbook_answer(a->logbook, question, text, who, a->now, error);
    free(text);
    a->reply =
        json_pack("{s:I, s:o, s:b}", "question", question, "answer", value, "correction", false);
    return code;
}

static int adopt_text(struct act *a, const struct run_record *record, struct error *error)
{
    const char *name, *text;
    size_t length;
    json_t *modules;
    json_error_t problem;
    if (json_unpack_ex((json_t *)a->request, &problem, 0, "{s:s, s:s%, s:o}", "name", &name, "text",
                       &text, &length, "modules", &modules))
        return bad_request(error, problem.text);
    if (run_state_is_over(record->state))
        return wrong_state(record, "go on with", error);
    if (a->engine) {
        struct live_run *run = engine_find(a->engine, record->id);
        if (run && run->phase != LIVE_PARKED && run->phase != LIVE_QUEUED)
            return error_set(error, ERROR_FAILED, name,
                             "pause the run first, then adopt, then resume",
                             "run %" PRId64 " is at work", record->id);
    }
    struct replay_text with = {.name = name, .text = text, .length = length, .modules = modules};
    struct replay_report report = {0};
    if (replay_dry(a->logbook, a->scripts, record->id, &with, &report, error))
        return error->code;
    json_object_set_new(a->reply, "replayed", json_integer(report.replayed));
    if (json_is_true(json_object_get(a->request, "dry")))
        return 0;

    char hash[SHA256_HEX], note[256];
    if (logbook_add_script(a->logbook, name, text, length, hash, error) ||
        logbook_set_run_script(a->logbook, record->id, hash, error))
        return error->code;
    if (pin_modules(a, record->id, modules, error))
        return error->code;
    snprintf(note, sizeof note,
             "adopted %s (%.12s) in place of %.12s; %" PRId64 " entries replayed", name, hash,
             record->script_hash, report.replayed);
    if (logbook_add_event(a->logbook, a->now, record->id, 0, "warning", note, error))
        return error->code;
    if (record->state == RUN_ATTENTION)
        return logbook_set_run_state(a->logbook, record->id, RUN_PAUSED, a->now, NULL, error);
    return 0;
}

int adopt_act(struct act *a, struct error *error)
{
    return on_run(a, adopt_text, error);
}
