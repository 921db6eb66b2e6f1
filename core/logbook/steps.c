/* Steps: what was to be done, and what it has come to. Samples come in in arriving.c. */
#include <stdlib.h>

#include "logbook/staging.h"
#include "logbook/steps.h"

int logbook_add_step(struct logbook *logbook, struct step_record *record, struct error *error)
{
    int failed =
        SQL(logbook, error,
            "INSERT INTO step (run, segment, n, cell, channel, kind, how, plan, started_at) "
            "VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, coalesce(?8, '{}'), ?9)",
            V_INT(record->run), V_INT(record->segment), V_INT(record->n), V_ID(record->cell),
            V_TEXT(record->channel), V_TEXT(record->kind), V_TEXT(record->how),
            V_TEXT(record->plan), V_INT(record->started_at));

    if (!failed)
        record->id = sqlite3_last_insert_rowid(logbook->db);
    return failed;
}

int logbook_move_step(struct logbook *logbook, int64_t step, utc_us started_at, struct error *error)
{
    return SQL(logbook, error,
               "UPDATE step SET started_at = ?2 WHERE id = ?1 "
               "AND NOT EXISTS (SELECT 1 FROM outcome WHERE step = ?1)",
               V_INT(step), V_INT(started_at));
}

/* The columns' values in their places: bound alike by both statements. */
#define OUTCOME_VALUES                                                                             \
    V_INT(step), V_INT(at), V_ID(ended_at), V_INT(samples), V_REAL(sums->charge),                  \
        V_REAL(sums->energy), V_REAL(sums->duration), V_REAL(sums->first_voltage),                 \
        V_REAL(sums->last_voltage), V_REAL(sums->mean_voltage), V_REAL(sums->mid_voltage),         \
        V_REAL(sums->peak_voltage), V_REAL(sums->max_temperature), V_REAL(sums->resistance),       \
        V_INT(sums->gaps), V_REAL(isnan(sums->gap_time) ? 0.0 : sums->gap_time),                   \
        V_TEXT(sums->ended_by), V_TEXT(sums->quality), V_TEXT(progress)

/* `ended_at` 0 while the step is open. It has its row from its first checkpoint on, and one every
 * second from then: so that is tried first. */
static int set_outcome(struct logbook *logbook, int64_t step, const struct step_sums *sums,
                       const char *progress, utc_us at, utc_us ended_at, struct error *error)
{
    int64_t samples;
    int failed = staging_count(logbook, step, &samples, error);

    if (!failed)
        failed = SQL(logbook, error,
                     "UPDATE outcome SET at = ?2, ended_at = ?3, samples = ?4, charge = ?5, "
                     "energy = ?6, duration = ?7, first_voltage = ?8, last_voltage = ?9, "
                     "mean_voltage = ?10, mid_voltage = ?11, peak_voltage = ?12, "
                     "max_temperature = ?13, resistance = ?14, gaps = ?15, gap_time = ?16, "
                     "ended_by = ?17, quality = ?18, progress = ?19 "
                     "WHERE step = ?1 AND ended_at IS NULL",
                     OUTCOME_VALUES);
    if (failed || sqlite3_changes(logbook->db) == 1)
        return failed;
    failed = SQL(logbook, error,
                 "INSERT INTO outcome (step, at, ended_at, samples, charge, energy, duration, "
                 "first_voltage, last_voltage, mean_voltage, mid_voltage, peak_voltage, "
                 "max_temperature, resistance, gaps, gap_time, ended_by, quality, progress) "
                 "VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, "
                 "?17, ?18, ?19) ON CONFLICT DO NOTHING",
                 OUTCOME_VALUES);
    if (!failed && sqlite3_changes(logbook->db) != 1)
        failed =
            error_set(error, ERROR_INTERNAL, logbook->path, "report this as a fault of Perdure",
                      "step %lld has ended and something still works on it", (long long)step);
    return failed;
}

int logbook_checkpoint_step(struct logbook *logbook, int64_t step, const struct step_sums *sums,
                            const char *progress, utc_us at, struct error *error)
{
    return set_outcome(logbook, step, sums, progress, at, 0, error);
}

int logbook_end_step(struct logbook *logbook, int64_t step, const struct step_sums *sums, utc_us at,
                     struct error *error)
{
    int failed = set_outcome(logbook, step, sums, NULL, at, at, error);

    if (!failed)
        staging_end(logbook, step);
    return failed;
}

