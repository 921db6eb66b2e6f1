/* Questions to people, and what they said. */
#include "logbook/facts.h"
#include "logbook/logbook_internal.h"

int logbook_add_question(struct logbook *logbook, struct question_record *question,
                         struct error *error)
{
    int failed = SQL(logbook, error,
                     "INSERT INTO question (run, segment, n, text, expects, asked_at) "
                     "VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
                     V_INT(question->run), V_INT(question->segment), V_INT(question->n),
                     V_TEXT(question->text), V_TEXT(question->expects), V_INT(question->asked_at));

    if (!failed)
        question->id = sqlite3_last_insert_rowid(logbook->db);
    return failed;
}

int logbook_question_expects(struct logbook *logbook, int64_t question, char **expects,
                             int *answers, struct error *error)
{
    sqlite3_stmt *stmt;
    bool row = false;
    int failed = QUERY(logbook, error, &stmt,
                       "SELECT expects, (SELECT count(*) FROM answer WHERE question = question.id) "
                       "FROM question WHERE id = ?1",
                       V_INT(question));

    *expects = NULL;
    if (!failed)
        failed = sql_row(logbook, error, stmt, &row);
    if (row) {
        *expects = column_copy(stmt, 0);
        *answers = sqlite3_column_int(stmt, 1);
    }
    sql_done(stmt);
    if (!failed && !row) {
        char what[32];
        snprintf(what, sizeof(what), "question %lld", (long long)question);
        return error_set(error, ERROR_FAILED, what, "list the open ones with `perdure attend`",
                         "there is no such question on record");
    }
    return failed;
}

int logbook_answer(struct logbook *logbook, int64_t question, const char *answer, const char *who,
                   utc_us at, struct error *error)
{
    char what[32];
    int64_t known;
    int failed =
        NUMBER(logbook, error, &known, "SELECT id FROM question WHERE id = ?1", V_INT(question));

    if (failed)
        return failed;
    snprintf(what, sizeof(what), "question %lld", (long long)question);
    if (known == 0)
        return error_set(error, ERROR_FAILED, what, "list the open ones with `perdure attend`",
                         "there is no such question on record");
    return SQL(logbook, error,
               "INSERT INTO answer (question, answer, who, at) VALUES (?1, ?2, ?3, ?4)",
               V_INT(question), V_TEXT(answer), V_TEXT(who), V_INT(at));
}

int logbook_question(struct logbook *logbook, int64_t run, int segment, int64_t n, int64_t *id,
                     char **answer, utc_us *at, struct error *error)
{
    sqlite3_stmt *stmt;
    bool row = false;
    int failed =
        QUERY(logbook, error, &stmt,
              "SELECT question.id, answer, at FROM question LEFT JOIN answer "
              "ON answer.question = question.id WHERE run = ?1 AND segment = ?2 AND n = ?3 "
              "ORDER BY answer.id DESC LIMIT 1",
              V_INT(run), V_INT(segment), V_INT(n));

    *id = *at = 0;
    *answer = NULL;
    if (!failed)
        failed = sql_row(logbook, error, stmt, &row);
    if (row) {
        *id = sqlite3_column_int64(stmt, 0);
        *answer = column_copy(stmt, 1);
        *at = sqlite3_column_int64(stmt, 2);
    }
    sql_done(stmt);
    return failed;
}
