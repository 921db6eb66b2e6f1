/* What the files of this layer share: the open logbook, and SQL by way of a few short calls.
 *
 * A statement is prepared at its first use and kept; its key is the address of its text, so the
 * text must be a string literal. Values are passed as an array of `struct value`:
 *
 *     SQL(logbook, error, "UPDATE run SET channel = ?2 WHERE id = ?1", V_INT(id), V_TEXT(channel))
 *
 * Values are bound by reference and let go before the call returns. */
#ifndef PERDURE_LOGBOOK_INTERNAL_H
#define PERDURE_LOGBOOK_INTERNAL_H

#include <jansson.h>
#include <math.h>
#include <sqlite3.h>

#include "logbook/lock.h"
#include "logbook/logbook.h"
#include "logbook/migrate.h"

#define LOGBOOK_APPLICATION 0x50455244u /* 'PERD', as in schema.sql */
#define LOGBOOK_VERSION     2           /* as in schema.sql */

#define STATEMENTS 256 /* a power of two, well above the number of literals in this layer */

struct staging; /* staging.h */

struct logbook {
    sqlite3 *db;
    char *path; /* absolute; ":memory:" */
    enum logbook_mode mode;
    bool in_memory;
    bool in_transaction; /* between begin and commit, as the caller sees it */
    struct logbook_lock *lock;
    struct staging *staging;
    int ahead; /* a descriptor of the file, for reading ahead; -1: none */
    uint64_t seed;
    utc_us created;
    char clock[32];
    struct zone *zone; /* NULL: UTC */
    struct kept_statement {
        const char *sql;
        sqlite3_stmt *stmt;
    } statement[STATEMENTS];
};

/* --- values --------------------------------------------------------------------------------- */

struct value {
    enum { VALUE_NULL, VALUE_INT, VALUE_REAL, VALUE_TEXT } kind;
    int64_t integer;
    double real;
    const char *text;
    int length; /* -1: up to the NUL */
};

#define V_INT(x)       ((struct value){.kind = VALUE_INT, .integer = (x)})
#define V_TEXT(x)      ((struct value){.kind = VALUE_TEXT, .text = (x), .length = -1}) /* NULL: NULL */
#define V_TEXT_N(x, n) ((struct value){.kind = VALUE_TEXT, .text = (x), .length = (int)(n)})
#define V_ID(x)        value_id(x)   /* 0: NULL */
#define V_REAL(x)      value_real(x) /* NAN: NULL */

static inline struct value value_id(int64_t id)
{
    if (id == 0)
        return (struct value){.kind = VALUE_NULL};
    return V_INT(id);
}

static inline struct value value_real(double real)
{
    if (isnan(real))
        return (struct value){.kind = VALUE_NULL};
    return (struct value){.kind = VALUE_REAL, .real = real};
}

#define VALUES(...)                                                                                \
    (const struct value[]){__VA_ARGS__},                                                           \
        (int)(sizeof((const struct value[]){__VA_ARGS__}) / sizeof(struct value))

/* --- statements ----------------------------------------------------------------------------- */

/* Runs a statement that writes. `changed` rows may be asked for afterwards with sqlite3_changes. */
#define SQL(logbook, error, sql, ...) sql_run((logbook), (error), (sql), VALUES(__VA_ARGS__))
int sql_run(struct logbook *logbook, struct error *error, const char *sql,
            const struct value *values, int count);

/* Begins a query; then sql_row until *row is false; always end with sql_done, which may be NULL. */
#define QUERY(logbook, error, stmt, sql, ...)                                                      \
    sql_query((logbook), (error), (stmt), (sql), VALUES(__VA_ARGS__))
int sql_query(struct logbook *logbook, struct error *error, sqlite3_stmt **stmt, const char *sql,
              const struct value *values, int count);
int sql_row(struct logbook *logbook, struct error *error, sqlite3_stmt *stmt, bool *row);
void sql_done(sqlite3_stmt *stmt);

