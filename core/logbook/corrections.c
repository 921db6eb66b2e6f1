/* What follows from an answer, replaced by what follows from its correction. */
#include "logbook/corrections.h"

#include <stdlib.h>

#include "base/text.h"
#include "logbook/logbook_internal.h"

/* --- reading -------------------------------------------------------------------------------- */

static int no_question(int64_t question, struct error *error)
{
    char what[32];
    snprintf(what, sizeof what, "question %lld", (long long)question);
    return error_set(error, ERROR_FAILED, what, "list the open ones with `perdure attend`",
                     "there is no such question on record");
}

int logbook_answered(struct logbook *logbook, int64_t question, struct answered *out,
                     struct error *error)
{
    sqlite3_stmt *stmt;
    bool row = false;
    /* Of sessions that began in one instant of a virtual clock the last one did the work. */
    int failed = QUERY(
        logbook, error, &stmt,
        "SELECT question.run, question.segment, question.n, journal.name, outcome, outcome_at, "
        "(SELECT answer FROM answer WHERE question = question.id ORDER BY id DESC LIMIT 1), "
        "step.id, step.kind, "
        "(SELECT accuracy FROM session_channel JOIN session ON session.id = session "
        "WHERE session_channel.channel = step.channel AND began_at <= outcome_at "
        "ORDER BY session.id DESC LIMIT 1), asked_at "
        "FROM question JOIN journal USING (run, segment, n) LEFT JOIN step ON step.id = "
        "(SELECT max(id) FROM step AS of_entry WHERE of_entry.run = question.run "
        "AND of_entry.segment = question.segment AND of_entry.n = question.n) "
        "WHERE question.id = ?1",
        V_INT(question));

    *out = (struct answered){.question = question};
    if (!failed)
        failed = sql_row(logbook, error, stmt, &row);
    if (row) {
        out->run = sqlite3_column_int64(stmt, 0);
        out->segment = sqlite3_column_int(stmt, 1);
        out->n = sqlite3_column_int64(stmt, 2);
        string_copy(out->name, sizeof out->name, column_string(stmt, 3));
        out->outcome = column_copy(stmt, 4);
        out->outcome_at = sqlite3_column_int64(stmt, 5);
        out->answer = column_copy(stmt, 6);
        out->step = sqlite3_column_int64(stmt, 7);
        string_copy(out->kind, sizeof out->kind, column_string(stmt, 8));
        out->accuracy = column_copy(stmt, 9);
        out->asked_at = sqlite3_column_int64(stmt, 10);
    }
    sql_done(stmt);
    return failed || row ? failed : no_question(question, error);
}

void answered_free(struct answered *answered)
{
    free(answered->answer);
    free(answered->outcome);
    free(answered->accuracy);
    *answered = (struct answered){0};
}

int logbook_segment_began(struct logbook *logbook, int64_t run, int segment, char **state,
                          utc_us *at, struct error *error)
{
    sqlite3_stmt *stmt;
    bool row = false;
    int failed = QUERY(logbook, error, &stmt,
                       "SELECT started_at, NULL FROM run WHERE id = ?1 AND ?2 = 0 UNION ALL "
                       "SELECT outcome_at, args -> '$.state' FROM (SELECT outcome_at, args FROM "
                       "journal WHERE run = ?1 AND segment = ?2 - 1 ORDER BY n DESC LIMIT 1)",
                       V_INT(run), V_INT(segment));

    *state = NULL;
    if (!failed)
        failed = sql_row(logbook, error, stmt, &row);
    if (row) {
        *at = sqlite3_column_int64(stmt, 0);
        *state = column_copy(stmt, 1);
    }
    sql_done(stmt);
    if (!failed && (!row || (segment > 0 && !*state)))
        failed =
            error_set(error, ERROR_INTERNAL, logbook->path, "report this as a fault of Perdure",
                      "nothing tells how segment %d of run %lld began", segment, (long long)run);
    return failed;
}

int logbook_journal_is_done(struct logbook *logbook, int64_t run, int segment, int64_t n,
                            bool *done, struct error *error)
{
    int64_t count = 0;
    int failed = NUMBER(logbook, error, &count,
                        "SELECT count(*) FROM journal WHERE run = ?1 AND segment = ?2 AND n = ?3 "
                        "AND outcome IS NOT NULL",
                        V_INT(run), V_INT(segment), V_INT(n));

    *done = count > 0;
    return failed;
}

