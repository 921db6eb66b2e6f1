/* A pseudo-terminal: the end that an emulated instrument leaves for us. A kind of its own because
 * libserialport 0.1.1 refuses them: they have no modem lines and no entry in sysfs. */
#include <errno.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>

#include "link/link_internal.h"

static int make_raw(int fd)
{
    struct termios settings;
    if (tcgetattr(fd, &settings) != 0)
        return -1;
    cfmakeraw(&settings); /* with VMIN 1: a read of 0 bytes means hung up */
    return tcsetattr(fd, TCSANOW, &settings);
}

static int pty_open(struct link *link, struct error *error)
{
    int fd = lock_device(link->spec.path, error);
    if (fd < 0)
        return error->code;
    lock_terminal(fd);
    if (make_raw(fd) != 0 || tcflush(fd, TCIOFLUSH) != 0) {
        error_set(error, ERROR_BENCH, link->spec.path,
                  "put the path of a terminal in the bench file",
                  "it cannot be set up as a terminal: %s", strerror(errno));
        unlock_terminal(fd);
        close(fd);
        return ERROR_BENCH;
    }
    link->fd = fd;
    line_opened(link);
    return 0;
}

static void pty_close(struct link *link)
{
    if (link->fd < 0)
        return;
    unlock_terminal(link->fd);
    close(link->fd);
}

const struct line_ops line_pty = {"pty", pty_open, pty_close, false, false};
