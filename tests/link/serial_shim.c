/* See serial_shim.h. */
#include "serial_shim.h"

#include <dlfcn.h>
#include <errno.h>
#include <linux/serial.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <termios.h>
#include <unistd.h>

struct serial_shim serial_shim;

/* The name libserialport 0.1.1 calls on this C library; newer ones call lstat. */
int __lxstat(int version, const char *path, struct stat *status);

static bool is_ours(const char *path)
{
    return !serial_shim.off && strncmp(path, "/sys/class/tty/pts/", 19) == 0;
}

/* /sys/class/tty/NAME is a symbolic link for a real port. */
static int answer_stat(struct stat *status)
{
    serial_shim.looked_up++;
    memset(status, 0, sizeof *status);
    status->st_mode = S_IFLNK | 0777;
    return 0;
}

int __lxstat(int version, const char *path, struct stat *status)
{
    int (*next)(int, const char *, struct stat *) = NULL;
    if (is_ours(path))
        return answer_stat(status);
    *(void **)&next = dlsym(RTLD_NEXT, "__lxstat");
    return next(version, path, status);
}

int lstat(const char *restrict path, struct stat *restrict status)
{
    int (*next)(const char *, struct stat *) = NULL;
    if (is_ours(path))
        return answer_stat(status);
    *(void **)&next = dlsym(RTLD_NEXT, "lstat");
    return next(path, status);
}

ssize_t readlink(const char *restrict path, char *restrict buffer, size_t size)
{
    static const char target[] = "../../devices/pnp0/00:05/tty/ttyS0";
    ssize_t (*next)(const char *, char *, size_t) = NULL;
    if (is_ours(path) && size >= sizeof target) {
        memcpy(buffer, target, sizeof target - 1);
        return (ssize_t)sizeof target - 1;
    }
    *(void **)&next = dlsym(RTLD_NEXT, "readlink");
    return next(path, buffer, size);
}

/* Modem lines, of any terminal: this program opens no real one. */
static int answer_lines(unsigned long request, int *lines)
{
    switch (request) {
    case TIOCMGET:
        serial_shim.lines_read++;
        *lines = serial_shim.lines | TIOCM_CTS | TIOCM_DSR;
        return 0;
    case TIOCMSET: serial_shim.lines = *lines; return 0;
    case TIOCMBIS: serial_shim.lines |= *lines; return 0;
    case TIOCMBIC: serial_shim.lines &= ~*lines; return 0;
    default: return -1;
    }
}

int ioctl(int fd, unsigned long request, ...)
{
    int (*next)(int, unsigned long, ...) = NULL;
    va_list arguments;
    va_start(arguments, request);
    void *argument = va_arg(arguments, void *);
    va_end(arguments);
    if (!serial_shim.off && answer_lines(request, argument) == 0)
        return 0;
    *(void **)&next = dlsym(RTLD_NEXT, "ioctl");
    return next(fd, request, argument);
}

int tcflush(int fd, int queue)
{
    int (*next)(int, int) = NULL;
    serial_shim.flushed++;
    *(void **)&next = dlsym(RTLD_NEXT, "tcflush");
    return next(fd, queue);
}

/* Bits and parity are remembered here, and told again. */
#define FRAMING (CSIZE | PARENB | PARODD)

int tcsetattr(int fd, int when, const struct termios *settings)
{
    struct termios kept = *settings;
    int (*next)(int, int, const struct termios *) = NULL;
    if (!serial_shim.off) {
        serial_shim.framing = settings->c_cflag & FRAMING;
        kept.c_cflag = (kept.c_cflag & ~(unsigned)FRAMING) | CS8;
    }
    *(void **)&next = dlsym(RTLD_NEXT, "tcsetattr");
    return next(fd, when, &kept);
}

int tcgetattr(int fd, struct termios *settings)
{
    int (*next)(int, struct termios *) = NULL;
    *(void **)&next = dlsym(RTLD_NEXT, "tcgetattr");
    int code = next(fd, settings);
    if (!serial_shim.off && serial_shim.framing != 0)
        settings->c_cflag = (settings->c_cflag & ~(unsigned)FRAMING) | serial_shim.framing;
    return code;
}
