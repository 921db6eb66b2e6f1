/* Checks: results merged with the moments at which their cells had been charged or drawn from.
 *
 * One scan of the steps, in the order in which they lie in the file, and one sort of what little is
 * needed of them. Asking anew for every result would cost the square of it; a window over all steps
 * in SQL sorts several times as much and calls an aggregate at each. */
#include <stdlib.h>

#include "base/text.h"
#include "logbook/checks.h"
#include "logbook/logbook_internal.h"

/* The end of a charge, or of a discharge. */
struct moment {
    int64_t cell;
    utc_us at;
    double drawn; /* A.s; NAN: a charge */
};

struct moments {
    struct moment *moment; /* by cell, each cell's oldest first; owned */
    size_t count, room;
};

static int by_cell_and_time(const void *a, const void *b)
{
    const struct moment *x = a, *y = b;

    if (x->cell != y->cell)
        return x->cell < y->cell ? -1 : 1;
    return (x->at > y->at) - (x->at < y->at);
}

static void add_moment(struct moments *moments, const struct moment *moment)
{
    if (moments->count == moments->room) {
        moments->room = moments->room ? 2 * moments->room : 1024;
        moments->moment = xrealloc(moments->moment, moments->room * sizeof(*moments->moment));
    }
    moments->moment[moments->count++] = *moment;
}

/* Ids do not tell the order: a curve of long ago may have been imported yesterday. */
static int read_moments(struct logbook *logbook, struct moments *out, struct error *error)
{
    sqlite3_stmt *stmt = NULL;
    bool row = false;
    int failed = sql_prepare(logbook, error,
                             "SELECT cell, ended_at, CASE kind WHEN 'discharge' THEN charge END "
                             "FROM step CROSS JOIN outcome ON outcome.step = step.id "
                             "WHERE cell IS NOT NULL AND ended_at IS NOT NULL "
                             "AND (kind = 'charge' OR kind = 'discharge' AND charge IS NOT NULL)",
                             &stmt);

    while (!failed && (failed = sql_row(logbook, error, stmt, &row)) == 0 && row)
        add_moment(out, &(struct moment){sqlite3_column_int64(stmt, 0),
                                         sqlite3_column_int64(stmt, 1), column_real(stmt, 2)});
    sqlite3_finalize(stmt);
    if (out->count)
        qsort(out->moment, out->count, sizeof(*out->moment), by_cell_and_time);
    return failed;
}

/* What a cell has come to, as its moments pass. */
struct course {
    int64_t cell;
    utc_us charged_at;
    double drawn;
    size_t next; /* moment that has not passed */
};

static void pass(struct course *course, const struct moments *moments, int64_t cell, utc_us at)
{
    if (course->cell != cell)
        *course = (struct course){.cell = cell, .next = course->next};
    for (; course->next < moments->count; course->next++) {
        const struct moment *moment = &moments->moment[course->next];
        if (moment->cell > cell || (moment->cell == cell && moment->at > at))
            break;
        if (moment->cell < cell) /* what the cell before went through after its last result */
            continue;
        if (isnan(moment->drawn))
            course->charged_at = moment->at;
        else
            course->drawn += moment->drawn;
    }
}

static int visit_results(struct logbook *logbook, const struct moments *moments, check_visit *visit,
                         void *context, struct error *error)
{
    sqlite3_stmt *stmt = NULL;
    struct course course = {0};
    bool row = false;
    int failed = sql_prepare(
        logbook, error,
        "SELECT cell.id, result.run, label, script_name, run.channel, result.name, unit, value, "
        "uncertainty, result.at, step.started_at, flags "
        "FROM result JOIN run ON run.id = result.run JOIN cell ON cell.id = result.cell "
        "LEFT JOIN step ON step.id = result.step "
        "ORDER BY cell.id, result.at, result.run, result.segment, result.n",
        &stmt);

    while (!failed && (failed = sql_row(logbook, error, stmt, &row)) == 0 && row) {
        struct check_record check = {
            .run = sqlite3_column_int64(stmt, 1),
            .cell = column_string(stmt, 2),
            .script = column_string(stmt, 3),
            .channel = column_string(stmt, 4),
            .name = column_string(stmt, 5),
            .unit = column_string(stmt, 6),
            .value = column_real(stmt, 7),
            .uncertainty = column_real(stmt, 8),
            .at = sqlite3_column_int64(stmt, 9),
            .began_at = sqlite3_column_int64(stmt, 10), /* 0 for NULL */
            .flags = column_string(stmt, 11),
        };
        pass(&course, moments, sqlite3_column_int64(stmt, 0), check.at);
        check.charged_at = course.charged_at;
        check.drawn = course.drawn;
        visit(context, &check);
    }
    sqlite3_finalize(stmt);
    return failed;
}

int logbook_checks(struct logbook *logbook, check_visit *visit, void *context, struct error *error)
{
    struct moments moments = {0};
    bool began = false;
    int failed = sql_look(logbook, &began, error);

    if (!failed)
        failed = read_moments(logbook, &moments, error);
    if (!failed)
        failed = visit_results(logbook, &moments, visit, context, error);
    sql_looked(logbook, began);
    free(moments.moment);
    return failed;
}
