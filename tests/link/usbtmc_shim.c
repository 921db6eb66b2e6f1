/* See usbtmc_shim.h. */
#include "usbtmc_shim.h"

#include <dlfcn.h>
#include <errno.h>
#include <linux/usb/tmc.h>
#include <poll.h>
#include <stdarg.h>
#include <stdint.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>

struct usbtmc_shim usbtmc_shim = {.device = -1, .patience_ms = 5000};

static int fail(int code)
{
    errno = code;
    return -1;
}

static int answer(int fd, unsigned long request, void *argument)
{
    switch (request) {
    case USBTMC_IOCTL_CLEAR:
        usbtmc_shim.device = fd;
        usbtmc_shim.clears++;
        return tcflush(fd, TCIFLUSH);
    case USBTMC_IOCTL_SET_TIMEOUT:
        if (*(uint32_t *)argument < 100)
            return fail(EINVAL);
        usbtmc_shim.patience_ms = (int)*(uint32_t *)argument;
        return 0;
    case USBTMC_IOCTL_MSG_IN_ATTR: *(uint8_t *)argument = (uint8_t)usbtmc_shim.ended; return 0;
    default: return fail(ENOTTY);
    }
}

int ioctl(int fd, unsigned long request, ...)
{
    int (*next)(int, unsigned long, ...) = NULL;
    va_list arguments;
    va_start(arguments, request);
    void *argument = va_arg(arguments, void *);
    va_end(arguments);
    if (_IOC_TYPE(request) == USBTMC_IOC_NR)
        return usbtmc_shim.off ? fail(ENOTTY) : answer(fd, request, argument);
    *(void **)&next = dlsym(RTLD_NEXT, "ioctl");
    return next(fd, request, argument);
}

/* Fills the room, or stops at the end of the message: a line feed, here. Blocks for the patience,
 * then ETIMEDOUT. */
static ssize_t read_message(ssize_t (*next)(int, void *, size_t), int fd, char *bytes, size_t room)
{
    size_t have = 0;
    usbtmc_shim.reads++;
    usbtmc_shim.ended = 0;
    while (have < room && !usbtmc_shim.ended) {
        if (poll(&(struct pollfd){fd, POLLIN, 0}, 1, usbtmc_shim.patience_ms) == 0) {
            usbtmc_shim.time_outs++;
            return fail(ETIMEDOUT);
        }
        ssize_t count = next(fd, bytes + have, room - have);
        if (count <= 0)
            return fail(ENODEV);
        have += (size_t)count;
        usbtmc_shim.ended = bytes[have - 1] == '\n';
    }
    return (ssize_t)have;
}

ssize_t read(int fd, void *bytes, size_t room)
{
    ssize_t (*next)(int, void *, size_t) = NULL;
    *(void **)&next = dlsym(RTLD_NEXT, "read");
    return fd == usbtmc_shim.device ? read_message(next, fd, bytes, room) : next(fd, bytes, room);
}
