/* Listings: one query each, its rows as JSON objects named by the query's columns.
 *
 * ?1 and ?2 are the least and the most run asked for, ?3 a cell's label or NULL, ?4 a name or NULL,
 * ?5 a step or 0, ?6 the id after which rows are wanted.
 * A column "at" or "..._at" holds an instant and becomes ISO 8601; one whose name ends in {} holds
 * JSON and becomes what that says. */
#include <string.h>

#include "logbook/facts.h"
#include "logbook/logbook_internal.h"

#define STEP_COLUMNS                                                                               \
    "step.id AS step, step.run, step.segment, step.n, label AS cell, step.channel, step.kind, "    \
    "step.how, step.started_at, outcome.ended_at, charge / 3600 AS charge_Ah, "                    \
    "energy / 3600 AS energy_Wh, duration AS duration_s, duration / 3600 AS duration_h, "          \
    "first_voltage AS first_voltage_V, "                                                           \
    "last_voltage AS last_voltage_V, mean_voltage AS mean_voltage_V, "                             \
    "mid_voltage AS mid_voltage_V, peak_voltage AS peak_voltage_V, "                               \
    "max_temperature AS max_temperature_degC, resistance AS resistance_ohm, gaps, "                \
    "gap_time AS gap_time_s, ended_by, quality, samples, step.plan AS \"plan{}\" "

/* The sample that came last, whichever table it is in. */
#define STAGED_IS_LATER "recent.k > coalesce(sample.k, -1)"
#define LATEST_SAMPLE                                                                              \
    "iif(" STAGED_IS_LATER ", recent.microvolt, sample.microvolt) / 1e6 AS voltage_V, "            \
    "iif(" STAGED_IS_LATER ", recent.microampere, sample.microampere) / 1e6 AS current_A, "        \
    "iif(" STAGED_IS_LATER ", recent.millidegree, sample.millidegree) / 1e3 AS temperature_degC"

/* The greatest id that is asked for, where an id of 0 asks for all: lets an index be used. */
#define LAST_ID        "9223372036854775807"
#define LAST_ID_OF(id) "iif(" id ", " id ", " LAST_ID ")"

/* A run's steps lie between its first and its last, which the journal's index tells. */
#define RUN_FIRST_STEP "iif(?1, (SELECT min(id) FROM step AS own WHERE own.run = ?1), 0)"
#define RUN_LAST_STEP  "iif(?1, (SELECT max(id) FROM step AS own WHERE own.run = ?1), " LAST_ID ")"

