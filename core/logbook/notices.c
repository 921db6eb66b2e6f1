/* What the outside was told of. */
#include "logbook/notices.h"

#include "base/text.h"
#include "logbook/logbook_internal.h"

int logbook_add_notice(struct logbook *logbook, const struct notice_key *key, utc_us at,
                       bool *untold, struct error *error)
{
    int64_t told = 0;
    int failed =
        SQL(logbook, error,
            "INSERT INTO notice (run, segment, n, what, at) VALUES (?1, ?2, ?3, ?4, ?5) "
            "ON CONFLICT DO NOTHING",
            V_INT(key->run), V_INT(key->segment), V_INT(key->n), V_TEXT(key->what), V_INT(at));

    if (!failed)
        failed = NUMBER(logbook, error, &told,
                        "SELECT came_of <> '' FROM notice "
                        "WHERE run = ?1 AND segment = ?2 AND n = ?3 AND what = ?4",
                        V_INT(key->run), V_INT(key->segment), V_INT(key->n), V_TEXT(key->what));
    *untold = !failed && !told;
    return failed;
}

int logbook_notice_came_of(struct logbook *logbook, const struct notice_key *key,
                           const char *came_of, struct error *error)
{
    return SQL(logbook, error,
               "UPDATE notice SET came_of = ?5 "
               "WHERE run = ?1 AND segment = ?2 AND n = ?3 AND what = ?4 AND came_of = ''",
               V_INT(key->run), V_INT(key->segment), V_INT(key->n), V_TEXT(key->what),
               V_TEXT(came_of));
}

int logbook_close_notices(struct logbook *logbook, const char *came_of, struct error *error)
{
    return SQL(logbook, error,
               "UPDATE notice SET came_of = ?1 WHERE came_of = '' AND EXISTS "
               "(SELECT 1 FROM journal WHERE journal.run = notice.run "
               "AND journal.segment = notice.segment AND journal.n = notice.n "
               "AND outcome IS NOT NULL)",
               V_TEXT(came_of));
}

int logbook_question_text(struct logbook *logbook, int64_t question, char **text,
                          struct error *error)
{
    sqlite3_stmt *stmt;
    bool row = false;
    int failed =
        QUERY(logbook, error, &stmt, "SELECT text FROM question WHERE id = ?1", V_INT(question));

    *text = NULL;
    if (!failed)
        failed = sql_row(logbook, error, stmt, &row);
    if (row)
        *text = column_copy(stmt, 0);
    sql_done(stmt);
    if (!failed && *text == NULL)
        *text = xstrdup("");
    return failed;
}
