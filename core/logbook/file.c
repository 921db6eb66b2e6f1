/* The logbook as a file: is this one, without touching it; and making a new one. */
#include <errno.h>
#include <fcntl.h>
#include <libgen.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/text.h"
#include "logbook/logbook_internal.h"
#include "schema_sql.h"

#define NAME_ONE "make one with `perdure new`, or name another with --logbook"

/* The header of every SQLite file (its file format, section 1.3). */
#define HEADER             100
#define HEADER_MAGIC       "SQLite format 3"
#define HEADER_VERSION     60
#define HEADER_APPLICATION 68

static uint32_t header_number(const unsigned char *header, int at)
{
    return (uint32_t)header[at] << 24 | (uint32_t)header[at + 1] << 16 |
           (uint32_t)header[at + 2] << 8 | header[at + 3];
}

static int check_header(const char *path, const unsigned char *header, ssize_t length,
                        const struct migration_plan *plan, struct error *error)
{
    if (length == 0)
        return error_set(error, ERROR_LOGBOOK, path, NAME_ONE, "the file is empty");
    if (length < (ssize_t)sizeof(HEADER_MAGIC) ||
        memcmp(header, HEADER_MAGIC, sizeof(HEADER_MAGIC)) != 0)
        return error_set(error, ERROR_LOGBOOK, path, NAME_ONE,
                         "this is not a logbook, nor any SQLite file");
    if (length < HEADER)
        return error_set(error, ERROR_LOGBOOK, path, "go on from the latest backup",
                         "the file is damaged: it ends after %d bytes", (int)length);
    if (header_number(header, HEADER_APPLICATION) != LOGBOOK_APPLICATION)
        return error_set(error, ERROR_LOGBOOK, path, NAME_ONE,
                         "this is an SQLite file of something else (application id 0x%08x)",
                         header_number(header, HEADER_APPLICATION));
    if (header_number(header, HEADER_VERSION) > (uint32_t)plan->version)
        return error_set(error, ERROR_LOGBOOK, path, "use a newer Perdure",
                         "it is of version %u; this Perdure knows versions up to %d",
                         header_number(header, HEADER_VERSION), plan->version);
    return 0;
}

/* SQLite's log (its file format, section 4): a header, then frames, each a header and a page. */
#define LOG_HEADER  32
#define LOG_MAGIC   0x377f0682u /* or the next number */
#define LOG_PAGE    8           /* where the size of a page stands */
#define LOG_SALTS   16
#define FRAME       24
#define FRAME_SALTS 8
#define SALTS       8 /* bytes */

/* A power cut while SQLite moves its log into the file may tear the file's first page; the log then
 * still has it, and is what counts. The beginning of the newest one; SQLite checks the sums. */
static bool header_in_log(const char *path, unsigned char header[HEADER])
{
    unsigned char log[LOG_HEADER], frame[FRAME + HEADER];
    struct text name = TEXT_EMPTY;
    bool found = false;
    int fd;

    text_addf(&name, "%s-wal", path);
    fd = open(name.bytes, O_RDONLY | O_CLOEXEC);
    text_free(&name);
    if (fd < 0)
        return false;
    if (pread(fd, log, sizeof(log), 0) == (ssize_t)sizeof(log) &&
        (header_number(log, 0) & ~1u) == LOG_MAGIC && header_number(log, LOG_PAGE) >= 512) {
        off_t next = LOG_HEADER;
        while (pread(fd, frame, sizeof(frame), next) == (ssize_t)sizeof(frame) &&
               memcmp(frame + FRAME_SALTS, log + LOG_SALTS, SALTS) == 0) {
            if (header_number(frame, 0) == 1) {
                memcpy(header, frame + FRAME, HEADER);
                found = true;
            }
            next += FRAME + (off_t)header_number(log, LOG_PAGE);
        }
    }
    close(fd);
    return found;
}

int file_check(const char *path, const struct migration_plan *plan, struct error *error)
{
    unsigned char header[HEADER];
    struct stat about;
    ssize_t length;
    int fd, failed;

    if (stat(path, &about) != 0)
        return errno == ENOENT
                   ? error_set(error, ERROR_LOGBOOK, path, NAME_ONE, "there is no such file")
                   : error_set(error, ERROR_LOGBOOK, path,
                               "check the name and the permissions of its folders",
                               "it cannot be reached: %s", strerror(errno));
    if (!S_ISREG(about.st_mode))
        return error_set(error, ERROR_LOGBOOK, path, NAME_ONE,
                         S_ISDIR(about.st_mode) ? "this is a folder" : "this is not a plain file");
    fd = open(path, O_RDONLY | O_CLOEXEC);
    if (fd < 0)
        return error_set(error, ERROR_LOGBOOK, path, "check the permissions of the file",
                         "it cannot be opened: %s", strerror(errno));
    length = pread(fd, header, sizeof(header), 0);
    if (length < 0)
        failed = error_set(error, ERROR_LOGBOOK, path, "check the disk", "it cannot be read: %s",
                           strerror(errno));
    else
        failed = check_header(path, header, length, plan, error);
    if (failed && length == HEADER && header_in_log(path, header)) {
        error_clear(error);
        failed = check_header(path, header, length, plan, error);
    }
    close(fd);
    return failed;
}