/* The first column of the first row, 0 when there is none. */
#define NUMBER(logbook, error, out, sql, ...)                                                      \
    sql_number((logbook), (error), (out), (sql), VALUES(__VA_ARGS__))
int sql_number(struct logbook *logbook, struct error *error, int64_t *out, const char *sql,
               const struct value *values, int count);

/* A kept statement, and one that the caller finalizes. */
int sql_statement(struct logbook *logbook, struct error *error, const char *sql,
                  sqlite3_stmt **stmt);
int sql_prepare(struct logbook *logbook, struct error *error, const char *sql, sqlite3_stmt **stmt);

/* For a query whose rows are handed to a callback, which may come back here: the kept statement,
 * or, while that one is at work further out, one of its own. Always end with sql_visited. */
int sql_visit(struct logbook *logbook, struct error *error, const char *sql, sqlite3_stmt **stmt);
void sql_visited(struct logbook *logbook, const char *sql, sqlite3_stmt *stmt); /* may be NULL */

void sql_bind(sqlite3_stmt *stmt, const struct value *values, int count);
void sql_forget(struct logbook *logbook); /* finalizes all kept statements */

/* One view of the file for several queries, whatever is committed meanwhile; within a transaction
 * there is one already. sql_looked ends it, also after a failure. */
int sql_look(struct logbook *logbook, bool *began, struct error *error);
void sql_looked(struct logbook *logbook, bool began);

/* Refuses writing to a logbook opened to read, or outside a transaction. */
int sql_may_write(struct logbook *logbook, struct error *error);

/* Turns SQLite's last failure on `db` into an error about `path`. */
int sql_error(sqlite3 *db, const char *path, struct error *error);

/* Several statements without values, outside of any cache. */
int sql_script(sqlite3 *db, const char *path, const char *sql, struct error *error);

/* --- columns -------------------------------------------------------------------------------- */

const char *column_string(sqlite3_stmt *stmt, int column); /* "" for NULL; until the next row */
char *column_copy(sqlite3_stmt *stmt, int column);         /* NULL for NULL; owned by the caller */
double column_real(sqlite3_stmt *stmt, int column);        /* NAN for NULL */
uint64_t column_seed(sqlite3_stmt *stmt, int column);

#define SEED_TEXT 24
char *seed_text(uint64_t seed, char buffer[SEED_TEXT]);

/* --- opening -------------------------------------------------------------------------------- */

/* Opens with a plan of migrations other than the program's own: for tests. */
int logbook_open_as(struct logbook **out, const char *path, enum logbook_mode mode,
                    const struct migration_plan *plan, struct error *error);

/* Opens the SQLite file itself with this layer's settings; `flags` are SQLite's. */
int db_open(sqlite3 **out, const char *path, int flags, struct error *error);
/* To read a file that nobody writes, as SQLite is told: nothing is put beside it, its log is not
 * seen. */
int db_open_unchanging(sqlite3 **out, const char *path, struct error *error);
/* To read a logbook that others may be writing: where nothing could be written beside it and there
 * is no log, as db_open_unchanging, and *unchanging (may be NULL) says so. */
int db_open_to_read(sqlite3 **out, const char *path, bool *unchanging, struct error *error);

/* Makes an empty database a logbook. */
int db_fill(sqlite3 *db, const char *path, const struct logbook_birth *birth, struct error *error);

/* Refuses what is not a usable logbook without touching it, so it looks at the header alone. */
int file_check(const char *path, const struct migration_plan *plan, struct error *error);

/* Copies all that `from` has committed into the file `to`, in one piece or not at all. */
int db_copy(sqlite3 *from, const char *path, const char *to, struct error *error);

/* Makes what was written to a folder (a new name in it) last. */
int folder_sync(const char *file, struct error *error);

/* What is left of a query as an array of objects, by the names of its columns (see list.c). */
int rows_of(struct logbook *logbook, sqlite3_stmt *stmt, json_t **rows, struct error *error);

#endif
