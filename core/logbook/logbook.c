/* Opening, closing and transactions.
 *
 * Opened to write, a file is looked at in an order in which nothing is touched before it is known
 * to be ours and sound: header, lock, SQLite's own quick check, version; then migration, WAL, and
 * what is staged. */
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/clock.h"
#include "base/text.h"
#include "logbook/logbook_internal.h"
#include "logbook/staging.h"

#define IN_MEMORY ":memory:"

/* Up to this size a file is checked page by page whenever it is opened to write (some 30 ms);
 * beyond it damage is found when it is met, or by logbook_check. */
#define QUICK_CHECK_MOST (8 << 20)

/* SQLite counts its memory under a lock, at each piece that it takes and gives back: several times
 * a row. Nobody asks for the count. Too late, and no harm, once SQLite is at work. */
static void count_no_memory(void)
{
    static bool told;

    if (!told)
        sqlite3_config(SQLITE_CONFIG_MEMSTATUS, 0);
    told = true;
}

int db_open(sqlite3 **out, const char *path, int flags, struct error *error)
{
    int failed = 0;

    count_no_memory();
    /* One thread works on it: no locks are taken for others. */
    if (sqlite3_open_v2(path, out, flags | SQLITE_OPEN_NOMUTEX, NULL) != SQLITE_OK)
        failed = sql_error(*out, path, error);
    if (!failed) {
        sqlite3_extended_result_codes(*out, 1);
        sqlite3_busy_timeout(*out, 5000);
        /* secure_delete would write every page that is set free once more. */
        failed = sql_script(*out, path,
                            "PRAGMA foreign_keys = ON; PRAGMA synchronous = FULL;"
                            "PRAGMA secure_delete = OFF; PRAGMA trusted_schema = OFF;"
                            "PRAGMA cache_size = -16000; PRAGMA temp_store = MEMORY; PRAGMA "
                            "wal_autocheckpoint = 500",
                            error);
    }
    if (failed) {
        sqlite3_close(*out);
        *out = NULL;
    }
    return failed;
}

/* --- is it sound? --------------------------------------------------------------------------- */

static int check_tables(struct logbook *logbook, struct error *error)
{
    int64_t found;
    int failed = NUMBER(logbook, error, &found,
                        "SELECT count(*) FROM sqlite_schema WHERE type = ?1 AND name IN "
                        "('logbook', 'model', 'cell', 'script', 'session', 'run', 'run_module', "
                        "'journal', 'step', 'outcome', 'sample', 'recent', 'gap', 'result', "
                        "'event', 'question', 'answer')",
                        V_TEXT("table"));

    if (!failed && found != 17)
        failed = error_set(error, ERROR_LOGBOOK, logbook->path,
                           "keep this file as it is and go on from the latest backup",
                           "the file is damaged: %d of its 17 tables are there", (int)found);
    return failed;
}

static int check_pages(struct logbook *logbook, struct error *error)
{
    sqlite3_stmt *stmt = NULL;
    struct stat about;
    bool row = false;
    int failed;

    if (logbook->in_memory || stat(logbook->path, &about) != 0 || about.st_size > QUICK_CHECK_MOST)
        return 0;
    failed = sql_prepare(logbook, error, "PRAGMA quick_check(1)", &stmt);
    if (!failed)
        failed = sql_row(logbook, error, stmt, &row);
    if (!failed && (!row || strcmp(column_string(stmt, 0), "ok") != 0))
        failed = error_set(error, ERROR_LOGBOOK, logbook->path,
                           "keep this file as it is and go on from the latest backup",
                           "the file is damaged: %s", column_string(stmt, 0));
    sqlite3_finalize(stmt);
    return failed;
}

/* A zone never changes: it is opened once, and kept when what was read is read again. */
static int read_zone(struct logbook *logbook, const char *name, struct error *error)
{
    struct error unknown;

    if (logbook->zone != NULL || !zone_open(&logbook->zone, name, &unknown))
        return 0;
    return error_set(error, ERROR_LOGBOOK, logbook->path, unknown.todo,
                     "its dates go by the clocks of %s: %s", unknown.what, unknown.why);
}

static int read_birth(struct logbook *logbook, struct error *error)
{
    sqlite3_stmt *stmt;
    bool row = false;
    int failed = QUERY(logbook, error, &stmt,
                       "SELECT created_at, seed, clock, zone FROM logbook WHERE id = ?1", V_INT(1));

    if (!failed)
        failed = sql_row(logbook, error, stmt, &row);
    if (row) {
        logbook->created = sqlite3_column_int64(stmt, 0);
        logbook->seed = column_seed(stmt, 1);
        string_copy(logbook->clock, sizeof(logbook->clock), column_string(stmt, 2));
        failed = read_zone(logbook, column_string(stmt, 3), error);
    } else if (!failed) {
        failed = error_set(error, ERROR_LOGBOOK, logbook->path,
                           "keep this file as it is and go on from the latest backup",
                           "the file is damaged: it does not say when it was made");
    }
    sql_done(stmt);
    return failed;
}