int folder_sync(const char *file, struct error *error)
{
    char *copy = xstrdup(file);
    int fd = open(dirname(copy), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    int failed = 0;

    /* Some file systems cannot sync a folder and say EINVAL: theirs lasts without. */
    if (fd < 0 || (fsync(fd) != 0 && errno != EINVAL))
        failed = error_set(error, ERROR_LOGBOOK, file, "check the disk",
                           "its folder cannot be synced: %s", strerror(errno));
    if (fd >= 0)
        close(fd);
    free(copy);
    return failed;
}

/* --- a new one ------------------------------------------------------------------------------ */

/* A log left behind by a file of this name that is gone would be taken for the new one's. */
static int refuse_existing(const char *path, struct error *error)
{
    static const char *const beside[] = {"", "-wal", "-journal"};
    int failed = 0;

    for (size_t i = 0; i < sizeof(beside) / sizeof(beside[0]) && !failed; i++) {
        struct text name = TEXT_EMPTY;
        struct stat about;

        text_addf(&name, "%s%s", path, beside[i]);
        if (lstat(name.bytes, &about) == 0)
            failed = error_set(error, ERROR_LOGBOOK, name.bytes,
                               i == 0 ? "use it as it is, or choose another name"
                                      : "move it away, or choose another name",
                               i == 0 ? "it already exists" : "it is left from an earlier file");
        text_free(&name);
    }
    return failed;
}

int db_fill(sqlite3 *db, const char *path, const struct logbook_birth *birth, struct error *error)
{
    struct logbook new = {.db = db, .path = xstrdup(path), .mode = LOGBOOK_WRITE};
    char seed[SEED_TEXT];
    int failed = logbook_begin(&new, error);

    if (!failed)
        failed = sql_script(db, path, schema_sql, error);
    if (!failed)
        failed =
            SQL(&new, error,
                "INSERT INTO logbook (id, created_at, seed, clock, utc_origin, real_origin, zone) "
                "VALUES (1, ?1, ?2, coalesce(?3, ''), ?1, ?1, coalesce(?4, 'UTC'))",
                V_INT(birth->created), V_TEXT(seed_text(birth->seed, seed)), V_TEXT(birth->clock),
                V_TEXT(birth->zone));
    sql_forget(&new);
    if (!failed)
        failed = sql_script(db, path, "COMMIT", error);
    free(new.path);
    return failed;
}

static void remove_draft(const char *draft)
{
    static const char *const parts[] = {"", "-wal", "-shm", "-journal"};

    for (size_t i = 0; i < sizeof(parts) / sizeof(parts[0]); i++) {
        struct text name = TEXT_EMPTY;
        text_addf(&name, "%s%s", draft, parts[i]);
        unlink(name.bytes);
        text_free(&name);
    }
}

int logbook_create(const char *path, const struct logbook_birth *birth, struct error *error)
{
    struct text draft = TEXT_EMPTY;
    sqlite3 *db = NULL;
    int failed = refuse_existing(path, error);

    if (failed)
        return failed;
    text_addf(&draft, "%s-new-%d", path, (int)getpid());
    failed = db_open(&db, draft.bytes, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, error);
    if (!failed)
        failed = sql_script(db, path, "PRAGMA journal_mode = WAL", error);
    if (!failed)
        failed = db_fill(db, path, birth, error);
    sqlite3_close(db); /* moves the log into the file and removes it */

    /* The name is taken only if it is still free. */
    if (!failed && link(draft.bytes, path) != 0) {
        failed = refuse_existing(path, error);
        if (!failed && rename(draft.bytes, path) != 0) /* a file system without links */
            failed = error_set(error, ERROR_LOGBOOK, path, "check the folder and its permissions",
                               "it cannot be made: %s", strerror(errno));
    }
    remove_draft(draft.bytes);
    if (!failed)
        failed = folder_sync(path, error);
    text_free(&draft);
    return failed;
}
