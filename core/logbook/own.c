/* What the engine asks on its own account, and what it knows of where a cell is. */
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

int logbook_cell_is_known(struct logbook *logbook, int64_t run, const char *channel, bool *known,
                          struct error *error)
{
    int64_t yes = 0;
    int failed = NUMBER(
        logbook, error, &yes,
        "WITH self AS (SELECT id, cell, parent, parent_segment, parent_n FROM run WHERE id = ?1), "
        "here AS (SELECT r.id, r.cell, r.started_at, " SINCE " AS since FROM run AS r "
        "  WHERE r.channel = ?2 AND r.id <> ?1 AND since IS NOT NULL "
        "  ORDER BY since DESC, r.id DESC LIMIT 1) "
        "SELECT EXISTS (SELECT 1 FROM self, here WHERE here.cell = self.cell "
        "    AND here.started_at IS NOT NULL "
        "    AND NOT EXISTS (SELECT 1 FROM run AS r WHERE r.cell = self.cell AND r.id <> ?1 "
        "                    AND r.channel <> ?2 AND " SINCE " >= here.since) "
        "    AND NOT EXISTS (SELECT 1 FROM placement WHERE placement.cell = self.cell "
        "                    AND kind <> 'arm' AND at >= here.since)) "
        "  OR EXISTS (SELECT 1 FROM self JOIN journal ON journal.run = self.parent "
        "    AND journal.segment = self.parent_segment AND journal.n = self.parent_n "
        "    WHERE json_extract(args, '$.placed'))",
        V_INT(run), V_TEXT(channel));

    *known = yes != 0;
    return failed;
}