/* The version as SQLite sees it: the header in the file may be older than what the log holds. */
static int check_version(struct logbook *logbook, const struct migration_plan *plan, int64_t *have,
                         struct error *error)
{
    int failed = NUMBER(logbook, error, have,
                        "SELECT user_version FROM pragma_user_version WHERE ?1", V_INT(1));

    if (failed || *have == plan->version)
        return failed;
    if (*have > plan->version)
        return error_set(error, ERROR_LOGBOOK, logbook->path, "use a newer Perdure",
                         "it is of version %d; this Perdure knows versions up to %d", (int)*have,
                         plan->version);
    if (logbook->mode == LOGBOOK_READ)
        return error_set(error, ERROR_LOGBOOK, logbook->path,
                         "start `perdure engine` on it once: that keeps a copy and brings it up",
                         "it is of version %d and to be read it must be of version %d", (int)*have,
                         plan->version);
    return 0;
}

/* --- open and close ------------------------------------------------------------------------- */

static int open_to_write(struct logbook *logbook, const struct migration_plan *plan,
                         struct error *error)
{
    int64_t have = 0;
    int failed = lock_take(&logbook->lock, logbook->path, error);

    if (!failed)
        failed = db_open(&logbook->db, logbook->path, SQLITE_OPEN_READWRITE, error);
    if (!failed)
        failed = check_pages(logbook, error);
    if (!failed)
        failed = check_version(logbook, plan, &have, error);
    if (!failed && have < plan->version)
        failed = db_migrate(logbook->db, logbook->path, (int)have, plan, error);
    if (!failed)
        failed = check_tables(logbook, error);
    if (!failed)
        failed = sql_script(logbook->db, logbook->path, "PRAGMA journal_mode = WAL", error);
    if (!failed)
        failed = read_birth(logbook, error);
    if (!failed)
        failed = staging_open(logbook, error);
    return failed;
}

static bool has_log(const char *path, off_t *size)
{
    struct text name = TEXT_EMPTY;
    struct stat about;
    bool has;

    text_addf(&name, "%s-wal", path);
    has = stat(name.bytes, &about) == 0;
    *size = has ? about.st_size : 0;
    text_free(&name);
    return has;
}

int db_open_unchanging(sqlite3 **out, const char *path, struct error *error)
{
    struct text uri = TEXT_EMPTY;
    int failed;

    text_add(&uri, "file:");
    for (const char *c = path; *c != '\0'; c++)
        if (*c == '%' || *c == '?' || *c == '#')
            text_addf(&uri, "%%%02X", (unsigned)*c);
        else
            text_add_bytes(&uri, c, 1);
    text_add(&uri, "?immutable=1");
    failed = db_open(out, uri.bytes, SQLITE_OPEN_READONLY | SQLITE_OPEN_URI, error);
    text_free(&uri);
    return failed;
}

static bool folder_writable(const char *path)
{
    char *copy = xstrdup(path);
    char *slash = strrchr(copy, '/');
    bool writable;

    *(slash == copy ? slash + 1 : slash) = '\0';
    writable = access(copy, W_OK) == 0;
    free(copy);
    return writable;
}

/* Where we could write nothing beside the file and there is no log, as on a read-only disk. */
int db_open_to_read(sqlite3 **out, const char *path, bool *unchanging, struct error *error)
{
    off_t size;
    bool as_it_is = !has_log(path, &size) && !folder_writable(path);

    if (unchanging != NULL)
        *unchanging = as_it_is;
    return as_it_is ? db_open_unchanging(out, path, error)
                    : db_open(out, path, SQLITE_OPEN_READONLY, error);
}

static int open_to_read(struct logbook *logbook, const struct migration_plan *plan,
                        struct error *error)
{
    int64_t have;
    int failed = db_open_to_read(&logbook->db, logbook->path, NULL, error);

    if (!failed)
        failed = check_version(logbook, plan, &have, error);
    if (!failed)
        failed = check_tables(logbook, error);
    if (!failed)
        failed = read_birth(logbook, error);
    return failed;
}

/* A reader that comes first makes the log and its index, and has not the right to remove them. When
 * the log is empty and nobody writes, whoever may write and is last removes both, SQLite sees to
 * it. */
static void tidy_after_reading(const char *path)
{
    sqlite3 *db;
    utc_us since;
    off_t size;
    int pid;

    if (!has_log(path, &size) || size > 0 || lock_holder(path, &pid, &since, NULL) != 0 || pid != 0)
        return;
    if (sqlite3_open_v2(path, &db, SQLITE_OPEN_READWRITE, NULL) == SQLITE_OK)
        sqlite3_exec(db, "SELECT 1 FROM sqlite_schema", NULL, NULL, NULL);
    sqlite3_close(db);
}

