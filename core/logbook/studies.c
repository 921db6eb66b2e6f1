/* A study's cells, children and placements. */
#include "logbook/studies.h"

#include "logbook/logbook_internal.h"

int logbook_add_study_cell(struct logbook *logbook, int64_t run, int64_t cell, struct error *error)
{
    return SQL(logbook, error, "INSERT INTO study_cell (run, cell) VALUES (?1, ?2)", V_INT(run),
               V_INT(cell));
}

int logbook_study_of_cell(struct logbook *logbook, int64_t cell, int64_t *run, struct error *error)
{
    return NUMBER(logbook, error, run,
                  "SELECT coalesce(min(run.id), 0) FROM study_cell "
                  "JOIN run ON run.id = study_cell.run "
                  "WHERE study_cell.cell = ?1 AND ended_at IS NULL AND NOT EXISTS "
                  "(SELECT 1 FROM placement WHERE placement.run = run.id "
                  "AND placement.cell = ?1 AND placement.kind = 'withdrawn')",
                  V_INT(cell));
}

int logbook_study_cells(struct logbook *logbook, int64_t run, json_t **rows, struct error *error)
{
    sqlite3_stmt *stmt;
    int failed = QUERY(logbook, error, &stmt,
                       "SELECT label, model.name AS model, size, chemistry, "
                       "rated_charge / 3600 AS rated_Ah FROM study_cell "
                       "JOIN cell ON cell.id = study_cell.cell JOIN model ON model.id = cell.model "
                       "WHERE run = ?1 ORDER BY label",
                       V_INT(run));

    if (!failed)
        failed = rows_of(logbook, stmt, rows, error);
    sql_done(stmt);
    return failed;
}

int logbook_children(struct logbook *logbook, int64_t run, int segment, int64_t n, json_t **rows,
                     struct error *error)
{
    sqlite3_stmt *stmt;
    int failed =
        QUERY(logbook, error, &stmt,
              "SELECT run.id AS run, label AS cell, state, why, started_at AS started_at_us, "
              "ended_at AS ended_at_us FROM run JOIN cell ON cell.id = run.cell "
              "WHERE parent = ?1 AND parent_segment = ?2 AND parent_n = ?3 "
              "ORDER BY ended_at IS NULL, ended_at, run.id",
              V_INT(run), V_INT(segment), V_INT(n));

    if (!failed)
        failed = rows_of(logbook, stmt, rows, error);
    sql_done(stmt);
    return failed;
}

int logbook_has_child(struct logbook *logbook, int64_t run, int segment, int64_t after,
                      int64_t before, int64_t cell, bool *has, struct error *error)
{
    int64_t count = 0;
    int failed = NUMBER(logbook, error, &count,
                        "SELECT count(*) FROM run WHERE cell = ?1 AND parent = ?2 "
                        "AND parent_segment = ?3 AND parent_n > ?4 AND parent_n < ?5",
                        V_INT(cell), V_INT(run), V_INT(segment), V_INT(after), V_INT(before));

    *has = count > 0;
    return failed;
}

int logbook_run_results(struct logbook *logbook, int64_t run, json_t **results, struct error *error)
{
    sqlite3_stmt *stmt;
    bool row = false;
    int failed =
        QUERY(logbook, error, &stmt,
              "SELECT name, value FROM result WHERE run = ?1 ORDER BY segment, n", V_INT(run));

    *results = json_object();
    while (!failed && (failed = sql_row(logbook, error, stmt, &row)) == 0 && row)
        json_object_set_new(*results, column_string(stmt, 0),
                            json_real(sqlite3_column_double(stmt, 1)));
    sql_done(stmt);
    return failed;
}

int logbook_add_placement(struct logbook *logbook, const struct placement *placement,
                          struct error *error)
{
    return SQL(logbook, error,
               "INSERT INTO placement (run, segment, n, cell, kind, label, detail, at) "
               "VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
               V_INT(placement->run), V_INT(placement->segment), V_INT(placement->n),
               V_INT(placement->cell), V_TEXT(placement->kind), V_TEXT(placement->label),
               V_TEXT(placement->detail), V_INT(placement->at));
}

int logbook_last_charge(struct logbook *logbook, int64_t cell, utc_us before, utc_us *ended_at,
                        struct error *error)
{
    /* Not the last by its id: what was logged elsewhere may be put on record later. */
    return NUMBER(logbook, error, ended_at,
                  "SELECT coalesce(max(outcome.ended_at), 0) FROM step "
                  "JOIN outcome ON outcome.step = step.id "
                  "WHERE cell = ?1 AND kind = 'charge' AND outcome.ended_at <= ?2",
                  V_INT(cell), V_INT(before));
}