/* The open steps of a run, oldest first: ended one by one, so that what is staged hears of it. */
int logbook_stop_open_steps(struct logbook *logbook, int64_t run, utc_us at, struct error *error)
{
    int64_t step = 0, samples;

    for (;;) {
        int failed = NUMBER(logbook, error, &step,
                            "SELECT id FROM step LEFT JOIN outcome ON outcome.step = id "
                            "WHERE run = ?1 AND ended_at IS NULL AND id > ?2 ORDER BY id LIMIT 1",
                            V_INT(run), V_INT(step));
        if (failed || step == 0)
            return failed;
        failed = staging_count(logbook, step, &samples, error);
        if (failed)
            return failed;
        failed = SQL(logbook, error,
                     "INSERT INTO outcome (step, at, ended_at, samples, gaps, gap_time, ended_by, "
                     "quality) VALUES (?1, ?2, ?2, ?3, 0, 0, 'stopped', 'void') "
                     "ON CONFLICT (step) DO UPDATE SET ended_at = ?2, samples = ?3, "
                     "ended_by = 'stopped', "
                     "quality = 'void', progress = NULL",
                     V_INT(step), V_INT(at), V_INT(samples));
        if (failed)
            return failed;
        staging_end(logbook, step);
    }
}

int logbook_open_step(struct logbook *logbook, int64_t run, int segment, int64_t n, int64_t *step,
                      utc_us *started_at, char **progress, utc_us *checkpoint_at,
                      struct error *error)
{
    sqlite3_stmt *stmt;
    bool row = false;
    int failed = QUERY(logbook, error, &stmt,
                       "SELECT id, started_at, progress, at FROM step LEFT JOIN outcome "
                       "ON outcome.step = step.id WHERE run = ?1 AND segment = ?2 AND n = ?3 "
                       "AND ended_at IS NULL ORDER BY id DESC LIMIT 1",
                       V_INT(run), V_INT(segment), V_INT(n));

    *step = *started_at = *checkpoint_at = 0;
    *progress = NULL;
    if (!failed)
        failed = sql_row(logbook, error, stmt, &row);
    if (row) {
        *step = sqlite3_column_int64(stmt, 0);
        *started_at = sqlite3_column_int64(stmt, 1);
        *progress = column_copy(stmt, 2);
        *checkpoint_at = sqlite3_column_int64(stmt, 3);
    }
    sql_done(stmt);
    return failed;
}

int logbook_add_gap(struct logbook *logbook, int64_t step, utc_us from, utc_us to, const char *why,
                    struct error *error)
{
    return SQL(logbook, error,
               "INSERT INTO gap (step, from_at, to_at, why) VALUES (?1, ?2, ?3, ?4) "
               "ON CONFLICT DO NOTHING",
               V_INT(step), V_INT(from), V_INT(to), V_TEXT(why));
}

/* --- samples, for reading ------------------------------------------------------------------- */

static int visit_rows(struct logbook *logbook, const char *sql, int64_t step, int64_t *next,
                      sample_visit *visit, void *context, bool *stopped, struct error *error)
{
    sqlite3_stmt *stmt = NULL;
    bool row = false;
    int failed = sql_visit(logbook, error, sql, &stmt);

    if (failed)
        return failed;
    sql_bind(stmt, VALUES(V_INT(step), V_INT(*next)));
    while (!*stopped && (failed = sql_row(logbook, error, stmt, &row)) == 0 && row) {
        struct sample sample = {
            .t_us = sqlite3_column_int64(stmt, 1),
            .voltage = (double)sqlite3_column_int64(stmt, 2) / 1e6,
            .current = (double)sqlite3_column_int64(stmt, 3) / 1e6,
            .temperature = column_real(stmt, 4) / 1e3,
        };
        int64_t k = sqlite3_column_int64(stmt, 0);
        *next = k + 1;
        *stopped = visit(context, k, &sample) != 0;
    }
    sql_visited(logbook, sql, stmt);
    return failed;
}

int logbook_samples(struct logbook *logbook, int64_t step, sample_visit *visit, void *context,
                    struct error *error)
{
    bool stopped = false;
    int64_t next = 0;
    bool began = false;
    int failed = sql_look(logbook, &began, error); /* whatever is moved meanwhile */

    if (!failed)
        failed = visit_rows(logbook,
                            "SELECT k, microsecond, microvolt, microampere, millidegree "
                            "FROM sample WHERE step = ?1 AND k >= ?2 ORDER BY k",
                            step, &next, visit, context, &stopped, error);
    if (!failed && !stopped)
        failed = visit_rows(logbook,
                            "SELECT k, microsecond, microvolt, microampere, millidegree "
                            "FROM recent WHERE step = ?1 AND k >= ?2 ORDER BY row",
                            step, &next, visit, context, &stopped, error);
    sql_looked(logbook, began);
    return failed;
}
