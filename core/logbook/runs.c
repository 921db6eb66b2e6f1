/* Runs and their life cycle. */
#include <stdlib.h>
#include <string.h>

#include "logbook/logbook_internal.h"
#include "logbook/runs.h"

static const char *const state_names[] = {
#define X(name, text) text,
    RUN_STATES(X)
#undef X
};

#define STATE_COUNT ((int)(sizeof(state_names) / sizeof(state_names[0])))

const char *run_state_name(enum run_state state)
{
    return (int)state >= 0 && (int)state < STATE_COUNT ? state_names[state] : "?";
}

static enum run_state state_of(const char *name)
{
    for (int i = 0; i < STATE_COUNT; i++)
        if (strcmp(state_names[i], name) == 0)
            return (enum run_state)i;
    return RUN_FAILED; /* the schema allows no other name */
}

bool run_state_is_over(enum run_state state)
{
    return state == RUN_DONE || state == RUN_FAILED || state == RUN_STOPPED;
}

/* --- adding --------------------------------------------------------------------------------- */

/* Also gives the cell's label. */
static int refuse_busy_cell(struct logbook *logbook, struct run_record *record, struct error *error)
{
    sqlite3_stmt *stmt;
    bool row = false;
    int failed = QUERY(logbook, error, &stmt,
                       "SELECT label, run.id, state FROM cell LEFT JOIN run "
                       "ON run.cell = cell.id AND ended_at IS NULL WHERE cell.id = ?1",
                       V_INT(record->cell));

    if (!failed)
        failed = sql_row(logbook, error, stmt, &row);
    if (row) {
        string_copy(record->cell_label, sizeof(record->cell_label), column_string(stmt, 0));
        if (sqlite3_column_type(stmt, 1) != SQLITE_NULL && !run_state_is_over(record->state))
            failed = error_set(error, ERROR_FAILED, record->cell_label,
                               "let that run end, or stop it, then start this one",
                               "the cell is in run %lld, which is %s",
                               (long long)sqlite3_column_int64(stmt, 1), column_string(stmt, 2));
    } else if (!failed) {
        failed =
            error_set(error, ERROR_INTERNAL, logbook->path, "report this as a fault of Perdure",
                      "there is no cell %lld", (long long)record->cell);
    }
    sql_done(stmt);
    return failed;
}

/* What the wall clock will show when the run is due: should the rules of the zone be changed until
 * then, that is seen. */
static int write_due(struct logbook *logbook, struct run_record *record, struct error *error)
{
    const char *own = zone_name(logbook->zone);
    struct zone *other = NULL;
    int failed = 0;

    record->due_civil[0] = '\0';
    if (record->due_at == 0) {
        record->due_zone[0] = '\0';
        return 0;
    }
    if (record->due_zone[0] == '\0')
        string_copy(record->due_zone, sizeof(record->due_zone), own);
    if (strcmp(record->due_zone, own) != 0)
        failed = zone_open(&other, record->due_zone, error);
    if (!failed)
        civil_format(
            zone_civil(strcmp(record->due_zone, own) == 0 ? logbook->zone : other, record->due_at),
            record->due_civil, sizeof(record->due_civil));
    zone_close(other);
    return failed;
}

int logbook_add_run(struct logbook *logbook, struct run_record *record, struct error *error)
{
    char seed[SEED_TEXT];
    int failed = record->cell == 0 ? 0 : refuse_busy_cell(logbook, record, error);

    if (!failed)
        failed = write_due(logbook, record, error);
    if (!failed)
        failed =
            SQL(logbook, error,
                "INSERT INTO run (parent, kind, script_name, script_hash, params, cell, "
                "channel, seed, state, segment, segment_state, segment_at, queued_at, "
                "started_at, ended_at, why, engine_version, lua_version, parent_segment, "
                "parent_n, due_at, due_civil, due_zone) VALUES "
                "(?1, ?2, ?3, ?4, coalesce(?5, '{}'), ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, "
                "?15, ?16, ?17, ?18, ?19, ?20, ?21, ?22, ?23)",
                V_ID(record->parent), V_TEXT(record->kind), V_TEXT(record->script_name),
                V_TEXT(record->script_hash), V_TEXT(record->params), V_ID(record->cell),
                V_TEXT(record->channel), V_TEXT(seed_text(record->seed, seed)),
                V_TEXT(run_state_name(record->state)), V_INT(record->segment),
                V_TEXT(record->segment_state), V_ID(record->segment_at), V_INT(record->queued_at),
                V_ID(record->started_at), V_ID(record->ended_at), V_TEXT(record->why),
                V_TEXT(record->engine_version), V_TEXT(record->lua_version),
                record->parent ? V_INT(record->parent_segment) : V_ID(0), V_ID(record->parent_n),
                V_ID(record->due_at), V_TEXT(record->due_at ? record->due_civil : NULL),
                V_TEXT(record->due_at ? record->due_zone : NULL));
    if (!failed)
        record->id = sqlite3_last_insert_rowid(logbook->db);
    return failed;
}

