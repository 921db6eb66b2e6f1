/* The samples that wait to be moved, in memory. */
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "logbook/staging.h"

/* --- steps ---------------------------------------------------------------------------------- */

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

/* Mostly the one that was found last, or the one behind it: steps come in their order, twice
 * each. */
static struct waiting *find(struct staging *staging, int64_t step)
{
    int at = staging->found;

    if (at < staging->count && staging->steps[at].step < step)
        at++;
    if (at >= staging->count || staging->steps[at].step != step)
        at = place_of(staging, step);
    staging->found = at;
    return at < staging->count && staging->steps[at].step == step ? &staging->steps[at] : NULL;
}

void staging_forget_step(struct staging *staging, struct waiting *waiting)
{
    int at = (int)(waiting - staging->steps);

    free(waiting->rows);
    staging->count--;
    memmove(waiting, waiting + 1, (size_t)(staging->count - at) * sizeof(*waiting));
}

/* Rows of `recent` are seen in their order, whether they wait or have been moved. */
static void see_row(struct staging *staging, int64_t recent_row)
{
    if (staging->oldest_row == staging->next_row) /* none before it */
        staging->oldest_row = recent_row;
    staging->next_row = recent_row + 1;
}

void staging_push(struct staging *staging, struct waiting *waiting, const struct staged *row,
                  int64_t recent_row)
{
    see_row(staging, recent_row);
    if (waiting->count == waiting->room) {
        waiting->room = waiting->room == 0 ? 8 : 2 * waiting->room;
        if (waiting->room > STAGING_MOST)
            waiting->room = STAGING_MOST;
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

int staging_step(struct logbook *logbook, int64_t step, struct waiting **out, struct error *error)
{
    int failed = staging_make_current(logbook, error);

    if (failed)
        return failed;
    *out = find(logbook->staging, step);
    return *out != NULL ? 0 : remember(logbook, step, out, error);
}

/* --- from the file -------------------------------------------------------------------------- */

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
    struct staged row = {.microsecond = sqlite3_column_int64(stmt, 3),
                         .microvolt = sqlite3_column_int64(stmt, 4),
                         .microampere = sqlite3_column_int64(stmt, 5),
                         .millidegree = sqlite3_column_type(stmt, 6) == SQLITE_NULL
                                            ? NO_TEMPERATURE
                                            : sqlite3_column_int(stmt, 6)};
    struct waiting *waiting = find(staging, step);
    int failed = waiting == NULL ? remember(logbook, step, &waiting, error) : 0;

    if (failed)
        return failed;
    see_row(staging, recent_row);
    if (k > waiting->first_k + waiting->count)
        return error_set(error, ERROR_LOGBOOK, logbook->path,
                         "keep this file as it is and go on from the latest backup",
                         "the file is damaged: step %lld has no sample %lld", (long long)step,
                         (long long)(waiting->first_k + waiting->count));
    if (k == waiting->first_k + waiting->count) /* else it has been moved */
        staging_push(staging, waiting, &row, recent_row);
    return 0;
}

int staging_make_current(struct logbook *logbook, struct error *error)
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
            staging_forget_step(staging, &staging->steps[i]);
    staging->current = !failed;
    return failed;
}

int staging_open(struct logbook *logbook, struct error *error)
{
    logbook->staging = xcalloc(1, sizeof(*logbook->staging));
    return staging_make_current(logbook, error);
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
    int failed = staging_make_current(logbook, error);

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
        staging_forget_step(logbook->staging, waiting);
}
