/* Samples are moved from `recent` to their place in `sample`, a group of steps at a time. */
#include <stdlib.h>

#include "base/text.h"
#include "logbook/staging.h"
#include "logbook/steps.h"

#define GROUP_ROWS  4096  /* about so many in one move, to keep it short */
#define REMOVE_ROWS 8192  /* at most so many are removed from the front in one move */
#define WINDOW_ROWS 65536 /* rows may wait behind so many later ones (or STAGING_MOST a step) */

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

    if (window < (int64_t)STAGING_MOST * staging->count)
        window = (int64_t)STAGING_MOST * staging->count;
    /* Short steps are gathered: neighbours share a page of `sample`. */
    return waiting->count > 0 &&
           (waiting->count >= STAGING_DUE || (waiting->ended && ended >= GROUP_ROWS / 4) ||
            staging->next_row - waiting->first_row > window);
}

/* The first row of `recent` that still waits when the chosen steps (NULL: none) have been moved. */
static int64_t first_waiting(const struct staging *staging, const bool *chosen)
{
    int64_t row = staging->next_row;

    for (int i = 0; i < staging->count; i++)
        if ((chosen == NULL || !chosen[i]) && staging->steps[i].count > 0 &&
            staging->steps[i].first_row < row)
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

/* Removing alone is worth a transaction when there is much, or when all is to go. */
static bool worth_removing(const struct staging *staging, bool all)
{
    return first_waiting(staging, NULL) - staging->oldest_row >= (all ? 1 : REMOVE_ROWS);
}

/* The chosen steps into their place, and the front of `recent` away: in one transaction. */
static int move_group(struct logbook *logbook, const bool *chosen, struct error *error)
{
    struct staging *staging = logbook->staging;
    int64_t to = first_waiting(staging, chosen);
    int failed = logbook_begin(logbook, error);

    if (to > staging->oldest_row + REMOVE_ROWS)
        to = staging->oldest_row + REMOVE_ROWS;
    if (failed)
        return failed;
    for (int i = 0; i < staging->count && !failed; i++)
        if (chosen[i])
            failed = staging_place(logbook, &staging->steps[i], error);
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
        staging_placed(&staging->steps[i]);
        if (staging->steps[i].ended)
            staging_forget_step(staging, &staging->steps[i]);
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
    failed = staging_make_current(logbook, error);
    if (failed)
        return failed;
    chosen = xcalloc((size_t)staging->count + 1, sizeof(*chosen));
    rows = choose(staging, all, chosen);
    if (rows > 0 || worth_removing(staging, all)) {
        failed = move_group(logbook, chosen, error);
        *more = !failed && (choose(staging, all, chosen) > 0 || worth_removing(staging, all));
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