static void let_go(struct logbook *logbook)
{
    sql_forget(logbook);
    sqlite3_close(logbook->db);
    if (logbook->ahead >= 0)
        close(logbook->ahead);
    if (logbook->mode == LOGBOOK_READ && !logbook->in_memory)
        tidy_after_reading(logbook->path);
    lock_release(logbook->lock);
    staging_close(logbook);
    zone_close(logbook->zone);
    free(logbook->path);
    free(logbook);
}

int logbook_open_as(struct logbook **out, const char *path, enum logbook_mode mode,
                    const struct migration_plan *plan, struct error *error)
{
    struct logbook *logbook;
    char *whole;
    int failed;

    *out = NULL;
    if (strcmp(path, IN_MEMORY) == 0) {
        struct clock now;
        struct logbook_birth birth = {.seed = 1};
        clock_open_real(&now);
        birth.created = clock_utc(&now);
        return logbook_open_memory(out, &birth, error);
    }
    failed = file_check(path, plan, error);
    if (failed)
        return failed;
    whole = realpath(path, NULL);
    if (whole == NULL)
        return error_set(error, ERROR_LOGBOOK, path, "check the permissions of its folders",
                         "it cannot be reached: %s", strerror(errno));
    logbook = xcalloc(1, sizeof(*logbook));
    logbook->ahead = -1;
    logbook->path = whole;
    logbook->mode = mode;
    failed = mode == LOGBOOK_WRITE ? open_to_write(logbook, plan, error)
                                   : open_to_read(logbook, plan, error);
    if (failed)
        let_go(logbook);
    else
        *out = logbook;
    return failed;
}

int logbook_open(struct logbook **out, const char *path, enum logbook_mode mode,
                 struct error *error)
{
    return logbook_open_as(out, path, mode, &logbook_migrations, error);
}

int logbook_open_memory(struct logbook **out, const struct logbook_birth *birth,
                        struct error *error)
{
    struct logbook *logbook = xcalloc(1, sizeof(*logbook));
    int failed;

    *out = NULL;
    logbook->path = xstrdup(IN_MEMORY);
    logbook->mode = LOGBOOK_WRITE;
    logbook->in_memory = true;
    logbook->ahead = -1;
    failed = db_open(&logbook->db, IN_MEMORY, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, error);
    if (!failed)
        failed = db_fill(logbook->db, IN_MEMORY, birth, error);
    if (!failed)
        failed = read_birth(logbook, error);
    if (!failed)
        failed = staging_open(logbook, error);
    if (failed)
        let_go(logbook);
    else
        *out = logbook;
    return failed;
}

void logbook_close(struct logbook *logbook)
{
    if (logbook == NULL)
        return;
    logbook_rollback(logbook);
    if (logbook->mode == LOGBOOK_WRITE && !logbook->in_memory) {
        staging_drain(logbook, NULL); /* what cannot be moved now is moved next time */
        /* So that nothing is left in the log even if somebody still reads. */
        sqlite3_busy_timeout(logbook->db, 0);
        sqlite3_wal_checkpoint_v2(logbook->db, NULL, SQLITE_CHECKPOINT_TRUNCATE, NULL, NULL);
    }
    let_go(logbook);
}

/* --- transactions --------------------------------------------------------------------------- */

int logbook_begin(struct logbook *logbook, struct error *error)
{
    int failed;

    if (logbook->mode == LOGBOOK_READ || logbook->in_transaction)
        return error_set(error, ERROR_INTERNAL, logbook->path, "report this as a fault of Perdure",
                         logbook->in_transaction ? "a transaction was begun within another"
                                                 : "a transaction was begun to read");
    failed = sql_script(logbook->db, logbook->path, "BEGIN IMMEDIATE", error);
    logbook->in_transaction = !failed;
    return failed;
}

int logbook_snapshot(struct logbook *logbook, struct error *error)
{
    /* SQLite takes the snapshot at the first read. */
    return sql_script(logbook->db, logbook->path, "BEGIN; SELECT 1 FROM logbook", error);
}

int logbook_commit(struct logbook *logbook, struct error *error)
{
    int failed = sql_may_write(logbook, error);

    if (!failed)
        failed = sql_script(logbook->db, logbook->path, "COMMIT", error);
    if (failed)
        logbook_rollback(logbook);
    logbook->in_transaction = false;
    return failed;
}

void logbook_rollback(struct logbook *logbook)
{
    if (!logbook->in_transaction)
        return;
    if (!sqlite3_get_autocommit(logbook->db))
        sqlite3_exec(logbook->db, "ROLLBACK", NULL, NULL, NULL);
    logbook->in_transaction = false;
    /* What is kept in memory may be ahead of the file now. */
    read_birth(logbook, NULL);
    staging_forget(logbook);
}
