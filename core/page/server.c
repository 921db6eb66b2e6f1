/* The daemon, its descriptor on the loop, and the time that each connection is given. */
#include "page/server.h"

#include <errno.h>
#include <netinet/in.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>
#include <uv.h>

#include "base/text.h"

#define BACKLOG  16
#define APART_MS 2 /* between rounds that wake readers */
#define NEVER_MS UINT64_MAX

struct visitor {
    struct visitor *next;
    struct server *server;
    int fd;
    int64_t since_us; /* when it came, or when its last request was done with */
    bool lasts;
};

struct server {
    struct server_options options;
    struct MHD_Daemon *daemon;
    struct visitor *visitors;
    uv_poll_t poll;
    uv_timer_t soon; /* the daemon wants to be run again by then */
    uv_timer_t tick;
    bool stirred; /* something goes on that the descriptor does not tell of */
    int open_handles;
};

int64_t server_now(void)
{
    struct timespec now;
    clock_gettime(CLOCK_BOOTTIME, &now);
    return now.tv_sec * 1000000LL + now.tv_nsec / 1000;
}

int server_listen(const struct sockaddr_storage *address, int *listener, int *port,
                  struct error *error)
{
    const int on = 1;
    struct sockaddr_storage bound;
    socklen_t length =
        address->ss_family == AF_INET6 ? sizeof(struct sockaddr_in6) : sizeof(struct sockaddr_in);
    int fd = socket(address->ss_family, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    if (fd >= 0)
        setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &on, sizeof on);
    if (fd < 0 || bind(fd, (const struct sockaddr *)address, length) || listen(fd, BACKLOG)) {
        error_set(error, ERROR_USAGE, "--page", "choose another port, or 0 for any that is free",
                  "the page cannot listen there: %s", strerror(errno));
        if (fd >= 0)
            close(fd);
        return error->code;
    }
    length = sizeof bound;
    getsockname(fd, (struct sockaddr *)&bound, &length);
    *port = ntohs(bound.ss_family == AF_INET6 ? ((struct sockaddr_in6 *)&bound)->sin6_port
                                              : ((struct sockaddr_in *)&bound)->sin_port);
    *listener = fd;
    return 0;
}

/* --- driving ---------------------------------------------------------------------------------- */

static void run(struct server *server);

static void on_soon(uv_timer_t *timer)
{
    run(timer->data);
}

static void on_poll(uv_poll_t *poll, int status, int events)
{
    (void)status;
    (void)events;
    run(poll->data);
}

/* One round over the connections that have something to do, each getting one read or one write. */
static void run(struct server *server)
{
    MHD_UNSIGNED_LONG_LONG ms = 0, wanted = NEVER_MS;
    server->stirred = false;
    if (server->options.wake(server->options.owner))
        wanted = APART_MS;
    MHD_run(server->daemon);
    if (MHD_get_timeout(server->daemon, &ms) == MHD_YES && ms < wanted)
        wanted = ms;
    if (server->stirred) /* by a request of this round */
        wanted = 0;
    if (wanted == NEVER_MS)
        uv_timer_stop(&server->soon);
    else
        uv_timer_start(&server->soon, on_soon, wanted, 0);
}

void server_stir(struct server *server)
{
    server->stirred = true;
    uv_timer_start(&server->soon, on_soon, 0, 0);
}

static void on_tick(uv_timer_t *timer)
{
    struct server *server = timer->data;
    int64_t now = server_now();
    for (struct visitor *visitor = server->visitors; visitor; visitor = visitor->next)
        if (!visitor->lasts && now - visitor->since_us > server->options.patience * 1000000LL)
            shutdown(visitor->fd, SHUT_RDWR); /* the daemon sees it and lets go */
    server->options.tick(server->options.owner, now);
}

/* --- who is connected ------------------------------------------------------------------------- */

static struct visitor *visitor_of(struct MHD_Connection *connection)
{
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_SOCKET_CONTEXT);
    return info ? info->socket_context : NULL;
}