/* --- replacing ------------------------------------------------------------------------------ */

static int one_row(struct logbook *logbook, int failed, const char *what, struct error *error)
{
    if (failed || sqlite3_changes(logbook->db) == 1)
        return failed;
    return error_set(error, ERROR_INTERNAL, logbook->path, "report this as a fault of Perdure",
                     "there is no %s to be corrected", what);
}

int logbook_correct_outcome(struct logbook *logbook, int64_t run, int segment, int64_t n,
                            const char *outcome, struct error *error)
{
    int failed = SQL(logbook, error,
                     "UPDATE journal SET outcome = ?4 "
                     "WHERE run = ?1 AND segment = ?2 AND n = ?3 AND outcome IS NOT NULL",
                     V_INT(run), V_INT(segment), V_INT(n), V_TEXT(outcome));

    return one_row(logbook, failed, "outcome", error);
}

int logbook_correct_args(struct logbook *logbook, int64_t run, int segment, int64_t n,
                         const char *args, struct error *error)
{
    int failed = SQL(logbook, error,
                     "UPDATE journal SET args = ?4 "
                     "WHERE run = ?1 AND segment = ?2 AND n = ?3 AND outcome IS NOT NULL",
                     V_INT(run), V_INT(segment), V_INT(n), V_TEXT(args));

    return one_row(logbook, failed, "journal entry", error);
}

int logbook_correct_step(struct logbook *logbook, int64_t step, const struct step_sums *sums,
                         struct error *error)
{
    int failed =
        SQL(logbook, error,
            "UPDATE outcome SET charge = ?2, energy = ?3, duration = ?4, first_voltage = ?5, "
            "last_voltage = ?6, mean_voltage = ?7, mid_voltage = ?8, peak_voltage = ?9, "
            "max_temperature = ?10, resistance = ?11 WHERE step = ?1 AND ended_at IS NOT NULL",
            V_INT(step), V_REAL(sums->charge), V_REAL(sums->energy), V_REAL(sums->duration),
            V_REAL(sums->first_voltage), V_REAL(sums->last_voltage), V_REAL(sums->mean_voltage),
            V_REAL(sums->mid_voltage), V_REAL(sums->peak_voltage), V_REAL(sums->max_temperature),
            V_REAL(sums->resistance));

    return one_row(logbook, failed, "outcome of a step", error);
}

int logbook_step_times(struct logbook *logbook, int64_t step, utc_us *started, utc_us *ended,
                       struct error *error)
{
    return NUMBER(logbook, error, started, "SELECT started_at FROM step WHERE id = ?1",
                  V_INT(step)) ||
                   NUMBER(logbook, error, ended, "SELECT ended_at FROM outcome WHERE step = ?1",
                          V_INT(step))
               ? error->code
               : 0;
}

int logbook_correct_times(struct logbook *logbook, int64_t step, utc_us started, utc_us ended,
                          struct error *error)
{
    int failed = SQL(logbook, error, "UPDATE step SET started_at = ?2 WHERE id = ?1", V_INT(step),
                     V_INT(started));

    if (!failed)
        failed = SQL(logbook, error,
                     "UPDATE outcome SET ended_at = ?2 WHERE step = ?1 AND ended_at IS NOT NULL",
                     V_INT(step), V_INT(ended));
    return one_row(logbook, failed, "outcome of a step", error);
}

int logbook_correct_result(struct logbook *logbook, const struct result_record *result,
                           const char *flag, struct error *error)
{
    int failed =
        SQL(logbook, error,
            "UPDATE result SET value = ?4, unit = ?5, uncertainty = ?6, freedom = ?7, "
            "flags = CASE WHEN ?8 IS NULL OR ' ' || flags || ' ' LIKE '% ' || ?8 || ' %' "
            "THEN flags ELSE trim(flags || ' ' || ?8) END "
            "WHERE run = ?1 AND segment = ?2 AND n = ?3",
            V_INT(result->run), V_INT(result->segment), V_INT(result->n), V_REAL(result->value),
            V_TEXT(result->unit), V_REAL(result->uncertainty),
            V_REAL(result->freedom > 0 && isfinite(result->freedom) ? result->freedom : NAN),
            V_TEXT(flag));

    return one_row(logbook, failed, "result", error);
}
