/* Scripts: texts by their hash. */
#include <string.h>

#include "logbook/logbook_internal.h"
#include "logbook/runs.h"

int logbook_add_script(struct logbook *logbook, const char *name, const char *text, size_t length,
                       char hash[SHA256_HEX], struct error *error)
{
    sha256_hex(text, length, hash);
    return SQL(logbook, error,
               "INSERT INTO script (hash, name, text) VALUES (?1, ?2, ?3) ON CONFLICT DO NOTHING",
               V_TEXT(hash), V_TEXT(name), V_TEXT_N(text, length));
}

/* A text is checked against its hash each time: a run must never go on with another. */
int logbook_script(struct logbook *logbook, const char *hash, char **text, size_t *length,
                   struct error *error)
{
    char found[SHA256_HEX];
    sqlite3_stmt *stmt;
    bool row = false;
    int failed =
        QUERY(logbook, error, &stmt, "SELECT text FROM script WHERE hash = ?1", V_TEXT(hash));

    *text = NULL;
    *length = 0;
    if (!failed)
        failed = sql_row(logbook, error, stmt, &row);
    if (row) {
        const char *bytes = column_string(stmt, 0);
        *length = (size_t)sqlite3_column_bytes(stmt, 0);
        sha256_hex(bytes, *length, found);
        if (strcmp(found, hash) != 0) {
            failed = error_set(error, ERROR_LOGBOOK, logbook->path,
                               "keep this file as it is and go on from the latest backup",
                               "the script %.12s has been changed in it: its hash is now %.12s",
                               hash, found);
        } else {
            *text = xmalloc(*length + 1);
            memcpy(*text, bytes, *length);
            (*text)[*length] = '\0';
        }
    } else if (!failed) {
        failed = error_set(error, ERROR_FAILED, hash, "list the runs with `perdure runs`",
                           "no script of this hash is on record");
    }
    sql_done(stmt);
    return failed;
}

int logbook_add_run_module(struct logbook *logbook, int64_t run, const char *name, const char *hash,
                           struct error *error)
{
    return SQL(logbook, error,
               "INSERT OR REPLACE INTO run_module (run, name, hash) VALUES (?1, ?2, ?3)",
               V_INT(run), V_TEXT(name), V_TEXT(hash));
}

int logbook_copy_modules(struct logbook *logbook, int64_t from, int64_t to, struct error *error)
{
    return SQL(logbook, error,
               "INSERT INTO run_module (run, name, hash) "
               "SELECT ?2, name, hash FROM run_module WHERE run = ?1",
               V_INT(from), V_INT(to));
}

int logbook_run_module(struct logbook *logbook, int64_t run, const char *name,
                       char hash[SHA256_HEX], struct error *error)
{
    sqlite3_stmt *stmt;
    bool row = false;
    int failed =
        QUERY(logbook, error, &stmt, "SELECT hash FROM run_module WHERE run = ?1 AND name = ?2",
              V_INT(run), V_TEXT(name));

    hash[0] = '\0';
    if (!failed)
        failed = sql_row(logbook, error, stmt, &row);
    if (row)
        string_copy(hash, SHA256_HEX, column_string(stmt, 0));
    sql_done(stmt);
    if (failed || row)
        return failed;
    return error_set(error, ERROR_FAILED, name, "check the name that the script requires",
                     "run %lld has no module of this name", (long long)run);
}
