/* Samples come in, wait in `recent`, and are moved to their place. */
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "logbook/staging.h"
#include "logbook/steps.h"

#define MOVE_ROWS   256   /* a step with so many waiting is moved; a batch so long is not staged */
#define MOST_ROWS   448   /* and with so many it is moved at once: 14 kB of memory a step at most */
#define GROUP_ROWS  4096  /* about so many in one move, to keep it short */
#define REMOVE_ROWS 8192  /* at most so many are removed from the front in one move */
#define WINDOW_ROWS 65536 /* rows may wait behind so many later ones (or MOST_ROWS a step) */

#define NO_TEMPERATURE INT32_MIN

struct row {
    int64_t microsecond, microvolt, microampere;
    int32_t millidegree;
};

/* The samples of one step that are not in `sample` yet. */
struct waiting {
    int64_t step;
    int64_t first_k;   /* so many have been moved */
    int64_t first_row; /* where the first that waits is in `recent` */
    int count, room;
    bool ended;
    struct row *rows;
};

struct staging {
    struct waiting *steps; /* by id */
    int count, room;
    int64_t oldest_row, next_row; /* of `recent`; equal when it is empty */
    bool current;
};

/* --- rows ----------------------------------------------------------------------------------- */

static bool to_micro(double value, int64_t *micro)
{
    if (!(fabs(value) < 1e9))
        return false;
    *micro = llround(value * 1e6);
    return true;
}

static int to_row(struct logbook *logbook, int64_t step, const struct sample *sample,
                  struct row *row, struct error *error)
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
                  const struct row *row, struct error *error)
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

/* --- the steps in memory -------------------------------------------------------------------- */

