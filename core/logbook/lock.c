/* The lock beside a logbook. Open-file-description locks: like flock they go with the open file,
 * and unlike flock they can be asked about without being taken. */
#include <errno.h>
#include <fcntl.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/clock.h"
#include "base/text.h"
#include "logbook/lock.h"

struct logbook_lock {
    int fd;
    char *path;
};

static char *lock_path(const char *logbook)
{
    struct text path = TEXT_EMPTY;

    text_addf(&path, "%s-lock", logbook);
    return path.bytes;
}

static int refuse(const char *path, struct error *error)
{
    if (errno == ENOSPC || errno == EDQUOT)
        return error_set(error, ERROR_FULL, path, "free some space, then try again",
                         "there is no room left on the disk for the lock file");
    return error_set(error, ERROR_LOGBOOK, path,
                     "check the permissions of the folder: a writer keeps its lock there",
                     "the lock file cannot be used: %s", strerror(errno));
}

/* Reads "pid 1234 since 2026-03-02T08:00:00Z". */
static void read_holder(int fd, int *pid, utc_us *since)
{
    char text[128], stamp[64];
    ssize_t length = pread(fd, text, sizeof(text) - 1, 0);

    *pid = -1;
    *since = 0;
    if (length <= 0)
        return;
    text[length] = '\0';
    if (sscanf(text, "pid %d since %63s", pid, stamp) != 2 || utc_parse(stamp, since, NULL) != 0)
        *pid = -1;
}

static int sign(int fd)
{
    struct clock clock;
    char stamp[64], text[128];
    int length;

    clock_open_real(&clock);
    length = snprintf(text, sizeof(text), "pid %d since %s\n", (int)getpid(),
                      utc_format(clock_utc(&clock), stamp, sizeof(stamp)));
    return ftruncate(fd, 0) == 0 && pwrite(fd, text, (size_t)length, 0) == length ? 0 : -1;
}

static int refuse_busy(const char *logbook, int fd, struct error *error)
{
    char stamp[64];
    int pid = -1;
    utc_us since = 0;

    for (int tries = 0; tries < 50 && pid < 0; tries++) {
        read_holder(fd, &pid, &since);
        if (pid < 0)
            usleep(1000);
    }
    if (pid < 0)
        return error_set(error, ERROR_BUSY, logbook, "let it end, or stop it, then try again",
                         "another process is writing to it");
    return error_set(error, ERROR_BUSY, logbook, "let it end, or stop it, then try again",
                     "process %d has been writing to it since %s", pid,
                     utc_format(since - since % US_PER_S, stamp, sizeof(stamp)));
}

/* The one that had the lock may have removed the file between our open and our lock. */
static bool still_there(int fd, const char *path)
{
    struct stat ours, named;

    return fstat(fd, &ours) == 0 && stat(path, &named) == 0 && ours.st_ino == named.st_ino &&
           ours.st_dev == named.st_dev;
}

int lock_take(struct logbook_lock **out, const char *logbook, struct error *error)
{
    char *path = lock_path(logbook);
    int failed = 0, fd;

    *out = NULL;
    for (;;) {
        struct flock whole = {.l_type = F_WRLCK, .l_whence = SEEK_SET};

        fd = open(path, O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0644);
        if (fd < 0) {
            failed = refuse(path, error);
            break;
        }
        if (fcntl(fd, F_OFD_SETLK, &whole) != 0) {
            failed = errno == EAGAIN || errno == EACCES ? refuse_busy(logbook, fd, error)
                                                        : refuse(path, error);
            break;
        }
        if (still_there(fd, path)) {
            failed = sign(fd) == 0 ? 0 : refuse(path, error);
            break;
        }
        close(fd);
    }
    if (failed) {
        if (fd >= 0)
            close(fd);
        free(path);
        return failed;
    }
    *out = xmalloc(sizeof(**out));
    (*out)->fd = fd;
    (*out)->path = path;
    return 0;
}

void lock_release(struct logbook_lock *lock)
{
    if (lock == NULL)
        return;
    unlink(lock->path); /* while it is held, so that nobody else's is removed */
    close(lock->fd);
    free(lock->path);
    free(lock);
}

int lock_holder(const char *logbook, int *pid, utc_us *since, struct error *error)
{
    struct flock whole = {.l_type = F_WRLCK, .l_whence = SEEK_SET};
    char *path = lock_path(logbook);
    int failed = 0;
    int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOFOLLOW);

    *pid = 0;
    *since = 0;
    if (fd < 0) {
        failed = errno == ENOENT ? 0 : refuse(path, error);
    } else if (fcntl(fd, F_OFD_GETLK, &whole) != 0) {
        failed = refuse(path, error);
    } else if (whole.l_type != F_UNLCK) {
        read_holder(fd, pid, since);
    }
    if (fd >= 0)
        close(fd);
    free(path);
    return failed;
}