static const char *const queries[] = {
    [LIST_MODELS] = "SELECT id, name, maker, size, chemistry, "
                    "rated_charge / 3600 AS rated_Ah, price, currency, "
                    "(SELECT count(*) FROM cell WHERE cell.model = model.id) AS cells "
                    "FROM model WHERE ?4 IS NULL OR name = ?4 ORDER BY id",

    [LIST_CELLS] = "SELECT cell.id, label, name AS model, maker, size, chemistry, "
                   "rated_charge / 3600 AS rated_Ah, price, currency, enrolled_at, "
                   "CASE reference WHEN 1 THEN 'true' ELSE 'false' END AS \"reference{}\", "
                   "(SELECT count(*) FROM run WHERE run.cell = cell.id) AS runs, "
                   "(SELECT id FROM run WHERE run.cell = cell.id AND ended_at IS NULL) AS open_run "
                   "FROM cell JOIN model ON model.id = cell.model "
                   "WHERE (?3 IS NULL OR label = ?3) AND (?4 IS NULL OR name = ?4) "
                   "ORDER BY cell.id",

    [LIST_RUNS] = "SELECT run.id AS run, parent, parent_n, kind, script_name AS script, "
                  "script_hash, label AS cell, "
                  "channel, state, why, queued_at, due_at, due_civil, due_zone, started_at, "
                  "ended_at, segment, seed, "
                  "params AS \"params{}\", engine_version, lua_version "
                  "FROM run LEFT JOIN cell ON cell.id = run.cell "
                  "WHERE run.id BETWEEN ?1 AND ?2 AND run.id > ?6 "
                  "AND (?3 IS NULL OR label = ?3) ORDER BY run.id",

    [LIST_RESULTS] = "SELECT result.run, script_name AS script, label AS cell, "
                     "model.name AS model, result.name, value, unit, uncertainty, "
                     "freedom, CASE unit WHEN 'Ah' THEN 100 * value * 3600 / rated_charge END "
                     "AS percent_of_rating, how, flags, result.step, at "
                     "FROM result JOIN run ON run.id = result.run "
                     "LEFT JOIN cell ON cell.id = result.cell "
                     "LEFT JOIN model ON model.id = cell.model "
                     "WHERE result.run BETWEEN ?1 AND ?2 AND (?3 IS NULL OR label = ?3) "
                     "AND (?4 IS NULL OR result.name = ?4) "
                     "ORDER BY result.run, result.segment, result.n",

    [LIST_STEPS] =
        "SELECT " STEP_COLUMNS "FROM step LEFT JOIN outcome ON outcome.step = step.id "
        "LEFT JOIN cell ON cell.id = step.cell "
        "WHERE step.id BETWEEN max(?5, ?6 + 1, " RUN_FIRST_STEP ") "
        "AND min(" LAST_ID_OF("?5") ", " RUN_LAST_STEP ") "
                                    "AND step.run BETWEEN ?1 AND ?2 AND (?3 IS NULL OR label = ?3) "
                                    "ORDER BY step.id",

    /* The step by the journal's index. Its latest sample is one of `recent`, which is short, or of
     * `sample`, by its key; the view that shows both as one would be built whole. */
    [LIST_STEPS_NOW] =
        "SELECT step.run, step.id AS step, label AS cell, step.channel, step.kind, step.how, "
        "step.started_at, outcome.charge / 3600 AS charge_Ah, outcome.energy / 3600 AS energy_Wh, "
        "outcome.duration AS duration_s, " LATEST_SAMPLE ", step.plan AS \"plan{}\" "
        "FROM run JOIN step ON step.id = (SELECT id FROM step AS of_run WHERE of_run.run = run.id "
        "ORDER BY segment DESC, n DESC LIMIT 1) "
        "LEFT JOIN outcome ON outcome.step = step.id LEFT JOIN cell ON cell.id = step.cell "
        "LEFT JOIN recent ON recent.row = "
        "(SELECT max(row) FROM recent AS newest WHERE newest.step = step.id) "
        "LEFT JOIN sample ON sample.step = step.id AND sample.k = "
        "(SELECT max(k) FROM sample AS newest WHERE newest.step = step.id) "
        "WHERE run.ended_at IS NULL AND outcome.ended_at IS NULL "
        "AND run.id BETWEEN ?1 AND ?2 ORDER BY step.run",

    /* Steps in the order in which they lie: an index on the cell would fetch each from
     * elsewhere. */
    [LIST_STEP_TOTALS] = "SELECT label AS cell, channel, how, steps, samples FROM "
                         "(SELECT cell, channel, how, count(*) AS steps, sum(samples) AS samples "
                         "FROM step NOT INDEXED LEFT JOIN outcome ON outcome.step = step.id "
                         "GROUP BY cell, channel, how) AS total JOIN cell ON cell.id = total.cell "
                         "WHERE ?3 IS NULL OR label = ?3 ORDER BY cell.id, channel, how",

    [LIST_JOURNAL] = "SELECT run, segment, n, name, args AS \"args{}\", intent_at, "
                     "outcome AS \"outcome{}\", outcome_at FROM journal "
                     "WHERE run BETWEEN ?1 AND ?2 AND (?4 IS NULL OR name = ?4) "
                     "ORDER BY run, segment, n",

    [LIST_EVENTS] = "SELECT id, at, level, run, step, text FROM event "
                    "WHERE (?1 <= 0 OR run BETWEEN ?1 AND ?2) AND (?4 IS NULL OR level = ?4) "
                    "AND id > ?6 ORDER BY id",

    [LIST_QUESTIONS] =
        "SELECT question.id AS question, question.run, segment, n, label AS cell, question.text, "
        "expects AS \"expects{}\", asked_at, answer.answer AS \"answer{}\", who, "
        "answer.at AS answered_at, "
        "(SELECT count(*) FROM answer WHERE answer.question = question.id) AS answers "
        "FROM question LEFT JOIN answer ON answer.id = "
        "(SELECT max(id) FROM answer WHERE answer.question = question.id) "
        "JOIN (SELECT run.id AS run, label, ended_at IS NULL AS open FROM run LEFT JOIN cell ON "
        "cell.id = run.cell) AS "
        "of_run "
        "ON of_run.run = question.run "
        "WHERE CASE WHEN ?1 <= 0 THEN answer.id IS NULL AND open ELSE question.run BETWEEN ?1 AND "
        "?2 END "
        "AND (?3 IS NULL OR label = ?3) ORDER BY question.id",

    [LIST_GAPS] =
        "SELECT gap.step, run, label AS cell, kind, (from_at - started_at) / 1e6 AS from_s, "
        "(to_at - started_at) / 1e6 AS to_s, from_at, to_at, why "
        "FROM gap CROSS JOIN step ON step.id = gap.step " /* in this order: gaps are few */
        "LEFT JOIN cell ON cell.id = step.cell "
        "WHERE gap.step BETWEEN ?5 AND " LAST_ID_OF(
            "?5") " "
                  "AND run BETWEEN ?1 AND ?2 ORDER BY gap.step, from_at",

    [LIST_CELL_STEPS] = "SELECT script_name AS script, run.state AS run_state, " STEP_COLUMNS
                        "FROM step JOIN run ON run.id = step.run "
                        "JOIN cell ON cell.id = step.cell "
                        "LEFT JOIN outcome ON outcome.step = step.id "
                        "WHERE label = ?3 AND step.run BETWEEN ?1 AND ?2 ORDER BY step.id",

    /* A step may have gone on through several sessions. On a virtual clock one may begin in the
     * very microsecond in which the one before ended: it has no part in what was over by then. */
    [LIST_CHANNELS] = "SELECT session, began_at, bench_name AS bench, bench_hash, channel, how, "
                      "accuracy AS \"accuracy{}\", instruments AS \"instruments{}\" "
                      "FROM session_channel JOIN session ON session.id = session_channel.session "
                      "WHERE ?1 <= 0 OR EXISTS (SELECT 1 FROM step "
                      "LEFT JOIN outcome ON outcome.step = step.id "
                      "WHERE step.run BETWEEN ?1 AND ?2 AND step.channel = session_channel.channel "
                      "AND (session.began_at <= step.started_at OR session.began_at < outcome.at) "
                      "AND NOT EXISTS (SELECT 1 FROM session AS later WHERE later.id > session.id "
                      "AND later.began_at <= step.started_at)) ORDER BY session, channel",

    [LIST_PLACEMENTS] = "SELECT placement.run, cell.label AS cell, kind, placement.label AS arm, "
                        "detail AS \"detail{}\", at "
                        "FROM placement JOIN cell ON cell.id = placement.cell "
                        "WHERE ?3 IS NULL OR cell.label = ?3 ORDER BY at, placement.id",
};

