/* Dry replay of one run's current segment. */
#include "engine/replay.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "base/random.h"
#include "engine/acts.h"
#include "engine/journal.h"

struct replay {
    struct logbook *logbook;
    int64_t run;
    const struct replay_text *with;
};

static int module_text(void *owner, const char *name, char **text, size_t *length,
                       struct error *error)
{
    const struct replay *replay = owner;
    if (replay->with) {
        const json_t *module = json_object_get(replay->with->modules, name);
        if (json_is_string(module)) {
            *text = xstrdup(json_string_value(module));
            *length = json_string_length(module);
            return 0;
        }
    }
    char hash[SHA256_HEX];
    if (logbook_run_module(replay->logbook, replay->run, name, hash, error))
        return error->code;
    return logbook_script(replay->logbook, hash, text, length, error);
}

static int walk(struct journal *journal, const struct script_ops *scripts, struct script *script,
                struct replay_report *report, struct error *error)
{
    const char *outcome = NULL;
    struct script_request request;
    for (;;) {
        enum script_status status =
            scripts->resume(script, outcome, journal->cursor, &request, error);
        if (status == SCRIPT_FAILED && journal_left(journal))
            return error->code;
        if (status != SCRIPT_AWAITS) {
            if (!journal_left(journal)) {
                error_clear(error); /* it ended, or failed, where the record ends */
                return 0;
            }
            return error_set(error, ERROR_FAILED, "replay", "compare the script with the journal",
                             "the script ends with %" PRId64 " entries left on record",
                             journal_left(journal));
        }
        switch (journal_next(journal, &request, &outcome, error)) {
        case JOURNAL_REPLAYED: report->replayed++; break;
        case JOURNAL_OPEN:
        case JOURNAL_NEW: error_clear(error); return 0;
        case JOURNAL_DIVERGED: return error->code;
        }
    }
}

int replay_dry(struct logbook *logbook, const struct script_ops *scripts, int64_t run,
               const struct replay_text *with, struct replay_report *report, struct error *error)
{
    struct run_record record = {0};
    struct replay replay = {logbook, run, with};
    struct journal journal = {0};
    struct script *script = NULL;
    struct cell_facts cell = {0};
    char *pinned = NULL, *cells = NULL;
    size_t length = 0;

    error_clear(error);
    *report = (struct replay_report){0};
    if (logbook_run(logbook, run, &record, error))
        return error->code;
    char part[48];
    snprintf(part, sizeof part, "segment %d", record.segment);
    if ((record.cell && facts_of_cell(logbook, record.cell_label, &cell, error)) ||
        (strcmp(record.kind, "study") == 0 && cells_of_study(logbook, run, &cells, error)) ||
        (!with && logbook_script(logbook, record.script_hash, &pinned, &length, error)))
        goto out;
    struct script_context context = {
        .name = with ? with->name : record.script_name,
        .text = with ? with->text : pinned,
        .length = with ? with->length : length,
        .params = record.params ? record.params : "{}",
        .state = record.segment_state,
        .seed = seed_for(record.seed, part),
        .cell = cell,
        .cells = cells,
        .module = module_text,
        .owner = &replay,
    };
    if (scripts->open(&script, &context, error) ||
        journal_load(&journal, logbook, run, record.segment, record.segment_at, error))
        goto out;
    report->entries = journal_left(&journal);
    walk(&journal, scripts, script, report, error);
out:
    if (script)
        scripts->close(script);
    journal_free(&journal);
    free(pinned);
    free(cells);
    run_record_free(&record);
    return error->code;
}