/* --- reading -------------------------------------------------------------------------------- */

static int refuse_unknown(int64_t id, struct error *error)
{
    char what[32];

    snprintf(what, sizeof(what), "run %lld", (long long)id);
    return error_set(error, ERROR_FAILED, what, "list the runs with `perdure runs`",
                     "there is no such run on record");
}

static void read_run(sqlite3_stmt *stmt, struct run_record *out)
{
    out->id = sqlite3_column_int64(stmt, 0);
    out->parent = sqlite3_column_int64(stmt, 1);
    string_copy(out->kind, sizeof(out->kind), column_string(stmt, 2));
    string_copy(out->script_name, sizeof(out->script_name), column_string(stmt, 3));
    string_copy(out->script_hash, sizeof(out->script_hash), column_string(stmt, 4));
    out->params = column_copy(stmt, 5);
    out->cell = sqlite3_column_int64(stmt, 6);
    string_copy(out->cell_label, sizeof(out->cell_label), column_string(stmt, 7));
    string_copy(out->channel, sizeof(out->channel), column_string(stmt, 8));
    out->seed = column_seed(stmt, 9);
    out->state = state_of(column_string(stmt, 10));
    out->segment = sqlite3_column_int(stmt, 11);
    out->segment_state = column_copy(stmt, 12);
    out->queued_at = sqlite3_column_int64(stmt, 13);
    out->started_at = sqlite3_column_int64(stmt, 14);
    out->ended_at = sqlite3_column_int64(stmt, 15);
    out->why = column_copy(stmt, 16);
    string_copy(out->engine_version, sizeof(out->engine_version), column_string(stmt, 17));
    string_copy(out->lua_version, sizeof(out->lua_version), column_string(stmt, 18));
    out->segment_at = sqlite3_column_int64(stmt, 19);
    out->parent_segment = sqlite3_column_int(stmt, 20);
    out->parent_n = sqlite3_column_int64(stmt, 21);
    out->due_at = sqlite3_column_int64(stmt, 22);
    string_copy(out->due_civil, sizeof(out->due_civil), column_string(stmt, 23));
    string_copy(out->due_zone, sizeof(out->due_zone), column_string(stmt, 24));
}

int logbook_run(struct logbook *logbook, int64_t id, struct run_record *out, struct error *error)
{
    sqlite3_stmt *stmt;
    bool row = false;
    int failed = QUERY(
        logbook, error, &stmt,
        "SELECT run.id, parent, kind, script_name, script_hash, params, cell, label, "
        "channel, seed, state, segment, segment_state, queued_at, started_at, "
        "ended_at, why, engine_version, lua_version, segment_at, parent_segment, parent_n, due_at, "
        "due_civil, due_zone "
        "FROM run LEFT JOIN cell ON cell.id = run.cell WHERE run.id = ?1",
        V_INT(id));

    memset(out, 0, sizeof(*out));
    if (!failed)
        failed = sql_row(logbook, error, stmt, &row);
    if (row)
        read_run(stmt, out);
    else if (!failed)
        failed = refuse_unknown(id, error);
    sql_done(stmt);
    return failed;
}

void run_record_free(struct run_record *record)
{
    free(record->params);
    free(record->segment_state);
    free(record->why);
    record->params = record->segment_state = record->why = NULL;
}

int logbook_open_runs(struct logbook *logbook, int64_t **ids, int *count, struct error *error)
{
    sqlite3_stmt *stmt;
    bool row = false;
    int room = 0;
    int failed = QUERY(logbook, error, &stmt,
                       "SELECT id FROM run WHERE ended_at IS NULL AND id > ?1 "
                       "ORDER BY queued_at, id",
                       V_INT(0));

    *ids = NULL;
    *count = 0;
    if (!failed)
        failed = sql_row(logbook, error, stmt, &row);
    while (!failed && row) {
        if (*count == room) {
            room = room == 0 ? 16 : 2 * room;
            *ids = xrealloc(*ids, (size_t)room * sizeof(**ids));
        }
        (*ids)[(*count)++] = sqlite3_column_int64(stmt, 0);
        failed = sql_row(logbook, error, stmt, &row);
    }
    sql_done(stmt);
    return failed;
}