static bool ends_in(const char *name, const char *end)
{
    size_t length = strlen(name), tail = strlen(end);

    return length >= tail && strcmp(name + length - tail, end) == 0;
}

static bool is_instant(const char *name)
{
    return strcmp(name, "at") == 0 || ends_in(name, "_at");
}

static json_t *cell_value(sqlite3_stmt *stmt, int column, const char *name)
{
    char stamp[64];
    json_t *value;

    switch (sqlite3_column_type(stmt, column)) {
    case SQLITE_INTEGER:
        if (is_instant(name))
            return json_string(
                utc_format(sqlite3_column_int64(stmt, column), stamp, sizeof(stamp)));
        return json_integer(sqlite3_column_int64(stmt, column));
    case SQLITE_FLOAT: return json_real(sqlite3_column_double(stmt, column));
    case SQLITE_TEXT:
        if (ends_in(name, "{}")) {
            value = json_loads(column_string(stmt, column), JSON_DECODE_ANY, NULL);
            if (value != NULL)
                return value;
        }
        value = json_string(column_string(stmt, column));
        return value != NULL ? value : json_string("(not valid UTF-8)");
    default: return json_null();
    }
}

static json_t *row_object(sqlite3_stmt *stmt)
{
    json_t *object = json_object();
    int columns = sqlite3_column_count(stmt);

    for (int i = 0; i < columns; i++) {
        const char *name = sqlite3_column_name(stmt, i);
        char key[64];

        snprintf(key, sizeof(key), "%.*s", (int)(strlen(name) - (ends_in(name, "{}") ? 2 : 0)),
                 name);
        json_object_set_new(object, key, cell_value(stmt, i, name));
    }
    return object;
}

