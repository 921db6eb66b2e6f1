/* USBTMC: a character device of the kernel, /dev/usbtmcN. A write is one message to the instrument,
 * a read asks the instrument for its answer and blocks until that comes or the driver's patience
 * ends; a read that nobody answers leaves the instrument with an error (-420). It cannot be polled.
 * So a thread carries the messages, reads only where an answer is due, and is to the link a socket
 * like any other.
 *
 * The thread owns itself: it ends, and lets go of the device, when the link has closed its end of
 * the socket and the read in progress is over. */
#include <errno.h>
#include <fcntl.h>
#include <linux/usb/tmc.h>
#include <poll.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/socket.h>
#include <unistd.h>

#include "link/link_internal.h"

#define CHUNK               4096
#define USBTMC_MIN_PATIENCE 100 /* ms; the driver refuses less */

struct carrier {
    int device, socket;
    char terminator; /* the last byte of an answer */
};

static bool receive(int fd, void *bytes, size_t length)
{
    ssize_t count;
    for (char *to = bytes; length; to += count, length -= (size_t)count)
        if ((count = recv(fd, to, length, MSG_WAITALL)) <= 0)
            return false;
    return true;
}

static bool pass_on(int fd, const char *bytes, size_t length)
{
    ssize_t count;
    for (; length; bytes += count, length -= (size_t)count)
        if ((count = send(fd, bytes, length, MSG_NOSIGNAL)) <= 0)
            return false;
    return true;
}

/* Waits for an answer where the driver does not: one too old to know a patience, or a stand-in in a
 * test. */
static bool wait_here(int device, uint32_t patience_ms)
{
    struct pollfd wait = {.fd = device, .events = POLLIN};
    return poll(&wait, 1, (int)patience_ms) > 0;
}

/* Whether a read brought the end of the message. The driver stops there, or when the buffer is
 * full; newer ones then say which it was. A stand-in knows of no messages: the terminator is all
 * there is. */
static bool is_end(const struct carrier *carrier, bool driver_waits, const char *bytes,
                   size_t count)
{
    uint8_t attributes = 0;
    if (!driver_waits)
        return bytes[count - 1] == carrier->terminator;
    return count < CHUNK || (ioctl(carrier->device, USBTMC_IOCTL_MSG_IN_ATTR, &attributes) == 0 &&
                             (attributes & 1) != 0);
}

/* False when the device is gone. */
static bool carry_answer(const struct carrier *carrier, uint32_t patience_ms)
{
    char bytes[CHUNK];
    uint32_t driver_ms = patience_ms < USBTMC_MIN_PATIENCE ? USBTMC_MIN_PATIENCE : patience_ms;
    bool driver_waits = ioctl(carrier->device, USBTMC_IOCTL_SET_TIMEOUT, &driver_ms) == 0;
    for (;;) {
        if (!driver_waits && !wait_here(carrier->device, patience_ms))
            return true;
        ssize_t count = read(carrier->device, bytes, sizeof bytes);
        if (count < 0 && (errno == ETIMEDOUT || errno == EAGAIN)) {
            /* Clears what both sides hold, so that no late answer is left. */
            ioctl(carrier->device, USBTMC_IOCTL_CLEAR);
            return true;
        }
        if (count <= 0 || !pass_on(carrier->socket, bytes, (size_t)count))
            return false;
        if (is_end(carrier, driver_waits, bytes, (size_t)count))
            return true;
    }
}

/* One message: its head, its bytes, its answer. */
static bool carry(const struct carrier *carrier)
{
    struct message message;
    if (!receive(carrier->socket, &message, sizeof message))
        return false;
    char *bytes = xmalloc(message.length);
    bool going = receive(carrier->socket, bytes, message.length) &&
                 write(carrier->device, bytes, message.length) == (ssize_t)message.length &&
                 (message.patience_ms == 0 || carry_answer(carrier, message.patience_ms));
    free(bytes);
    return going;
}

static void *carry_all(void *argument)
{
    struct carrier *carrier = argument;
    while (carry(carrier))
        continue;
    unlock_device(carrier->device);
    close(carrier->socket); /* the link reads the end of file, if it still listens */
    free(carrier);
    return NULL;
}

static int start(struct link *link, int device, const int ends[2], struct error *error)
{
    struct carrier *carrier = xcalloc(1, sizeof *carrier);
    pthread_attr_t attributes;
    pthread_t thread;
    *carrier =
        (struct carrier){device, ends[1], link->spec.terminator[strlen(link->spec.terminator) - 1]};
    pthread_attr_init(&attributes);
    pthread_attr_setdetachstate(&attributes, PTHREAD_CREATE_DETACHED);
    int code = pthread_create(&thread, &attributes, carry_all, carrier);
    pthread_attr_destroy(&attributes);
    if (!code)
        return 0;
    free(carrier);
    return error_set(error, ERROR_BENCH, link->spec.path, "close other programs",
                     "there is no thread for it: %s", strerror(code));
}

static int usbtmc_open(struct link *link, struct error *error)
{
    int ends[2];
    int device = lock_device(link->spec.path, error);
    if (device < 0)
        return error->code;
    fcntl(device, F_SETFL, fcntl(device, F_GETFL) & ~O_NONBLOCK);
    ioctl(device, USBTMC_IOCTL_CLEAR); /* flushes both sides */
    if (socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, ends) != 0) {
        close(device);
        return error_set(error, ERROR_BENCH, link->spec.path, "close other programs",
                         "there is no socket for it: %s", strerror(errno));
    }
    int duplicate = fcntl(device, F_DUPFD_CLOEXEC, 0); /* for link_fd: the carrier owns its own */
    if (start(link, device, ends, error)) {
        close(device);
        if (duplicate >= 0)
            close(duplicate);
        close(ends[0]);
        close(ends[1]);
        return error->code;
    }
    fcntl(ends[0], F_SETFL, O_NONBLOCK);
    link->fd = ends[0];
    link->lock_fd = duplicate;
    line_opened(link);
    return 0;
}

static void usbtmc_close(struct link *link)
{
    if (link->fd >= 0)
        close(link->fd);
    if (link->lock_fd >= 0)
        close(link->lock_fd);
}

const struct line_ops line_usbtmc = {"USBTMC", usbtmc_open, usbtmc_close, true, true};
