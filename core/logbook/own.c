/* What the engine asks on its own account, and what it knows of where a cell is. */
#include "base/text.h"
#include "logbook/logbook_internal.h"
#include "logbook/runs.h"

int logbook_journal_own(struct logbook *logbook, int64_t run, int segment,
                        const struct journal_entry *entry, int64_t *n, struct error *error)
{
    int64_t before;
    int failed = NUMBER(logbook, error, &before,
                        "SELECT count(*) FROM journal WHERE run = ?1 AND segment = ?2 AND n < 1",
                        V_INT(run), V_INT(segment));

    *n = -before;
    return failed ? failed
                  : SQL(logbook, error,
                        "INSERT INTO journal (run, segment, n, name, args, intent_at) "
                        "VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
                        V_INT(run), V_INT(segment), V_INT(*n), V_TEXT(entry->name),
                        V_TEXT(entry->args), V_INT(entry->intent_at));
}

int logbook_journal_own_open(struct logbook *logbook, int64_t run, int segment, int64_t *n,
                             struct error *error)
{
    return NUMBER(logbook, error, n,
                  "SELECT coalesce(min(n), 1) FROM journal "
                  "WHERE run = ?1 AND segment = ?2 AND n < 1 AND outcome IS NULL",
                  V_INT(run), V_INT(segment));
}

/* A run that never began may have had its cell put in all the same, so it counts as well: by when
 * its question was put. */
#define SINCE                                                                                      \
    "coalesce(r.started_at, (SELECT intent_at FROM journal WHERE run = r.id AND n = 0 "            \
    "AND segment = 0))"

int logbook_where_is_cell(struct logbook *logbook, int64_t run, char channel[32],
                          struct error *error)
{
    sqlite3_stmt *stmt;
    bool row = false;
    int failed = QUERY(
        logbook, error, &stmt,
        "WITH last AS (SELECT r.id, r.cell, r.channel, r.started_at, " SINCE " AS since "
        "  FROM run AS self JOIN run AS r ON r.cell = self.cell "
        "  WHERE self.id = ?1 AND r.id <> ?1 AND since IS NOT NULL "
        "  ORDER BY since DESC, r.id DESC LIMIT 1) "
        "SELECT channel FROM last WHERE started_at IS NOT NULL "
        "AND NOT EXISTS (SELECT 1 FROM run AS r WHERE r.channel = last.channel "
        "                AND r.cell <> last.cell AND (" SINCE ", r.id) > (last.since, last.id)) "
        "AND NOT EXISTS (SELECT 1 FROM placement WHERE placement.cell = last.cell "
        "                AND kind <> 'arm' AND at >= last.since)",
        V_INT(run));

    channel[0] = '\0';
    if (!failed)
        failed = sql_row(logbook, error, stmt, &row);
    if (row)
        string_copy(channel, 32, column_string(stmt, 0));
    sql_done(stmt);
    return failed;
}

int logbook_cell_is_placed(struct logbook *logbook, int64_t run, bool *placed, struct error *error)
{
    int64_t yes = 0;
    int failed = NUMBER(logbook, error, &yes,
                        "SELECT json_extract(args, '$.placed') FROM run JOIN journal "
                        "ON journal.run = parent AND journal.segment = parent_segment "
                        "AND n = parent_n WHERE run.id = ?1",
                        V_INT(run));

    *placed = yes != 0;
    return failed;
}
