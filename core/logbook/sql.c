/* SQL by way of a few short calls, and SQLite's failures as errors that say what to do. */
#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "logbook/logbook_internal.h"

/* The system's errno behind a failure; 0 when there is none. That of a commit SQLite does not pass
 * on: the log has it, or the file. */
static int system_cause(sqlite3 *db)
{
    int cause = sqlite3_system_errno(db);
    sqlite3_file *log = NULL;

    if (cause == 0 &&
        sqlite3_file_control(db, "main", SQLITE_FCNTL_JOURNAL_POINTER, &log) == SQLITE_OK &&
        log != NULL && log->pMethods != NULL && log->pMethods->xFileControl != NULL)
        log->pMethods->xFileControl(log, SQLITE_FCNTL_LAST_ERRNO, &cause);
    if (cause == 0)
        sqlite3_file_control(db, "main", SQLITE_FCNTL_LAST_ERRNO, &cause);
    return cause;
}

int sql_error(sqlite3 *db, const char *path, struct error *error)
{
    int code = db == NULL ? SQLITE_NOMEM : sqlite3_extended_errcode(db);
    const char *why = db == NULL ? "out of memory" : sqlite3_errmsg(db);
    int cause = db != NULL && (code & 0xff) == SQLITE_IOERR ? system_cause(db) : 0;

    /* SQLite calls some failures of a full disk (its shared memory, a quota) I/O errors. */
    if ((code & 0xff) == SQLITE_FULL ||
        ((code & 0xff) == SQLITE_IOERR && (cause == ENOSPC || cause == EDQUOT)))
        return error_set(
            error, ERROR_FULL, path, "free some space, then try again",
            "there is no room left on its disk; nothing that was acknowledged is lost");
    switch (code & 0xff) {
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        return error_set(error, ERROR_BUSY, path, "close the other program, then try again",
                         "another program is using the file (%s)", why);
    case SQLITE_IOERR:
        return error_set(error, ERROR_LOGBOOK, path,
                         "check the disk and its cable, then start again: what was acknowledged is "
                         "taken up from the file",
                         "reading or writing failed: %s (%s)", why,
                         cause != 0 ? strerror(cause) : "no cause given");
    case SQLITE_CORRUPT:
    case SQLITE_NOTADB:
        return error_set(error, ERROR_LOGBOOK, path,
                         "keep this file as it is and go on from the latest backup",
                         "the file is damaged: %s", why);
    case SQLITE_CANTOPEN:
    case SQLITE_PERM:
    case SQLITE_AUTH:
    case SQLITE_READONLY:
        return error_set(error, ERROR_LOGBOOK, path,
                         "check the permissions of the file and of its folder", "%s%s%s", why,
                         cause != 0 ? ": " : "", cause != 0 ? strerror(cause) : "");
    default:
        return error_set(error, ERROR_INTERNAL, path, "report this as a fault of Perdure",
                         "SQLite refused what was asked of it: %s (code %d)", why, code);
    }
}

int sql_script(sqlite3 *db, const char *path, const char *sql, struct error *error)
{
    return sqlite3_exec(db, sql, NULL, NULL, NULL) == SQLITE_OK ? 0 : sql_error(db, path, error);
}

/* --- statements ----------------------------------------------------------------------------- */

int sql_look(struct logbook *logbook, bool *began, struct error *error)
{
    *began = sqlite3_get_autocommit(logbook->db) != 0;
    return *began ? sql_script(logbook->db, logbook->path, "BEGIN", error) : 0;
}

void sql_looked(struct logbook *logbook, bool began)
{
    if (began && !sqlite3_get_autocommit(logbook->db))
        sqlite3_exec(logbook->db, "COMMIT", NULL, NULL, NULL);
}

int sql_may_write(struct logbook *logbook, struct error *error)
{
    if (logbook->mode == LOGBOOK_READ)
        return error_set(error, ERROR_INTERNAL, logbook->path, "report this as a fault of Perdure",
                         "it was opened to read, and something tried to write to it");
    if (!logbook->in_transaction)
        return error_set(error, ERROR_INTERNAL, logbook->path, "report this as a fault of Perdure",
                         "something was written outside of a transaction");
    /* A full disk or a failed read makes SQLite roll back by itself. */
    if (sqlite3_get_autocommit(logbook->db))
        return error_set(error, ERROR_LOGBOOK, logbook->path, "roll back and do all of it again",
                         "this transaction was lost to an earlier failure");
    return 0;
}

int sql_prepare(struct logbook *logbook, struct error *error, const char *sql, sqlite3_stmt **stmt)
{
    if (sqlite3_prepare_v3(logbook->db, sql, -1, SQLITE_PREPARE_PERSISTENT, stmt, NULL) !=
        SQLITE_OK)
        return sql_error(logbook->db, logbook->path, error);
    return 0;
}

/* The place of a kept statement, or the free one where it would be kept; NULL when all are
 * taken. */
static struct kept_statement *place_of(struct logbook *logbook, const char *sql)
{
    size_t slot = ((uintptr_t)sql * 0x9E3779B97F4A7C15u) >> 32;