int logbook_find_import(struct logbook *logbook, int64_t cell, const char *sha256, int64_t *run,
                        struct error *error)
{
    return NUMBER(logbook, error, run,
                  "SELECT run.id FROM run JOIN journal ON journal.run = run.id "
                  "WHERE run.cell = ?1 AND run.kind = 'import' AND journal.segment = 0 "
                  "AND journal.n = 1 AND json_extract(args, '$.sha256') = ?2 "
                  "ORDER BY run.id LIMIT 1",
                  V_INT(cell), V_TEXT(sha256));
}

/* --- changing ------------------------------------------------------------------------------- */

/* After an update of one run by its id. */
static int changed_one(struct logbook *logbook, int failed, int64_t id, struct error *error)
{
    if (failed || sqlite3_changes(logbook->db) == 1)
        return failed;
    return refuse_unknown(id, error);
}

int logbook_set_run_state(struct logbook *logbook, int64_t id, enum run_state state, utc_us at,
                          const char *why, struct error *error)
{
    struct run_record record;
    bool starts = state == RUN_RUNNING;
    int failed = SQL(logbook, error,
                     "UPDATE run SET state = ?2, why = ?3, "
                     "started_at = CASE WHEN ?4 THEN coalesce(started_at, ?6) ELSE started_at END, "
                     "segment_at = CASE WHEN ?4 THEN coalesce(segment_at, ?6) ELSE segment_at END, "
                     "ended_at = CASE WHEN ?5 THEN ?6 END WHERE id = ?1 AND ended_at IS NULL",
                     V_INT(id), V_TEXT(run_state_name(state)), V_TEXT(why), V_INT(starts),
                     V_INT(run_state_is_over(state)), V_INT(at));

    if (failed || sqlite3_changes(logbook->db) == 1)
        return failed;
    failed = logbook_run(logbook, id, &record, error);
    if (failed)
        return failed;
    failed = error_set(error, ERROR_FAILED, logbook->path, "start a new run",
                       "run %lld is %s: it is over, and cannot become %s", (long long)id,
                       run_state_name(record.state), run_state_name(state));
    run_record_free(&record);
    return failed;
}

int logbook_set_run_channel(struct logbook *logbook, int64_t id, const char *channel,
                            struct error *error)
{
    return changed_one(logbook,
                       SQL(logbook, error, "UPDATE run SET channel = ?2 WHERE id = ?1", V_INT(id),
                           V_TEXT(channel)),
                       id, error);
}

int logbook_requeue_run(struct logbook *logbook, int64_t id, bool anew, struct error *error)
{
    return changed_one(logbook,
                       SQL(logbook, error,
                           "UPDATE run SET state = 'queued', channel = '', "
                           "started_at = CASE WHEN ?2 THEN NULL ELSE started_at END, "
                           "segment_at = CASE WHEN ?2 THEN NULL ELSE segment_at END "
                           "WHERE id = ?1 AND ended_at IS NULL",
                           V_INT(id), V_INT(anew)),
                       id, error);
}

int logbook_set_run_due(struct logbook *logbook, int64_t id, utc_us due_at, struct error *error)
{
    return changed_one(
        logbook,
        SQL(logbook, error, "UPDATE run SET due_at = ?2 WHERE id = ?1", V_INT(id), V_INT(due_at)),
        id, error);
}

int logbook_set_run_segment(struct logbook *logbook, int64_t id, int segment, const char *state,
                            utc_us at, struct error *error)
{
    return changed_one(logbook,
                       SQL(logbook, error,
                           "UPDATE run SET segment = ?2, segment_state = ?3, segment_at = ?4 "
                           "WHERE id = ?1",
                           V_INT(id), V_INT(segment), V_TEXT(state), V_INT(at)),
                       id, error);
}

int logbook_set_run_script(struct logbook *logbook, int64_t id, const char *hash,
                           struct error *error)
{
    return changed_one(logbook,
                       SQL(logbook, error, "UPDATE run SET script_hash = ?2 WHERE id = ?1",
                           V_INT(id), V_TEXT(hash)),
                       id, error);
}
