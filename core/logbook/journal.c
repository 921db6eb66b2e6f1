/* The journal: intents and outcomes, numbered. */
#include "logbook/logbook_internal.h"
#include "logbook/runs.h"

int logbook_journal_intent(struct logbook *logbook, int64_t run, int segment,
                           const struct journal_entry *entry, struct error *error)
{
    int64_t last;
    int failed = NUMBER(logbook, error, &last,
                        "SELECT n FROM journal WHERE run = ?1 AND segment = ?2 "
                        "ORDER BY n DESC LIMIT 1",
                        V_INT(run), V_INT(segment));

    if (!failed && entry->n != last + 1)
        failed =
            error_set(error, ERROR_INTERNAL, logbook->path, "report this as a fault of Perdure",
                      "run %lld wants to write journal entry %lld where %lld is next",
                      (long long)run, (long long)entry->n, (long long)last + 1);
    if (failed)
        return failed;
    return SQL(logbook, error,
               "INSERT INTO journal (run, segment, n, name, args, intent_at, outcome, outcome_at) "
               "VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
               V_INT(run), V_INT(segment), V_INT(entry->n), V_TEXT(entry->name),
               V_TEXT(entry->args), V_INT(entry->intent_at), V_TEXT(entry->outcome),
               entry->outcome == NULL ? V_ID(0) : V_INT(entry->outcome_at));
}

int logbook_journal_outcome(struct logbook *logbook, int64_t run, int segment, int64_t n,
                            const char *outcome, utc_us at, struct error *error)
{
    int failed = SQL(logbook, error,
                     "UPDATE journal SET outcome = ?4, outcome_at = ?5 "
                     "WHERE run = ?1 AND segment = ?2 AND n = ?3 AND outcome IS NULL",
                     V_INT(run), V_INT(segment), V_INT(n), V_TEXT(outcome), V_INT(at));

    if (!failed && sqlite3_changes(logbook->db) != 1)
        failed =
            error_set(error, ERROR_INTERNAL, logbook->path, "report this as a fault of Perdure",
                      "journal entry %lld of run %lld is not waiting for an outcome", (long long)n,
                      (long long)run);
    return failed;
}

int logbook_journal_read(struct logbook *logbook, int64_t run, int segment, journal_visit *visit,
                         void *context, struct error *error)
{
    sqlite3_stmt *stmt = NULL;
    bool row = false;
    int failed = sql_prepare(logbook, error,
                             "SELECT n, name, args, intent_at, outcome, outcome_at FROM journal "
                             "WHERE run = ?1 AND segment = ?2 AND n >= 1 ORDER BY n",
                             &stmt);

    if (failed)
        return failed;
    sql_bind(stmt, VALUES(V_INT(run), V_INT(segment)));
    while ((failed = sql_row(logbook, error, stmt, &row)) == 0 && row) {
        struct journal_entry entry = {
            .n = sqlite3_column_int64(stmt, 0),
            .name = column_string(stmt, 1),
            .args = column_string(stmt, 2),
            .intent_at = sqlite3_column_int64(stmt, 3),
            .outcome = (const char *)sqlite3_column_text(stmt, 4),
            .outcome_at = sqlite3_column_int64(stmt, 5),
        };
        if (visit(context, &entry) != 0)
            break;
    }
    sqlite3_finalize(stmt);
    return failed;
}