    for (size_t tries = 0; tries < STATEMENTS; tries++, slot++) {
        struct kept_statement *place = &logbook->statement[slot & (STATEMENTS - 1)];
        if (place->sql == sql || place->sql == NULL)
            return place;
    }
    return NULL;
}

int sql_statement(struct logbook *logbook, struct error *error, const char *sql,
                  sqlite3_stmt **stmt)
{
    struct kept_statement *place = place_of(logbook, sql);

    if (place == NULL)
        return error_set(error, ERROR_INTERNAL, logbook->path, "report this as a fault of Perdure",
                         "there are more than %d statements", STATEMENTS);
    if (place->sql == NULL) {
        int failed = sql_prepare(logbook, error, sql, stmt);
        if (failed)
            return failed;
        *place = (struct kept_statement){sql, *stmt};
    }
    *stmt = place->stmt;
    return 0;
}

int sql_visit(struct logbook *logbook, struct error *error, const char *sql, sqlite3_stmt **stmt)
{
    int failed = sql_statement(logbook, error, sql, stmt);

    if (!failed && sqlite3_stmt_busy(*stmt))
        failed = sql_prepare(logbook, error, sql, stmt);
    return failed;
}

void sql_visited(struct logbook *logbook, const char *sql, sqlite3_stmt *stmt)
{
    const struct kept_statement *place = place_of(logbook, sql);

    if (place != NULL && place->stmt == stmt)
        sql_done(stmt);
    else
        sqlite3_finalize(stmt);
}

void sql_forget(struct logbook *logbook)
{
    for (size_t i = 0; i < STATEMENTS; i++) {
        sqlite3_finalize(logbook->statement[i].stmt);
        logbook->statement[i].sql = NULL;
        logbook->statement[i].stmt = NULL;
    }
}

void sql_bind(sqlite3_stmt *stmt, const struct value *values, int count)
{
    for (int i = 0; i < count; i++) {
        const struct value *value = &values[i];
        switch (value->kind) {
        case VALUE_NULL: sqlite3_bind_null(stmt, i + 1); break;
        case VALUE_INT: sqlite3_bind_int64(stmt, i + 1, value->integer); break;
        case VALUE_REAL: sqlite3_bind_double(stmt, i + 1, value->real); break;
        case VALUE_TEXT:
            sqlite3_bind_text(stmt, i + 1, value->text, value->length, SQLITE_STATIC);
            break;
        }
    }
}

void sql_done(sqlite3_stmt *stmt)
{
    if (stmt != NULL) {
        sqlite3_reset(stmt);
        sqlite3_clear_bindings(stmt);
    }
}

int sql_run(struct logbook *logbook, struct error *error, const char *sql,
            const struct value *values, int count)
{
    sqlite3_stmt *stmt;
    int failed = sql_may_write(logbook, error);

    if (!failed)
        failed = sql_statement(logbook, error, sql, &stmt);
    if (failed)
        return failed;
    sql_bind(stmt, values, count);
    if (sqlite3_step(stmt) != SQLITE_DONE)
        failed = sql_error(logbook->db, logbook->path, error);
    sql_done(stmt);
    return failed;
}

int sql_query(struct logbook *logbook, struct error *error, sqlite3_stmt **stmt, const char *sql,
              const struct value *values, int count)
{
    int failed;

    *stmt = NULL;
    failed = sql_statement(logbook, error, sql, stmt);
    if (!failed)
        sql_bind(*stmt, values, count);
    return failed;
}

int sql_row(struct logbook *logbook, struct error *error, sqlite3_stmt *stmt, bool *row)
{
    int code = sqlite3_step(stmt);

    *row = code == SQLITE_ROW;
    return code == SQLITE_ROW || code == SQLITE_DONE ? 0
                                                     : sql_error(logbook->db, logbook->path, error);
}

int sql_number(struct logbook *logbook, struct error *error, int64_t *out, const char *sql,
               const struct value *values, int count)
{
    sqlite3_stmt *stmt;
    bool row = false;
    int failed = sql_query(logbook, error, &stmt, sql, values, count);

    *out = 0;
    if (!failed)
        failed = sql_row(logbook, error, stmt, &row);
    if (row)
        *out = sqlite3_column_int64(stmt, 0);
    sql_done(stmt);
    return failed;
}

/* --- columns -------------------------------------------------------------------------------- */

const char *column_string(sqlite3_stmt *stmt, int column)
{
    const char *text = (const char *)sqlite3_column_text(stmt, column);

    return text == NULL ? "" : text;
}

char *column_copy(sqlite3_stmt *stmt, int column)
{
    const char *text = (const char *)sqlite3_column_text(stmt, column);

    return text == NULL ? NULL : xstrdup(text);
}

double column_real(sqlite3_stmt *stmt, int column)
{
    return sqlite3_column_type(stmt, column) == SQLITE_NULL ? NAN
                                                            : sqlite3_column_double(stmt, column);
}

uint64_t column_seed(sqlite3_stmt *stmt, int column)
{
    return strtoull(column_string(stmt, column), NULL, 10);
}

char *seed_text(uint64_t seed, char buffer[SEED_TEXT])
{
    snprintf(buffer, SEED_TEXT, "%llu", (unsigned long long)seed);
    return buffer;
}