/* Where the step is, or where it would be put. */
static int place_of(const struct staging *staging, int64_t step)
{
    int low = 0, high = staging->count;

    while (low < high) {
        int middle = (low + high) / 2;
        if (staging->steps[middle].step < step)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

static struct waiting *find(const struct staging *staging, int64_t step)
{
    int at = place_of(staging, step);

    return at < staging->count && staging->steps[at].step == step ? &staging->steps[at] : NULL;
}

static void forget_step(struct staging *staging, struct waiting *waiting)
{
    int at = (int)(waiting - staging->steps);

    free(waiting->rows);
    staging->count--;
    memmove(waiting, waiting + 1, (size_t)(staging->count - at) * sizeof(*waiting));
}

static void push(struct waiting *waiting, const struct row *row, int64_t recent_row)
{
    if (waiting->count == waiting->room) {
        waiting->room = waiting->room == 0 ? 8 : 2 * waiting->room;
        if (waiting->room > MOST_ROWS)
            waiting->room = MOST_ROWS;
        if (waiting->room <= waiting->count) /* more in the file than this version would leave */
            waiting->room = 2 * waiting->count;
        waiting->rows = xrealloc(waiting->rows, (size_t)waiting->room * sizeof(*waiting->rows));
    }
    if (waiting->count == 0)
        waiting->first_row = recent_row;
    waiting->rows[waiting->count++] = *row;
}

static int count_moved(struct logbook *logbook, int64_t step, int64_t *count, struct error *error)
{
    return NUMBER(logbook, error, count,
                  "SELECT k + 1 FROM sample WHERE step = ?1 ORDER BY k DESC LIMIT 1", V_INT(step));
}

/* Takes a step into memory that is not yet there. */
static int remember(struct logbook *logbook, int64_t step, struct waiting **out,
                    struct error *error)
{
    struct staging *staging = logbook->staging;
    struct waiting new = {.step = step};
    int64_t open;
    int at;
    int failed = NUMBER(logbook, error, &open,
                        "SELECT CASE WHEN ended_at IS NULL THEN 1 ELSE 2 END "
                        "FROM step LEFT JOIN outcome ON step = id WHERE id = ?1",
                        V_INT(step));

    if (!failed && open == 0)
        failed =
            error_set(error, ERROR_INTERNAL, logbook->path, "report this as a fault of Perdure",
                      "there are samples of step %lld, which is not on record", (long long)step);
    if (!failed)
        failed = count_moved(logbook, step, &new.first_k, error);
    if (failed)
        return failed;
    new.ended = open == 2;
    if (staging->count == staging->room) {
        staging->room = staging->room == 0 ? 16 : 2 * staging->room;
        staging->steps = xrealloc(staging->steps, (size_t)staging->room * sizeof(new));
    }
    at = place_of(staging, step);
    memmove(&staging->steps[at + 1], &staging->steps[at],
            (size_t)(staging->count - at) * sizeof(new));
    staging->steps[at] = new;
    staging->count++;
    *out = &staging->steps[at];
    return 0;
}

static void clear(struct staging *staging)
{
    for (int i = 0; i < staging->count; i++)
        free(staging->steps[i].rows);
    staging->count = 0;
    staging->oldest_row = staging->next_row = 1;
}

/* One row of `recent`, from the file. */
static int load_row(struct logbook *logbook, sqlite3_stmt *stmt, struct error *error)
{
    struct staging *staging = logbook->staging;
    int64_t recent_row = sqlite3_column_int64(stmt, 0);
    int64_t step = sqlite3_column_int64(stmt, 1);
    int64_t k = sqlite3_column_int64(stmt, 2);
    struct row row = {.microsecond = sqlite3_column_int64(stmt, 3),
                      .microvolt = sqlite3_column_int64(stmt, 4),
                      .microampere = sqlite3_column_int64(stmt, 5),
                      .millidegree = sqlite3_column_type(stmt, 6) == SQLITE_NULL
                                         ? NO_TEMPERATURE
                                         : sqlite3_column_int(stmt, 6)};
    struct waiting *waiting = find(staging, step);
    int failed = waiting == NULL ? remember(logbook, step, &waiting, error) : 0;

    if (failed)
        return failed;
    if (staging->oldest_row == staging->next_row)
        staging->oldest_row = recent_row;
    staging->next_row = recent_row + 1;
    if (k >= waiting->first_k + waiting->count + 1)
        return error_set(error, ERROR_LOGBOOK, logbook->path,
                         "keep this file as it is and go on from the latest backup",
                         "the file is damaged: step %lld has no sample %lld", (long long)step,
                         (long long)(waiting->first_k + waiting->count));
    if (k == waiting->first_k + waiting->count) /* else it has been moved */
        push(waiting, &row, recent_row);
    return 0;
}

static int make_current(struct logbook *logbook, struct error *error)
{
    struct staging *staging = logbook->staging;
    sqlite3_stmt *stmt = NULL;
    bool row = false;
    int failed;

    if (staging->current)
        return 0;
    clear(staging);
    failed = QUERY(logbook, error, &stmt,
                   "SELECT row, step, k, microsecond, microvolt, microampere, millidegree "
                   "FROM recent WHERE row >= ?1 ORDER BY row",
                   V_INT(INT64_MIN));
    if (!failed)
        failed = sql_row(logbook, error, stmt, &row);
    while (!failed && row) {
        failed = load_row(logbook, stmt, error);
        if (!failed)
            failed = sql_row(logbook, error, stmt, &row);
    }
    sql_done(stmt);
    for (int i = staging->count - 1; i >= 0; i--)
        if (staging->steps[i].count == 0)
            forget_step(staging, &staging->steps[i]);
    staging->current = !failed;
    return failed;
}

int staging_open(struct logbook *logbook, struct error *error)
{
    logbook->staging = xcalloc(1, sizeof(*logbook->staging));
    return make_current(logbook, error);
}

void staging_close(struct logbook *logbook)
{
    if (logbook->staging == NULL)
        return;
    clear(logbook->staging);
    free(logbook->staging->steps);
    free(logbook->staging);
    logbook->staging = NULL;
}

void staging_forget(struct logbook *logbook)
{
    logbook->staging->current = false;
}

int staging_count(struct logbook *logbook, int64_t step, int64_t *count, struct error *error)
{
    struct waiting *waiting;
    int failed = make_current(logbook, error);

    if (failed)
        return failed;
    waiting = find(logbook->staging, step);
    if (waiting == NULL)
        return count_moved(logbook, step, count, error);
    *count = waiting->first_k + waiting->count;
    return 0;
}

void staging_end(struct logbook *logbook, int64_t step)
{
    struct waiting *waiting = logbook->staging->current ? find(logbook->staging, step) : NULL;

    if (waiting == NULL)
        return;
    waiting->ended = true;
    if (waiting->count == 0)
        forget_step(logbook->staging, waiting);
}

/* --- coming in ------------------------------------------------------------------------------ */

/* Puts a step's waiting rows into their place; within a transaction. */
static int place_rows(struct logbook *logbook, const struct waiting *waiting, struct error *error)
{
    sqlite3_stmt *stmt;
    int failed = into_sample(logbook, &stmt, error);

    for (int i = 0; i < waiting->count && !failed; i++)
        failed =
            insert(logbook, stmt, waiting->step, waiting->first_k + i, &waiting->rows[i], error);
    return failed;
}

static void mark_placed(struct waiting *waiting)
{
    waiting->first_k += waiting->count;
    waiting->count = 0;
}

static int add_directly(struct logbook *logbook, struct waiting *waiting,
                        const struct sample *samples, int count, struct error *error)
{
    sqlite3_stmt *stmt;
    struct row row;
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
    struct staging *staging = logbook->staging;
    sqlite3_stmt *stmt;
    struct row row;
    int failed = sql_statement(logbook, error,
                               "INSERT INTO recent VALUES (NULL, ?1, ?2, ?3, ?4, ?5, ?6)", &stmt);

    for (int i = 0; i < count && !failed; i++) {
        failed = to_row(logbook, waiting->step, &samples[i], &row, error);
        if (!failed)
            failed = insert(logbook, stmt, waiting->step, waiting->first_k + waiting->count, &row,
                            error);
        if (!failed) {
            int64_t recent_row = sqlite3_last_insert_rowid(logbook->db);
            if (staging->oldest_row == staging->next_row) /* the table was empty */
                staging->oldest_row = recent_row;
            staging->next_row = recent_row + 1;
            push(waiting, &row, recent_row);
        }
    }
    return failed;
}

int logbook_add_samples(struct logbook *logbook, int64_t step, int64_t k,
                        const struct sample *samples, int count, struct error *error)
{
    struct waiting *waiting;
    int failed = sql_may_write(logbook, error);

    if (!failed)
        failed = make_current(logbook, error);
    if (failed)
        return failed;
    waiting = find(logbook->staging, step);
    if (waiting == NULL)
        failed = remember(logbook, step, &waiting, error);
    if (failed)
        return failed;
    if (waiting->ended)
        return error_set(error, ERROR_INTERNAL, logbook->path, "report this as a fault of Perdure",
                         "samples came in for step %lld after its end", (long long)step);
    if (k != waiting->first_k + waiting->count)
        return error_set(error, ERROR_INTERNAL, logbook->path, "report this as a fault of Perdure",
                         "sample %lld of step %lld came in where %lld was due", (long long)k,
                         (long long)step, (long long)(waiting->first_k + waiting->count));
    if (waiting->count > 0 && (count >= MOVE_ROWS || waiting->count + count > MOST_ROWS)) {
        failed = place_rows(logbook, waiting, error);
        if (failed)
            return failed;
        mark_placed(waiting);
    }
    return count >= MOVE_ROWS ? add_directly(logbook, waiting, samples, count, error)
                              : add_to_recent(logbook, waiting, samples, count, error);
}

/* --- moving --------------------------------------------------------------------------------- */

static int ended_rows(const struct staging *staging)
{
    int rows = 0;

    for (int i = 0; i < staging->count; i++)
        if (staging->steps[i].ended)
            rows += staging->steps[i].count;
    return rows;
}

static bool is_due(const struct staging *staging, const struct waiting *waiting, int ended)
{
    int64_t window = WINDOW_ROWS;

    if (window < (int64_t)MOST_ROWS * staging->count)
        window = (int64_t)MOST_ROWS * staging->count;
    /* Short steps are gathered: neighbours share a page of `sample`. */
    return waiting->count > 0 &&
           (waiting->count >= MOVE_ROWS || (waiting->ended && ended >= GROUP_ROWS / 4) ||
            staging->next_row - waiting->first_row > window);
}

/* Everything in `recent` before this row has been moved. */
static int64_t moved_before(const struct staging *staging)
{
    int64_t row = staging->next_row;

    for (int i = 0; i < staging->count; i++)
        if (staging->steps[i].count > 0 && staging->steps[i].first_row < row)
            row = staging->steps[i].first_row;
    return row;
}

/* Marks one group of steps to move, in order of id; returns how many rows they have. */
static int choose(const struct staging *staging, bool all, bool *chosen)
{
    int rows = 0, ended = ended_rows(staging);

    for (int i = 0; i < staging->count; i++) {
        chosen[i] = rows < GROUP_ROWS && (all ? staging->steps[i].count > 0
                                              : is_due(staging, &staging->steps[i], ended));
        if (chosen[i])
            rows += staging->steps[i].count;
    }
    return rows;
}

/* Rows that can be removed once the chosen steps are moved. */
static int64_t removable_to(const struct staging *staging, const bool *chosen)
{
    int64_t row = staging->next_row;

    for (int i = 0; i < staging->count; i++)
        if (!chosen[i] && staging->steps[i].count > 0 && staging->steps[i].first_row < row)
            row = staging->steps[i].first_row;
    return row < staging->oldest_row + REMOVE_ROWS ? row : staging->oldest_row + REMOVE_ROWS;
}

static int move_group(struct logbook *logbook, const bool *chosen, struct error *error)
{
    struct staging *staging = logbook->staging;
    int64_t to = removable_to(staging, chosen);
    int failed = logbook_begin(logbook, error);

    if (failed)
        return failed;
    for (int i = 0; i < staging->count && !failed; i++)
        if (chosen[i])
            failed = place_rows(logbook, &staging->steps[i], error);
    if (!failed)
        failed = SQL(logbook, error, "DELETE FROM recent WHERE row < ?1", V_INT(to));
    if (failed) {
        logbook_rollback(logbook);
        return failed;
    }
    failed = logbook_commit(logbook, error);
    if (failed)
        return failed;
    for (int i = staging->count - 1; i >= 0; i--) {
        if (!chosen[i])
            continue;
        mark_placed(&staging->steps[i]);
        if (staging->steps[i].ended)
            forget_step(staging, &staging->steps[i]);
    }
    staging->oldest_row = to;
    return 0;
}

static int move(struct logbook *logbook, bool all, bool *more, struct error *error)
{
    struct staging *staging = logbook->staging;
    bool *chosen;
    int rows, failed;

    *more = false;
    if (staging == NULL || logbook->in_transaction)
        return error_set(error, ERROR_INTERNAL, logbook->path, "report this as a fault of Perdure",
                         "samples are moved by the writer, outside of a transaction");
    failed = make_current(logbook, error);
    if (failed)
        return failed;
    chosen = xcalloc((size_t)staging->count + 1, sizeof(*chosen));
    rows = choose(staging, all, chosen);
    if (rows > 0 || moved_before(staging) - staging->oldest_row >= (all ? 1 : REMOVE_ROWS)) {
        failed = move_group(logbook, chosen, error);
        *more = !failed && (choose(staging, all, chosen) > 0 ||
                            moved_before(staging) - staging->oldest_row >= (all ? 1 : REMOVE_ROWS));
    }
    free(chosen);
    return failed;
}

int logbook_move_samples(struct logbook *logbook, bool *more, struct error *error)
{
    return move(logbook, false, more, error);
}

int staging_drain(struct logbook *logbook, struct error *error)
{
    bool more = true;
    int failed = 0;

    while (more && !failed)
        failed = move(logbook, true, &more, error);
    return failed;
}
