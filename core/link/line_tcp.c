/* TCP: the name is looked up off the loop, then each address is tried in turn. The time for all of
 * it is the link's patience. */
#include <errno.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#include "link/link_internal.h"

/* Outlives the link when that is closed during the look-up. */
struct lookup {
    uv_getaddrinfo_t request;
    struct link *link; /* NULL: nobody waits for it any more */
    const struct addrinfo *next;
    struct addrinfo *found;
    bool looking;
};

static void free_lookup(struct lookup *lookup)
{
    if (lookup->found)
        uv_freeaddrinfo(lookup->found);
    free(lookup);
}

static void refuse(struct link *link, const char *reason)
{
    struct error why;
    char what[300];
    snprintf(what, sizeof what, "%s port %d", link->spec.path, link->spec.port);
    error_set(&why, ERROR_BENCH, what,
              "see that the instrument is on and in the network, and that its address is right",
              "it cannot be reached: %s", reason);
    line_failed(link, &why);
}

static void try_next(struct lookup *lookup, const char *reason);

/* Small messages go at once; a peer that vanished is noticed within a minute even while idle. */
static void set_up(int fd)
{
    const int on = 1, idle_s = 20, every_s = 10, count = 4;
    setsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
    setsockopt(fd, SOL_SOCKET, SO_KEEPALIVE, &on, sizeof on);
    setsockopt(fd, IPPROTO_TCP, TCP_KEEPIDLE, &idle_s, sizeof idle_s);
    setsockopt(fd, IPPROTO_TCP, TCP_KEEPINTVL, &every_s, sizeof every_s);
    setsockopt(fd, IPPROTO_TCP, TCP_KEEPCNT, &count, sizeof count);
}

static void on_connect(uv_poll_t *poll, int status, int events)
{
    struct link *link = poll->data;
    int code = 0;
    socklen_t size = sizeof code;
    (void)events;
    getsockopt(link->fd, SOL_SOCKET, SO_ERROR, &code, &size); /* says more than `status` does */
    if (status < 0 && !code)
        code = -status;
    if (code) {
        try_next(link->line, strerror(code));
        return;
    }
    free_lookup(link->line);
    link->line = NULL;
    line_opened(link);
    link_deliver(link);
}

/* Closes the attempt under way, not the link. */
static void give_up_address(struct link *link)
{
    link_unpoll(link);
    if (link->fd >= 0)
        close(link->fd);
    if (link->lock_fd >= 0)
        close(link->lock_fd);
    link->fd = link->lock_fd = -1;
}

static bool begin_connect(struct link *link, const struct addrinfo *address, struct error *error)
{
    link->lock_fd = lock_address(address->ai_addr, link->spec.path, error);
    if (link->lock_fd < 0)
        return false;
    link->fd = socket(address->ai_family, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
    if (link->fd >= 0)
        set_up(link->fd);
    if (link->fd < 0 ||
        (connect(link->fd, address->ai_addr, address->ai_addrlen) != 0 && errno != EINPROGRESS)) {
        error_set(error, ERROR_BENCH, link->spec.path, "", "%s", strerror(errno));
        return false;
    }
    int code = link_poll(link, UV_WRITABLE, on_connect);
    if (code)
        error_set(error, ERROR_BENCH, link->spec.path, "", "%s", uv_strerror(code));
    return !code;
}

/* `reason`: why the last one failed. */
static void try_next(struct lookup *lookup, const char *reason)
{
    struct link *link = lookup->link;
    struct error error;
    char last[768];
    string_copy(last, sizeof last, reason);
    give_up_address(link);
    while (lookup->next) {
        const struct addrinfo *address = lookup->next;
        lookup->next = address->ai_next;
        if (begin_connect(link, address, &error))
            return;
        string_copy(last, sizeof last, error.why);
        give_up_address(link);
    }
    refuse(link, last);
}

static void on_found(uv_getaddrinfo_t *request, int status, struct addrinfo *found)
{
    struct lookup *lookup = request->data;
    lookup->looking = false;
    lookup->next = lookup->found = found;
    if (!lookup->link)
        free_lookup(lookup);
    else if (status)
        refuse(lookup->link, uv_strerror(status));
    else
        try_next(lookup, "it has no address");
}

static int tcp_open(struct link *link, struct error *error)
{
    struct addrinfo hints = {.ai_family = AF_UNSPEC, .ai_socktype = SOCK_STREAM};
    struct lookup *lookup = xcalloc(1, sizeof *lookup);
    char port[8];
    snprintf(port, sizeof port, "%d", link->spec.port);
    lookup->request.data = lookup;
    lookup->link = link;
    lookup->looking = true;
    int code =
        uv_getaddrinfo(link->loop, &lookup->request, on_found, link->spec.path, port, &hints);
    if (code) {
        free(lookup);
        return error_set(error, ERROR_BENCH, link->spec.path, "put the name of a host there",
                         "it cannot be looked up: %s", uv_strerror(code));
    }
    link->line = lookup;
    return 0;
}

static void tcp_close(struct link *link)
{
    struct lookup *lookup = link->line;
    if (lookup && lookup->looking) {
        lookup->link = NULL;
        uv_cancel((uv_req_t *)&lookup->request);
    } else if (lookup) {
        free_lookup(lookup);
    }
    give_up_address(link);
}

const struct line_ops line_tcp = {"TCP", tcp_open, tcp_close, true, false};
