/* Bytes to and from an open line, of whatever kind: written as far as it takes them, the rest kept
 * until it takes more. A line that fails is hung up here; what the bytes mean is not known here. */
#include <errno.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/socket.h>
#include <unistd.h>

#include "link/link_internal.h"

/* Hangs up and gives false on failure. */
static bool write_some(struct link *link, const char *bytes, size_t length, size_t *written)
{
    ssize_t count;
    do
        count = link->ops->socket ? send(link->fd, bytes, length, MSG_NOSIGNAL)
                                  : write(link->fd, bytes, length);
    while (count < 0 && errno == EINTR);
    if (count < 0 && errno != EAGAIN) {
        link_hang_up_because(link, "it takes no bytes: %s", strerror(errno));
        return false;
    }
    *written = count > 0 ? (size_t)count : 0;
    return true;
}

static bool watch(struct link *link, bool writing)
{
    if (link->writing == writing)
        return true;
    link->writing = writing;
    int events = UV_READABLE | UV_DISCONNECT | (writing ? UV_WRITABLE : 0);
    int code = link_poll(link, events, exchange_io);
    if (code)
        link_hang_up_because(link, "it cannot be watched: %s", uv_strerror(code));
    return !code;
}

bool line_flush(struct link *link)
{
    size_t written;
    if (!write_some(link, link->out.bytes + link->out_sent, link->out.length - link->out_sent,
                    &written))
        return false;
    link->out_sent += written;
    if (link->out_sent < link->out.length)
        return watch(link, true);
    text_clear(&link->out);
    link->out_sent = 0;
    return watch(link, false);
}

bool line_put(struct link *link, const char *bytes, size_t length, uint32_t patience_ms)
{
    size_t written = 0;
    link_trace(link, 'o', bytes, length);
    if (link->ops->messages) {
        struct message message = {(uint32_t)length, patience_ms};
        text_add_bytes(&link->out, (const char *)&message, sizeof message);
    } else if (link->out.length == 0) {
        if (!write_some(link, bytes, length, &written))
            return false;
        if (written == length)
            return true;
    }
    text_add_bytes(&link->out, bytes + written, length - written);
    return line_flush(link);
}

ssize_t line_get(struct link *link, char *bytes, size_t room)
{
    ssize_t count;
    do
        count = read(link->fd, bytes, room);
    while (count < 0 && errno == EINTR);
    if (count > 0)
        return count;
    if (count < 0 && errno == EAGAIN)
        return 0;
    if (count == 0 || errno == EIO)
        link_hang_up_because(link, "the other end hung up");
    else
        link_hang_up_because(link, "it cannot be read: %s", strerror(errno));
    return -1;
}

bool line_has_bytes(const struct link *link)
{
    int count = 0;
    return ioctl(link->fd, FIONREAD, &count) == 0 && count > 0;
}

bool line_throw_away(struct link *link)
{
    char bytes[4096];
    ssize_t count = line_get(link, bytes, sizeof bytes);
    if (count <= 0)
        return count < 0;
    link_trace(link, 'x', bytes, (size_t)count);
    link->counts.strays += (uint64_t)count;
    return true;
}
