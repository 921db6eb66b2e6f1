/* Exclusive use. Two programs on one instrument would read each other's answers, so a second opener
 * is refused, and told why. */
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <termios.h>
#include <unistd.h>

#include "link/link_internal.h"

static int refuse_busy(struct error *error, const char *what)
{
    return error_set(error, ERROR_BENCH, what,
                     "close the other program, or take the instrument out of its bench file",
                     "it is in use by another program or another link");
}

static int refuse_open(struct error *error, const char *path, int code)
{
    const char *todo = "see that the instrument is on and its cable is in";
    if (code == EBUSY)
        return refuse_busy(error, path);
    if (code == EACCES || code == EPERM)
        todo = "give yourself the right to use it, such as by joining the device's group";
    else if (code == ENOENT)
        todo = "see that the instrument is on, its cable is in and the path is right";
    else if (code == EMFILE)
        todo = "raise the limit on open files (ulimit -Hn, or LimitNOFILE= of the service)";
    return error_set(error, ERROR_BENCH, path, todo, "it cannot be opened: %s", strerror(code));
}

int lock_device(const char *path, struct error *error)
{
    struct stat status;
    int fd = open(path, O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    if (fd < 0) {
        refuse_open(error, path, errno);
        return -1;
    }
    if (fstat(fd, &status) != 0 || !S_ISCHR(status.st_mode))
        error_set(error, ERROR_BENCH, path, "put the path of a device in the bench file",
                  "it is no character device");
    else if (flock(fd, LOCK_EX | LOCK_NB) != 0)
        refuse_busy(error, path);
    else
        return fd;
    close(fd);
    return -1;
}

void unlock_device(int fd)
{
    flock(fd, LOCK_UN);
    close(fd);
}

/* An abstract name goes when its socket does, however the process ends. */
int lock_address(const struct sockaddr *address, const char *what, struct error *error)
{
    char text[64] = "", name[100];
    struct sockaddr_un local = {.sun_family = AF_UNIX};
    int port = 0;
    if (address->sa_family == AF_INET) {
        uv_ip4_name((const struct sockaddr_in *)address, text, sizeof text);
        port = ntohs(((const struct sockaddr_in *)address)->sin_port);
    } else {
        uv_ip6_name((const struct sockaddr_in6 *)address, text, sizeof text);
        port = ntohs(((const struct sockaddr_in6 *)address)->sin6_port);
    }
    int length = snprintf(name, sizeof name, "perdure-link %s %d", text, port);
    memcpy(local.sun_path + 1, name, (size_t)length); /* the NUL before it makes it abstract */
    int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    socklen_t size = (socklen_t)(offsetof(struct sockaddr_un, sun_path) + 1 + (size_t)length);
    if (fd >= 0 && bind(fd, (struct sockaddr *)&local, size) == 0)
        return fd;
    if (fd >= 0 && errno == EADDRINUSE)
        refuse_busy(error, what);
    else
        refuse_open(error, what, errno);
    if (fd >= 0)
        close(fd);
    return -1;
}
