/* A pseudo-terminal: the end that an emulated instrument leaves for us. A kind of its own because
 * libserialport 0.1.1 refuses them: they have no modem lines and no entry in sysfs.
 *
 * Without TIOCEXCL: the flag would outlive a killed process as long as the instrument's end is
 * open, and keep the next one out. */
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
    if (make_raw(fd) != 0 || tcflush(fd, TCIOFLUSH) != 0) {
        error_set(error, ERROR_BENCH, link->spec.path,
                  "put the path of a terminal in the bench file",
                  "it cannot be set up as a terminal: %s", strerror(errno));
        unlock_device(fd);
        return ERROR_BENCH;
    }
    link->fd = fd;
    line_opened(link);
    return 0;
}

static void pty_close(struct link *link)
{
    if (link->fd >= 0)
        unlock_device(link->fd);
}

const struct line_ops line_pty = {"pty", pty_open, pty_close, false, false};
