/* Dry replay of one run's current segment. */
#include "engine/replay.h"

#include <inttypes.h>
#include <stdlib.h>

#include "engine/acts.h"
#include "engine/journal.h"

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
    struct pinned pinned = {logbook, run, with};
    struct journal journal = {0};
    struct script *script = NULL;
    struct cell_facts cell = {0};

    error_clear(error);
    *report = (struct replay_report){0};
    if (logbook_run(logbook, run, &record, error))
        return error->code;
    if ((record.cell && facts_of_cell(logbook, record.cell_label, &cell, error)) ||
        pinned_open(&pinned, scripts, &record, &cell, &script, error) ||
        journal_load(&journal, logbook, run, record.segment, record.segment_at, error))
        goto out;
    report->entries = journal_left(&journal);
    walk(&journal, scripts, script, report, error);
out:
    if (script)
        scripts->close(script);
    journal_free(&journal);
    run_record_free(&record);
    return error->code;
}
