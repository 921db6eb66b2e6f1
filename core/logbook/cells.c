/* Models and cells. */
#include <ctype.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "logbook/cells.h"
#include "logbook/logbook_internal.h"

/* --- models --------------------------------------------------------------------------------- */

static void read_model(sqlite3_stmt *stmt, int column, struct model_record *out)
{
    out->id = sqlite3_column_int64(stmt, column);
    string_copy(out->name, sizeof(out->name), column_string(stmt, column + 1));
    string_copy(out->maker, sizeof(out->maker), column_string(stmt, column + 2));
    string_copy(out->size, sizeof(out->size), column_string(stmt, column + 3));
    string_copy(out->chemistry, sizeof(out->chemistry), column_string(stmt, column + 4));
    out->rated_charge = column_real(stmt, column + 5);
    out->price = column_real(stmt, column + 6);
    string_copy(out->currency, sizeof(out->currency), column_string(stmt, column + 7));
}

static bool same_number(double a, double b)
{
    return a == b || (isnan(a) && isnan(b));
}

/* The first thing in which two models differ, or NULL. */
static const char *difference(const struct model_record *a, const struct model_record *b)
{
    if (strcmp(a->name, b->name) != 0)
        return "name";
    if (strcmp(a->maker, b->maker) != 0)
        return "maker";
    if (strcmp(a->size, b->size) != 0)
        return "size";
    if (strcmp(a->chemistry, b->chemistry) != 0)
        return "chemistry";
    if (!same_number(a->rated_charge, b->rated_charge))
        return "rated capacity";
    if (!same_number(a->price, b->price) || strcmp(a->currency, b->currency) != 0)
        return "price";
    return NULL;
}

int logbook_add_model(struct logbook *logbook, struct model_record *model, struct error *error)
{
    struct model_record known = {.id = 0};
    const char *differs;
    sqlite3_stmt *stmt;
    bool row = false;
    int failed;

    if (model->name[0] == '\0' || !(model->rated_charge > 0) || !isfinite(model->rated_charge))
        return error_set(error, ERROR_USAGE, model->name[0] == '\0' ? "model" : model->name,
                         "give a name and a rated capacity above zero",
                         model->name[0] == '\0' ? "it has no name" : "it has no rated capacity");
    failed = QUERY(logbook, error, &stmt,
                   "SELECT id, name, maker, size, chemistry, rated_charge, price, currency "
                   "FROM model WHERE name = ?1",
                   V_TEXT(model->name));
    if (!failed)
        failed = sql_row(logbook, error, stmt, &row);
    if (row)
        read_model(stmt, 0, &known);
    sql_done(stmt);
    if (failed)
        return failed;
    if (known.id == 0) {
        failed =
            SQL(logbook, error,
                "INSERT INTO model (name, maker, size, chemistry, rated_charge, price, currency)"
                " VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                V_TEXT(model->name), V_TEXT(model->maker), V_TEXT(model->size),
                V_TEXT(model->chemistry), V_REAL(model->rated_charge), V_REAL(model->price),
                V_TEXT(model->currency));
        if (!failed)
            model->id = sqlite3_last_insert_rowid(logbook->db);
        return failed;
    }
    differs = difference(&known, model);
    if (differs != NULL)
        return error_set(error, ERROR_FAILED, model->name,
                         "give it as it is on record, or give the other model a name of its own",
                         "a model of this name is on record with another %s", differs);
    model->id = known.id;
    return 0;
}

/* --- cells ---------------------------------------------------------------------------------- */

static bool label_valid(const char *label)
{
    size_t length = strlen(label);

    if (length < 1 || length > 63)
        return false;
    for (size_t i = 0; i < length; i++)
        if (!isalnum((unsigned char)label[i]) && strchr("-_.", label[i]) == NULL)
            return false;
    return true;
}

