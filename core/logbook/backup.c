/* Backups, made while others write: SQLite copies what is committed as of one instant. */
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/text.h"
#include "logbook/logbook_internal.h"

static int sync_file(const char *path, struct error *error)
{
    int fd = open(path, O_RDWR | O_CLOEXEC);
    int failed = 0;

    if (fd < 0 || fsync(fd) != 0)
        failed = error_set(error, ERROR_LOGBOOK, path, "check the disk", "it cannot be synced: %s",
                           strerror(errno));
    if (fd >= 0)
        close(fd);
    return failed;
}

static int copy_pages(sqlite3 *from, const char *path, const char *draft, struct error *error)
{
    sqlite3 *to = NULL;
    sqlite3_backup *backup;
    int failed, code;

    failed = db_open(&to, draft, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, error);
    if (failed)
        return failed;
    /* The copy is synced once, at its end. */
    failed = sql_script(to, draft, "PRAGMA synchronous = OFF; PRAGMA journal_mode = OFF", error);
    backup = failed ? NULL : sqlite3_backup_init(to, "main", from, "main");
    if (backup != NULL) {
        do
            code = sqlite3_backup_step(backup, -1);
        while (code == SQLITE_OK);
        if (sqlite3_backup_finish(backup) != SQLITE_OK || code != SQLITE_DONE)
            failed = sqlite3_errcode(to) != SQLITE_OK ? sql_error(to, draft, error)
                                                      : sql_error(from, path, error);
    } else if (!failed) {
        failed = sql_error(to, draft, error);
    }
    if (sqlite3_close(to) != SQLITE_OK && !failed)
        failed = error_set(error, ERROR_INTERNAL, draft, "report this as a fault of Perdure",
                           "the copy could not be closed");
    return failed;
}

/* A file that is read as unchanging is read without SQLite's locks: `before` tells whether somebody
 * began to write meanwhile, and the copy is torn. */
static int refuse_torn(const char *path, const struct stat *before, struct error *error)
{
    struct stat now;

    if (stat(path, &now) == 0 && now.st_ino == before->st_ino && now.st_size == before->st_size &&
        now.st_mtim.tv_sec == before->st_mtim.tv_sec &&
        now.st_mtim.tv_nsec == before->st_mtim.tv_nsec)
        return 0;
    return error_set(error, ERROR_LOGBOOK, path, "ask again",
                     "somebody began to write to it while it was copied");
}

/* `before`: the file as it was when it was opened as unchanging; else NULL. */
static int copy_to(sqlite3 *from, const char *path, const struct stat *before, const char *to,
                   struct error *error)
{
    struct text draft = TEXT_EMPTY;
    int failed;

    text_addf(&draft, "%s-new-%d", to, (int)getpid());
    failed = copy_pages(from, path, draft.bytes, error);
    if (!failed && before != NULL)
        failed = refuse_torn(path, before, error);
    if (!failed)
        failed = sync_file(draft.bytes, error);
    if (!failed && rename(draft.bytes, to) != 0)
        failed = error_set(error, ERROR_LOGBOOK, to, "check the folder and its permissions",
                           "the copy cannot be put there: %s", strerror(errno));
    if (failed)
        unlink(draft.bytes);
    else
        failed = folder_sync(to, error);
    text_free(&draft);
    return failed;
}

int db_copy(sqlite3 *from, const char *path, const char *to, struct error *error)
{
    return copy_to(from, path, NULL, to, error);
}

/* Whether a file holds this logbook at another time, also in an older version: born at the same
 * instant, with the same seed. */
static bool is_of(const char *path, const struct logbook *logbook)
{
    sqlite3 *db = NULL;
    sqlite3_stmt *stmt = NULL;
    struct error ignored;
    bool same = false;

    error_clear(&ignored);
    if (!db_open_unchanging(&db, path, &ignored) &&
        sqlite3_prepare_v2(db, "SELECT created_at, seed FROM logbook", -1, &stmt, NULL) ==
            SQLITE_OK &&
        sqlite3_step(stmt) == SQLITE_ROW) {
        const char *seed = (const char *)sqlite3_column_text(stmt, 1);
        same = sqlite3_column_int64(stmt, 0) == logbook_created(logbook) && seed &&
               strtoull(seed, NULL, 10) == logbook_seed(logbook);
    }
    sqlite3_finalize(stmt);
    sqlite3_close(db);
    return same;
}

/* A backup may replace an older backup of the same logbook, and nothing else. */
static int refuse_target(struct logbook *logbook, const char *to, struct error *error)
{
    struct stat about, own;

    if (stat(to, &about) != 0)
        return 0;
    if (stat(logbook->path, &own) == 0 && own.st_ino == about.st_ino && own.st_dev == about.st_dev)
        return error_set(error, ERROR_LOGBOOK, to, "choose another name for the backup",
                         "this is the logbook itself");
    if (file_check(to, &logbook_migrations, NULL) != 0)
        return error_set(error, ERROR_LOGBOOK, to, "choose another name for the backup",
                         "there is something else of this name, not a logbook");
    if (!is_of(to, logbook))
        return error_set(error, ERROR_LOGBOOK, to, "choose another name for the backup",
                         "this is another logbook, no backup of this one");
    return 0;
}

int logbook_backup(struct logbook *logbook, const char *to, struct error *error)
{
    sqlite3 *db = NULL;
    struct stat before;
    bool unchanging;
    int failed = refuse_target(logbook, to, error);

    if (failed)
        return failed;
    if (logbook->in_memory) {
        if (logbook->in_transaction)
            return error_set(error, ERROR_INTERNAL, logbook->path,
                             "report this as a fault of Perdure",
                             "a logbook in memory cannot be copied within a transaction");
        return db_copy(logbook->db, logbook->path, to, error);
    }
    /* A connection of its own sees only what is committed. */
    if (stat(logbook->path, &before) != 0)
        return error_set(error, ERROR_LOGBOOK, logbook->path,
                         "check the name and the permissions of its folders",
                         "it cannot be reached: %s", strerror(errno));
    failed = db_open_to_read(&db, logbook->path, &unchanging, error);
    if (!failed)
        failed = copy_to(db, logbook->path, unchanging ? &before : NULL, to, error);
    sqlite3_close(db);
    return failed;
}
