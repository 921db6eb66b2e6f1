/* Results, events, sessions. */
#include <string.h>

#include "base/text.h"
#include "logbook/facts.h"
#include "logbook/logbook_internal.h"

/* The last step before the journal entry of a result. */
static int last_step(struct logbook *logbook, const struct result_record *result, int64_t *step,
                     struct error *error)
{
    return NUMBER(logbook, error, step,
                  "SELECT id FROM step WHERE run = ?1 AND (segment, n) < (?2, ?3) "
                  "ORDER BY segment DESC, n DESC, id DESC LIMIT 1",
                  V_INT(result->run), V_INT(result->segment), V_INT(result->n));
}

/* The flags of a result with its step's quality among them, unless that is good. */
static int join_quality(struct logbook *logbook, int64_t step, const char *flags,
                        struct text *joined, struct error *error)
{
    sqlite3_stmt *stmt;
    bool row = false;
    int failed =
        QUERY(logbook, error, &stmt,
              "SELECT quality FROM outcome WHERE step = ?1 AND quality <> 'good'", V_INT(step));

    text_add(joined, flags == NULL ? "" : flags);
    if (!failed)
        failed = sql_row(logbook, error, stmt, &row);
    if (row && strstr(joined->bytes, column_string(stmt, 0)) == NULL)
        text_addf(joined, "%s%s", joined->length > 0 ? " " : "", column_string(stmt, 0));
    sql_done(stmt);
    return failed;
}

int logbook_add_result(struct logbook *logbook, const struct result_record *result,
                       struct error *error)
{
    struct text flags = TEXT_EMPTY;
    int64_t step = result->step;
    int failed = 0;

    if (!isfinite(result->value))
        return error_set(error, ERROR_FAILED, result->name,
                         "record only what was measured: leave out what has no value",
                         "%g is not a value that can be put on record", result->value);
    if (step == 0)
        failed = last_step(logbook, result, &step, error);
    if (!failed)
        failed = join_quality(logbook, step, result->flags, &flags, error);
    if (!failed)
        failed =
            SQL(logbook, error,
                "INSERT INTO result (run, segment, n, cell, step, name, value, unit, "
                "uncertainty, freedom, how, flags, at) "
                "VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)",
                V_INT(result->run), V_INT(result->segment), V_INT(result->n), V_ID(result->cell),
                V_ID(step), V_TEXT(result->name), V_REAL(result->value), V_TEXT(result->unit),
                V_REAL(result->uncertainty),
                V_REAL(result->freedom > 0 && isfinite(result->freedom) ? result->freedom : NAN),
                V_TEXT(result->how), V_TEXT(flags.bytes), V_INT(result->at));
    text_free(&flags);
    return failed;
}

int logbook_add_event(struct logbook *logbook, utc_us at, int64_t run, int64_t step,
                      const char *level, const char *text, struct error *error)
{
    return SQL(logbook, error,
               "INSERT INTO event (at, run, step, level, text) VALUES (?1, ?2, ?3, ?4, ?5)",
               V_INT(at), V_ID(run), V_ID(step), V_TEXT(level), V_TEXT(text));
}

int logbook_add_session(struct logbook *logbook, utc_us at, const char *bench_name,
                        const char *bench_hash, const char *version, int64_t *id,
                        struct error *error)
{
    int failed = SQL(logbook, error,
                     "INSERT INTO session (began_at, bench_name, bench_hash, version) "
                     "VALUES (?1, ?2, ?3, ?4)",
                     V_INT(at), V_TEXT(bench_name), V_TEXT(bench_hash), V_TEXT(version));

    *id = failed ? 0 : sqlite3_last_insert_rowid(logbook->db);
    return failed;
}

int logbook_set_session_channel(struct logbook *logbook, const struct session_channel *channel,
                                struct error *error)
{
    return SQL(logbook, error,
               "INSERT INTO session_channel (session, channel, how, accuracy, instruments) "
               "VALUES (?1, ?2, ?3, ?4, ?5) ON CONFLICT (session, channel) DO UPDATE SET "
               "how = ?3, accuracy = ?4, instruments = ?5",
               V_INT(channel->session), V_TEXT(channel->channel), V_TEXT(channel->how),
               V_TEXT(channel->accuracy), V_TEXT(channel->instruments));
}

int logbook_channel_count(struct logbook *logbook, int64_t *count, struct error *error)
{
    return NUMBER(logbook, error, count,
                  "SELECT count(*) FROM session_channel "
                  "WHERE session = (SELECT max(session) FROM session_channel WHERE session < ?1)",
                  V_INT(INT64_MAX));
}

int logbook_end_session(struct logbook *logbook, int64_t id, utc_us at, const char *why,
                        struct error *error)
{
    int failed = SQL(logbook, error,
                     "UPDATE session SET ended_at = ?2, ended_why = ?3 "
                     "WHERE id = ?1 AND ended_at IS NULL",
                     V_INT(id), V_INT(at), V_TEXT(why));

    if (!failed && sqlite3_changes(logbook->db) != 1)
        failed =
            error_set(error, ERROR_INTERNAL, logbook->path, "report this as a fault of Perdure",
                      "there is no session %lld to be ended", (long long)id);
    return failed;
}
