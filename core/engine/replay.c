/* Dry replay of one segment of a run. */
#include "engine/replay.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "base/rows.h"
#include "engine/acts.h"
#include "engine/journal.h"
#include "logbook/corrections.h"

struct replay {
    struct pinned pinned;
    struct journal journal;
    struct script *script;
    const struct script_ops *scripts;
    const struct replay_change *change; /* NULL: none */
};

/* A record of the same name, or a note, with other arguments. */
static bool restates(const struct replay *replay, const struct script_request *request,
                     struct journal_entry *before)
{
    if (!replay->change || !journal_peek(&replay->journal, before) || !before->outcome ||
        strcmp(before->name, request->name) != 0 || strcmp(before->args, request->args) == 0)
        return false;
    if (request->kind != REQUEST_RECORD)
        return request->kind == REQUEST_NOTE;
    json_t *args = json_loads(before->args, 0, NULL);
    bool same = strcmp(row_text(args, "name"), request->text) == 0;
    json_decref(args);
    return same;
}

static void say_last(struct replay_report *report, enum replay_end end, const char *name,
                     const char *args)
{
    char said[800];
    report->end = end;
    snprintf(said, sizeof said, "%s%s%s", name, *args ? " " : "", args);
    string_copy(report->last, sizeof report->last, said);
}

static int over(struct replay *replay, enum script_status status, struct replay_report *report,
                struct error *error)
{
    int64_t left = journal_left(&replay->journal);
    if (!left) { /* it ended, or failed, where the record ends */
        say_last(report, status == SCRIPT_DONE ? REPLAY_DONE : REPLAY_FAILED,
                 status == SCRIPT_DONE ? "" : error->why, "");
        error_clear(error);
        return 0;
    }
    if (status == SCRIPT_FAILED)
        return error->code;
    return error_set(error, ERROR_FAILED, "replay", "compare the script with the journal",
                     "the script ends with %" PRId64 " entr%s left on record", left,
                     left == 1 ? "y" : "ies");
}

static int walk(struct replay *replay, struct replay_report *report, struct error *error)
{
    struct journal *journal = &replay->journal;
    const char *outcome = NULL;
    struct script_request request;
    struct journal_entry before;
    for (;;) {
        enum script_status status =
            replay->scripts->resume(replay->script, outcome, journal->cursor, &request, error);
        if (status != SCRIPT_AWAITS)
            return over(replay, status, report, error);
        enum journal_step step;
        if (restates(replay, &request, &before)) {
            if (replay->change->restated(replay->change->owner, &before, &request, error))
                return error->code;
            step = journal_pass(journal, &outcome);
        } else {
            step = journal_next(journal, &request, &outcome, error);
        }
        switch (step) {
        case JOURNAL_REPLAYED:
            report->replayed++;
            if (request.kind == REQUEST_RESTART) /* of an earlier segment: it ends here */
                return over(replay, SCRIPT_DONE, report, error);
            break;
        case JOURNAL_OPEN:
        case JOURNAL_NEW:
            error_clear(error);
            say_last(report, step == JOURNAL_OPEN ? REPLAY_WAITS : REPLAY_ASKS, request.name,
                     request.args);
            return 0;
        case JOURNAL_DIVERGED: return error->code;
        }
    }
}

static int replay(struct replay *replay, const struct run_record *record,
                  struct replay_report *report, struct error *error)
{
    struct logbook *logbook = replay->pinned.logbook;
    const struct replay_change *change = replay->change;
    struct cell_facts cell = {0};
    *report = (struct replay_report){0};
    if ((record->cell && facts_of_cell(logbook, record->cell_label, &cell, error)) ||
        pinned_open(&replay->pinned, replay->scripts, record, &cell, &replay->script, error) ||
        journal_load(&replay->journal, logbook, record->id, record->segment, record->segment_at,
                     error))
        goto out;
    report->entries = journal_left(&replay->journal);
    if (change)
        journal_put(&replay->journal, change->n, change->outcome);
    walk(replay, report, error);
out:
    if (replay->script)
        replay->scripts->close(replay->script);
    journal_free(&replay->journal);
    return error->code;
}

int replay_dry(struct logbook *logbook, const struct script_ops *scripts, int64_t run,
               const struct replay_text *with, struct replay_report *report, struct error *error)
{
    struct run_record record = {0};
    struct replay all = {.pinned = {logbook, run, with}, .scripts = scripts};

    error_clear(error);
    *report = (struct replay_report){0};
    if (!logbook_run(logbook, run, &record, error))
        replay(&all, &record, report, error);
    run_record_free(&record);
    return error->code;
}

int replay_changed(struct logbook *logbook, const struct script_ops *scripts,
                   const struct run_record *record, int segment, const struct replay_change *change,
                   struct replay_report *report, struct error *error)
{
    struct run_record as_it_was = *record; /* borrows; owns no state */
    char *state = NULL;
    struct replay all = {
        .pinned = {logbook, record->id, NULL}, .scripts = scripts, .change = change};

    error_clear(error);
    *report = (struct replay_report){0};
    if (segment != record->segment) {
        if (logbook_segment_began(logbook, record->id, segment, &state, &as_it_was.segment_at,
                                  error))
            return error->code;
        as_it_was.segment = segment;
        as_it_was.segment_state = state;
    }
    replay(&all, &as_it_was, report, error);
    free(state);
    return error->code;
}
