/* Samples come in: made integer, and put into `recent` or, a long batch, straight into `sample`. */
#include "logbook/staging.h"
#include "logbook/steps.h"

/* --- rows ----------------------------------------------------------------------------------- */

static bool to_micro(double value, int64_t *micro)
{
    if (!(fabs(value) < 1e9))
        return false;
    *micro = llround(value * 1e6);
    return true;
}

static int to_row(struct logbook *logbook, int64_t step, const struct sample *sample,
                  struct staged *row, struct error *error)
{
    bool cold = isnan(sample->temperature);

    if (!to_micro(sample->voltage, &row->microvolt) ||
        !to_micro(sample->current, &row->microampere) ||
        (!cold && !(fabs(sample->temperature) < 1e6)))
        return error_set(error, ERROR_INTERNAL, logbook->path, "report this as a fault of Perdure",
                         "a sample of step %lld is not a possible value: %g V, %g A, %g degC",
                         (long long)step, sample->voltage, sample->current, sample->temperature);
    row->microsecond = sample->t_us;
    row->millidegree = cold ? NO_TEMPERATURE : (int32_t)lround(sample->temperature * 1e3);
    return 0;
}

/* Runs "INSERT ... VALUES (step, k, microsecond, microvolt, microampere, millidegree)" once. */
static int insert(struct logbook *logbook, sqlite3_stmt *stmt, int64_t step, int64_t k,
                  const struct staged *row, struct error *error)
{
    int code;

    sqlite3_bind_int64(stmt, 1, step);
    sqlite3_bind_int64(stmt, 2, k);
    sqlite3_bind_int64(stmt, 3, row->microsecond);
    sqlite3_bind_int64(stmt, 4, row->microvolt);
    sqlite3_bind_int64(stmt, 5, row->microampere);
    if (row->millidegree == NO_TEMPERATURE)
        sqlite3_bind_null(stmt, 6);
    else
        sqlite3_bind_int(stmt, 6, row->millidegree);
    code = sqlite3_step(stmt);
    sqlite3_reset(stmt);
    return code == SQLITE_DONE ? 0 : sql_error(logbook->db, logbook->path, error);
}

static int into_sample(struct logbook *logbook, sqlite3_stmt **stmt, struct error *error)
{
    return sql_statement(logbook, error, "INSERT INTO sample VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
                         stmt);
}

/* --- into the tables ------------------------------------------------------------------------ */

int staging_place(struct logbook *logbook, const struct waiting *waiting, struct error *error)
{
    sqlite3_stmt *stmt;
    int failed = into_sample(logbook, &stmt, error);

    for (int i = 0; i < waiting->count && !failed; i++)
        failed =
            insert(logbook, stmt, waiting->step, waiting->first_k + i, &waiting->rows[i], error);
    return failed;
}

void staging_placed(struct waiting *waiting)
{
    waiting->first_k += waiting->count;
    waiting->count = 0;
}

static int add_directly(struct logbook *logbook, struct waiting *waiting,
                        const struct sample *samples, int count, struct error *error)
{
    sqlite3_stmt *stmt;
    struct staged row;
    int failed = into_sample(logbook, &stmt, error);

    for (int i = 0; i < count && !failed; i++) {
        failed = to_row(logbook, waiting->step, &samples[i], &row, error);
        if (!failed)
            failed = insert(logbook, stmt, waiting->step, waiting->first_k, &row, error);
        if (!failed)
            waiting->first_k++;
    }
    return failed;
}

static int add_to_recent(struct logbook *logbook, struct waiting *waiting,
                         const struct sample *samples, int count, struct error *error)
{
    sqlite3_stmt *stmt;
    struct staged row;
    int failed = sql_statement(logbook, error,
                               "INSERT INTO recent VALUES (NULL, ?1, ?2, ?3, ?4, ?5, ?6)", &stmt);

    for (int i = 0; i < count && !failed; i++) {
        failed = to_row(logbook, waiting->step, &samples[i], &row, error);
        if (!failed)
            failed = insert(logbook, stmt, waiting->step, waiting->first_k + waiting->count, &row,
                            error);
        if (!failed)
            staging_push(logbook->staging, waiting, &row, sqlite3_last_insert_rowid(logbook->db));
    }
    return failed;
}

int logbook_add_samples(struct logbook *logbook, int64_t step, int64_t k,
                        const struct sample *samples, int count, struct error *error)
{
    struct waiting *waiting;
    int failed = sql_may_write(logbook, error);

    if (!failed)
        failed = staging_step(logbook, step, &waiting, error);
    if (failed)
        return failed;
    if (waiting->ended)
        return error_set(error, ERROR_INTERNAL, logbook->path, "report this as a fault of Perdure",
                         "samples came in for step %lld after its end", (long long)step);
    if (k != waiting->first_k + waiting->count)
        return error_set(error, ERROR_INTERNAL, logbook->path, "report this as a fault of Perdure",
                         "sample %lld of step %lld came in where %lld was due", (long long)k,
                         (long long)step, (long long)(waiting->first_k + waiting->count));
    if (waiting->count > 0 && (count >= STAGING_LONG || waiting->count + count > STAGING_MOST)) {
        failed = staging_place(logbook, waiting, error);
        if (failed)
            return failed;
        staging_placed(waiting);
    }
    return count >= STAGING_LONG ? add_directly(logbook, waiting, samples, count, error)
                                 : add_to_recent(logbook, waiting, samples, count, error);
}