static void on_connection(void *owner, struct MHD_Connection *connection, void **context,
                          enum MHD_ConnectionNotificationCode code)
{
    struct server *server = owner;
    if (code == MHD_CONNECTION_NOTIFY_STARTED) {
        struct visitor *visitor = xcalloc(1, sizeof *visitor);
        visitor->server = server;
        visitor->fd =
            MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CONNECTION_FD)->connect_fd;
        visitor->since_us = server_now();
        visitor->next = server->visitors;
        if (!server->visitors)
            uv_timer_start(&server->tick, on_tick, 1000, 1000);
        server->visitors = visitor;
        *context = visitor;
    } else if (*context) {
        struct visitor *visitor = *context, **place = &server->visitors;
        while (*place != visitor)
            place = &(*place)->next;
        *place = visitor->next;
        free(visitor);
        *context = NULL;
        if (!server->visitors)
            uv_timer_stop(&server->tick);
        server->stirred = true; /* a full daemon listens again only in its next round */
    }
}

static void on_completed(void *owner, struct MHD_Connection *connection, void **request,
                         enum MHD_RequestTerminationCode code)
{
    struct server *server = owner;
    struct visitor *visitor = visitor_of(connection);
    if (visitor) {
        visitor->since_us = server_now();
        visitor->lasts = false;
    }
    server->options.completed(server->options.routes, connection, request, code);
}

void server_lasts(struct MHD_Connection *connection)
{
    struct visitor *visitor = visitor_of(connection);
    if (visitor)
        visitor->lasts = true;
}

/* --- opening and closing ---------------------------------------------------------------------- */

int server_open(struct server **out, void *uv_loop, const struct server_options *options,
                struct error *error)
{
    struct server *server = xcalloc(1, sizeof *server);
    server->options = *options;
    if (!server->options.patience)
        server->options.patience = SERVER_PATIENCE;
    server->daemon = MHD_start_daemon(
        MHD_USE_EPOLL | MHD_ALLOW_SUSPEND_RESUME, 0, NULL, NULL, options->handle, options->routes,
        MHD_OPTION_LISTEN_SOCKET, options->listener, MHD_OPTION_CONNECTION_LIMIT,
        (unsigned)SERVER_CONNECTIONS, MHD_OPTION_CONNECTION_MEMORY_LIMIT, (size_t)SERVER_MEMORY,
        MHD_OPTION_CONNECTION_TIMEOUT, server->options.patience, MHD_OPTION_STRICT_FOR_CLIENT, 1,
        MHD_OPTION_SIGPIPE_HANDLED_BY_APP, 1, MHD_OPTION_NOTIFY_CONNECTION, on_connection, server,
        MHD_OPTION_NOTIFY_COMPLETED, on_completed, server, MHD_OPTION_END);
    if (!server->daemon) {
        close(options->listener);
        free(server);
        return error_set(error, ERROR_INTERNAL, "--page", "try without --page",
                         "the page's server does not start: %s", strerror(errno));
    }
    int epoll = MHD_get_daemon_info(server->daemon, MHD_DAEMON_INFO_EPOLL_FD)->epoll_fd;
    uv_poll_init(uv_loop, &server->poll, epoll);
    uv_timer_init(uv_loop, &server->soon);
    uv_timer_init(uv_loop, &server->tick);
    server->poll.data = server->soon.data = server->tick.data = server;
    uv_poll_start(&server->poll, UV_READABLE, on_poll);
    *out = server;
    return 0;
}

static void closed(uv_handle_t *handle)
{
    struct server *server = handle->data;
    if (--server->open_handles == 0)
        free(server);
}

void server_close(struct server *server)
{
    if (!server)
        return;
    uv_poll_stop(&server->poll); /* before the descriptor is gone */
    MHD_stop_daemon(server->daemon);
    server->open_handles = 3;
    uv_close((uv_handle_t *)&server->poll, closed);
    uv_close((uv_handle_t *)&server->soon, closed);
    uv_close((uv_handle_t *)&server->tick, closed);
}
