/* A serial line: opened, set up and flushed by libserialport; reading and writing, on the
 * descriptor, are the same for all kinds. The lock comes first, on a descriptor of its own, so that
 * a line in use by someone else is not touched. */
#include <errno.h>
#include <libserialport.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>

#include "link/link_internal.h"

static const enum sp_parity parities[] = {SP_PARITY_NONE, SP_PARITY_EVEN, SP_PARITY_ODD};
static const enum sp_flowcontrol flows[] = {SP_FLOWCONTROL_NONE, SP_FLOWCONTROL_RTSCTS,
                                            SP_FLOWCONTROL_XONXOFF};

static int refuse(struct error *error, const char *path, const char *what, enum sp_return code)
{
    char *message = code == SP_ERR_FAIL ? sp_last_error_message() : NULL;
    error_set(error, ERROR_BENCH, path,
              "see that it is a serial port and that its settings are ones it can have",
              "%s failed: %s", what,
              message               ? message
              : code == SP_ERR_SUPP ? "not supported by this port"
                                    : "no serial port of that name, or no such setting");
    sp_free_error_message(message);
    return ERROR_BENCH;
}

/* libserialport leaves VMIN 0, where a read of 0 bytes may mean "none yet" as well as "hung up". */
static int wait_for_bytes(int fd)
{
    struct termios settings;
    if (tcgetattr(fd, &settings) != 0)
        return -1;
    settings.c_cc[VMIN] = 1;
    settings.c_cc[VTIME] = 0;
    return tcsetattr(fd, TCSANOW, &settings);
}

static int set_up(struct sp_port *port, const struct link_spec *spec, int *fd, struct error *error)
{
    enum sp_return code;
    if ((code = sp_set_baudrate(port, spec->speed)) != SP_OK)
        return refuse(error, spec->path, "setting the speed", code);
    if ((code = sp_set_bits(port, spec->bits)) != SP_OK)
        return refuse(error, spec->path, "setting the bits", code);
    if ((code = sp_set_parity(port, parities[spec->parity])) != SP_OK)
        return refuse(error, spec->path, "setting the parity", code);
    if ((code = sp_set_stopbits(port, spec->stop_bits)) != SP_OK)
        return refuse(error, spec->path, "setting the stop bits", code);
    if ((code = sp_set_flowcontrol(port, flows[spec->flow])) != SP_OK)
        return refuse(error, spec->path, "setting the flow control", code);
    if ((code = sp_get_port_handle(port, fd)) != SP_OK)
        return refuse(error, spec->path, "opening", code);
    if (wait_for_bytes(*fd) != 0)
        return error_set(error, ERROR_BENCH, spec->path, "see that it is a serial port",
                         "it cannot be set up: %s", strerror(errno));
    if ((code = sp_flush(port, SP_BUF_BOTH)) != SP_OK)
        return refuse(error, spec->path, "flushing", code);
    return 0;
}

static int serial_open(struct link *link, struct error *error)
{
    const char *path = link->spec.path;
    char real[PATH_MAX];
    struct sp_port *port = NULL;
    link->lock_fd = lock_device(path, error);
    if (link->lock_fd < 0)
        return error->code;
    /* The library knows a port by its name in /dev, not by a link to it, such as a stable path. */
    if (!realpath(path, real))
        return error_set(error, ERROR_BENCH, path, "see that the instrument's cable is in",
                         "it cannot be found: %s", strerror(errno));
    enum sp_return code = sp_get_port_by_name(real, &port);
    if (code == SP_OK && (code = sp_open(port, SP_MODE_READ_WRITE)) != SP_OK) {
        refuse(error, path, "opening", code);
        sp_free_port(port);
        return error->code;
    }
    if (code != SP_OK)
        return refuse(error, path, "looking for the port", code);
    link->line = port;
    if (set_up(port, &link->spec, &link->fd, error))
        return error->code;
    ioctl(link->fd, TIOCEXCL); /* on top, against programs that do not ask flock */
    line_opened(link);
    return 0;
}

static void serial_close(struct link *link)
{
    if (link->line) {
        ioctl(link->lock_fd, TIOCNXCL);
        sp_close(link->line);
        sp_free_port(link->line);
    }
    if (link->lock_fd >= 0)
        unlock_device(link->lock_fd);
}

const struct line_ops line_serial = {"serial", serial_open, serial_close, false, false};