int rows_of(struct logbook *logbook, sqlite3_stmt *stmt, json_t **rows, struct error *error)
{
    bool row = false;
    int failed;

    *rows = json_array();
    while ((failed = sql_row(logbook, error, stmt, &row)) == 0 && row)
        json_array_append_new(*rows, row_object(stmt));
    if (failed) {
        json_decref(*rows);
        *rows = NULL;
    }
    return failed;
}

static int prepare_listing(struct logbook *logbook, enum listing listing,
                           const struct listing_filter *filter, sqlite3_stmt **stmt,
                           struct error *error)
{
    static const struct listing_filter everything = {0, 0, NULL, NULL, 0};
    int failed = sql_visit(logbook, error, queries[listing], stmt);

    if (failed)
        return failed;
    if (filter == NULL)
        filter = &everything;
    sql_bind(*stmt, VALUES(V_INT(filter->run), V_INT(filter->run == 0 ? INT64_MAX : filter->run),
                           V_TEXT(filter->label), V_TEXT(filter->name), V_INT(filter->step),
                           V_INT(filter->after)));
    return 0;
}

int logbook_list(struct logbook *logbook, enum listing listing, const struct listing_filter *filter,
                 json_t **rows, struct error *error)
{
    sqlite3_stmt *stmt = NULL;
    int failed;

    *rows = NULL;
    failed = prepare_listing(logbook, listing, filter, &stmt, error);
    if (!failed)
        failed = rows_of(logbook, stmt, rows, error);
    sql_visited(logbook, queries[listing], stmt);
    return failed;
}

int logbook_each(struct logbook *logbook, enum listing listing, const struct listing_filter *filter,
                 listing_visit *visit, void *context, struct error *error)
{
    sqlite3_stmt *stmt = NULL;
    bool began = false, row = false, stopped = false;
    int failed = sql_look(logbook, &began, error);

    if (!failed)
        failed = prepare_listing(logbook, listing, filter, &stmt, error);
    while (!failed && !stopped && (failed = sql_row(logbook, error, stmt, &row)) == 0 && row) {
        json_t *object = row_object(stmt);
        stopped = visit(context, object) != 0;
        json_decref(object);
    }
    sql_visited(logbook, queries[listing], stmt);
    sql_looked(logbook, began);
    return failed;
}

int logbook_marks(struct logbook *logbook, struct logbook_marks *out, struct error *error)
{
    return NUMBER(logbook, error, &out->run, "SELECT coalesce(max(id), 0) FROM run WHERE id > ?1",
                  V_INT(0)) ||
                   NUMBER(logbook, error, &out->step,
                          "SELECT coalesce(max(id), 0) FROM step WHERE id > ?1", V_INT(0)) ||
                   NUMBER(logbook, error, &out->event,
                          "SELECT coalesce(max(id), 0) FROM event WHERE id > ?1", V_INT(0))
               ? error->code
               : 0;
}
