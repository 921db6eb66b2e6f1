/* Pseudo-terminals, their settings and their links. */
#include "pty.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <termios.h>
#include <unistd.h>

#include "base/text.h"

static int open_slave(struct pty *pty)
{
    struct termios raw;
    pty->slave = open(pty->device, O_RDWR | O_NOCTTY | O_CLOEXEC);
    if (pty->slave < 0 || tcgetattr(pty->slave, &raw) != 0)
        return -1;
    cfmakeraw(&raw);
    return tcsetattr(pty->slave, TCSANOW, &raw);
}

static int refuse(const char *what, struct error *error)
{
    return error_set(error, ERROR_FAILED, what,
                     "check the path, and how many terminals may be open",
                     "no terminal can be served there: %s", strerror(errno));
}

int pty_open(struct pty *pty, const char *what, struct error *error)
{
    *pty = (struct pty){.slave = -1};
    pty->master = posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC);
    if (pty->master >= 0 && grantpt(pty->master) == 0 && unlockpt(pty->master) == 0 &&
        ptsname_r(pty->master, pty->device, sizeof pty->device) == 0 && open_slave(pty) == 0 &&
        fcntl(pty->master, F_SETFL, O_NONBLOCK) == 0)
        return 0;
    refuse(what, error);
    pty_close(pty);
    return ERROR_FAILED;
}

void pty_close(struct pty *pty)
{
    if (pty->master >= 0)
        close(pty->master);
    if (pty->slave >= 0)
        close(pty->slave);
    pty->master = pty->slave = -1;
}

static void make_folder(const char *path)
{
    char *folder = xstrdup(path), *slash = strrchr(folder, '/');
    if (slash != NULL && slash != folder) {
        *slash = '\0';
        mkdir(folder, 0755); /* what is wrong with it, symlink tells */
    }
    free(folder);
}

int pty_link(const struct pty *pty, const char *path, struct error *error)
{
    struct stat about;
    char next[4096];
    if (lstat(path, &about) == 0 && !S_ISLNK(about.st_mode)) {
        errno = EEXIST;
        return refuse(path, error);
    }
    make_folder(path);
    snprintf(next, sizeof next, "%s.%ld", path, (long)getpid());
    unlink(next);
    if (symlink(pty->device, next) != 0 || rename(next, path) != 0)
        return refuse(path, error);
    return 0;
}

void pty_unlink(const struct pty *pty, const char *path)
{
    char to[sizeof pty->device + 1];
    ssize_t length = readlink(path, to, sizeof to - 1);
    if (length <= 0)
        return;
    to[length] = '\0';
    if (strcmp(to, pty->device) == 0)
        unlink(path);
}

void pty_released(const struct pty *pty)
{
    tcflush(pty->slave, TCIFLUSH);
    ioctl(pty->slave, TIOCNXCL);
}