int logbook_add_cell(struct logbook *logbook, const char *label, int64_t model, utc_us at,
                     int64_t *id, struct error *error)
{
    int64_t known;
    int failed;

    *id = 0;
    if (!label_valid(label))
        return error_set(error, ERROR_USAGE, label, "give it a label such as KES-07",
                         "a label is 1 to 63 letters, digits, '-', '_' or '.'");
    failed = NUMBER(logbook, error, &known, "SELECT id FROM cell WHERE label = ?1", V_TEXT(label));
    if (!failed && known != 0)
        failed = error_set(error, ERROR_FAILED, label,
                           "give this cell another label: a label never changes its cell",
                           "a cell of this label is on record (capitals do not count)");
    if (!failed)
        failed =
            SQL(logbook, error, "INSERT INTO cell (label, model, enrolled_at) VALUES (?1, ?2, ?3)",
                V_TEXT(label), V_INT(model), V_INT(at));
    if (!failed)
        *id = sqlite3_last_insert_rowid(logbook->db);
    return failed;
}

int logbook_mark_reference(struct logbook *logbook, int64_t cell, struct error *error)
{
    return SQL(logbook, error, "UPDATE cell SET reference = 1 WHERE id = ?1", V_INT(cell));
}

/* How many letters must be changed, added or left out (Levenshtein's distance), capitals aside. */
static int distance(const char *a, const char *b)
{
    int row[64], length = (int)strlen(b);

    for (int j = 0; j <= length && j < 64; j++)
        row[j] = j;
    for (int i = 1; a[i - 1] != '\0'; i++) {
        int diagonal = row[0];
        row[0] = i;
        for (int j = 1; j <= length && j < 64; j++) {
            int best =
                diagonal + (tolower((unsigned char)a[i - 1]) != tolower((unsigned char)b[j - 1]));
            if (row[j] + 1 < best)
                best = row[j] + 1;
            if (row[j - 1] + 1 < best)
                best = row[j - 1] + 1;
            diagonal = row[j];
            row[j] = best;
        }
    }
    return row[length < 63 ? length : 63];
}

static int nearest_label(struct logbook *logbook, const char *label, char nearest[64],
                         struct error *error)
{
    int least = 1 + (int)strlen(label) / 2; /* beyond that it is no help */
    sqlite3_stmt *stmt;
    bool row = false;
    int failed =
        QUERY(logbook, error, &stmt, "SELECT label FROM cell WHERE id > ?1 ORDER BY id", V_INT(0));

    nearest[0] = '\0';
    if (!failed)
        failed = sql_row(logbook, error, stmt, &row);
    while (!failed && row) {
        int far = distance(label, column_string(stmt, 0));
        if (far < least) {
            least = far;
            string_copy(nearest, 64, column_string(stmt, 0));
        }
        failed = sql_row(logbook, error, stmt, &row);
    }
    sql_done(stmt);
    return failed;
}

static int refuse_unknown(struct logbook *logbook, const char *label, struct error *error)
{
    char nearest[64], todo[128];
    int failed = nearest_label(logbook, label, nearest, error);

    if (failed)
        return failed;
    if (nearest[0] != '\0')
        snprintf(todo, sizeof(todo), "did you mean %s?", nearest);
    else
        snprintf(todo, sizeof(todo), "list them with `perdure cells`");
    return error_set(error, ERROR_FAILED, label, todo, "no cell of this label is on record");
}

int logbook_cell(struct logbook *logbook, const char *label, struct cell_record *out,
                 struct error *error)
{
    sqlite3_stmt *stmt;
    bool row = false;
    int failed = QUERY(logbook, error, &stmt,
                       "SELECT cell.id, label, enrolled_at, "
                       "(SELECT id FROM run WHERE run.cell = cell.id AND ended_at IS NULL), "
                       "model.id, name, maker, size, chemistry, rated_charge, price, currency "
                       "FROM cell JOIN model ON model.id = cell.model WHERE label = ?1",
                       V_TEXT(label));

    memset(out, 0, sizeof(*out));
    if (!failed)
        failed = sql_row(logbook, error, stmt, &row);
    if (row) {
        out->id = sqlite3_column_int64(stmt, 0);
        string_copy(out->label, sizeof(out->label), column_string(stmt, 1));
        out->enrolled_at = sqlite3_column_int64(stmt, 2);
        out->busy_run = sqlite3_column_int64(stmt, 3);
        read_model(stmt, 4, &out->model);
    }
    sql_done(stmt);
    return failed || row ? failed : refuse_unknown(logbook, label, error);
}
