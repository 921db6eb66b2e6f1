/* The ports, their lines, and who has them open. */
#include "ports.h"

#include <arpa/inet.h>
#include <errno.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <stdlib.h>
#include <string.h>
#include <sys/inotify.h>
#include <sys/socket.h>
#include <unistd.h>

#include "line.h"
#include "pty.h"

#define CONNECTIONS_MOST 4 /* to one instrument; a further one is closed at once */

struct port {
    struct watch listener; /* first: a watch is cast to this; TCP only */
    struct ports *ports;
    struct instrument *instrument;
    enum reach reach;
    char *path;           /* terminal */
    struct pty pty, next; /* `next` is opened before this one is hung up: another device for sure */
    int number;           /* TCP */
    char place[64];
    bool up;
    int64_t return_at;    /* us; 0: not by itself */
    struct line *lines;   /* owned: of a terminal always one */
    int opened, watching; /* of a terminal: by how many, by inotify's number */
};

struct ports {
    struct watch openers; /* first; inotify: who opens and closes terminals */
    struct loop *loop;
    const struct pace *pace;
    struct port **list;
    int count;
    bool restless; /* something may be due by the clock */
};

/* --- lines ----------------------------------------------------------------------------------- */

static struct line *add_line(struct port *port, int fd, void (*gone)(struct line *))
{
    struct line *line = xcalloc(1, sizeof *line);
    line->instrument = port->instrument;
    line->pace = port->ports->pace;
    line->gone = gone;
    line->owner = port;
    line->restless = &port->ports->restless;
    line->next = port->lines;
    port->lines = line;
    line_open(line, port->ports->loop, fd);
    return line;
}

static void remove_line(struct line *line)
{
    struct port *port = line->owner;
    struct line **at = &port->lines;
    while (*at != line)
        at = &(*at)->next;
    *at = line->next;
    line_close(line);
    free(line);
}

static void connection_gone(struct line *line)
{
    int fd = line->watch.fd;
    remove_line(line);
    close(fd);
}

/* --- TCP ------------------------------------------------------------------------------------- */

static void accept_connection(struct watch *watch, uint32_t events)
{
    struct port *port = (struct port *)watch;
    int fd = accept4(watch->fd, NULL, NULL, SOCK_NONBLOCK | SOCK_CLOEXEC), one = 1, count = 0;
    (void)events;
    if (fd < 0)
        return;
    for (const struct line *line = port->lines; line != NULL; line = line->next)
        count++;
    if (count >= CONNECTIONS_MOST) {
        close(fd);
        return;
    }
    setsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &one, sizeof one);
    add_line(port, fd, connection_gone);
    port->ports->restless = true; /* it may be one to be flooded */
}

static int listen_at(struct port *port, struct error *error)
{
    struct sockaddr_in address = {.sin_family = AF_INET,
                                  .sin_port = htons((uint16_t)port->number),
                                  .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    socklen_t size = sizeof address;
    int one = 1, fd = socket(AF_INET, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
    if (fd < 0 || setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &one, sizeof one) != 0 ||
        bind(fd, (struct sockaddr *)&address, size) != 0 || listen(fd, 8) != 0 ||
        getsockname(fd, (struct sockaddr *)&address, &size) != 0) {
        error_set(error, ERROR_FAILED, port->instrument->name, "name another port, or 0",
                  "port %d of 127.0.0.1 cannot be served: %s", port->number, strerror(errno));
        if (fd >= 0)
            close(fd);
        return ERROR_FAILED;
    }
    port->number = ntohs(address.sin_port);
    snprintf(port->place, sizeof port->place, "127.0.0.1:%d", port->number);
    port->listener = (struct watch){fd, accept_connection};
    loop_watch(port->ports->loop, &port->listener, EPOLLIN);
    return 0;
}

/* --- terminals -------------------------------------------------------------------------------- */

static void terminal_gone(struct line *line)
{
    (void)line; /* cannot be: the slave is held open */
}

static int serve_terminal(struct port *port, struct error *error)
{
    int failed = port->next.master < 0 ? pty_open(&port->next, port->path, error) : 0;
    if (!failed)
        failed = pty_link(&port->next, port->path, error);
    if (failed)
        return failed;
    port->pty = port->next;
    port->next.master = port->next.slave = -1;
    port->opened = 0;
    port->watching =
        inotify_add_watch(port->ports->openers.fd, port->pty.device, IN_OPEN | IN_CLOSE);
    add_line(port, port->pty.master, terminal_gone);
    return 0;
}

static void count_openers(struct ports *ports, const struct inotify_event *event)
{
    for (int i = 0; i < ports->count; i++) {
        struct port *port = ports->list[i];
        if (!port->up || port->reach != REACH_PTY || port->watching != event->wd)
            continue;
        if (event->mask & IN_OPEN)
            port->opened++;
        else if (event->mask & IN_CLOSE && port->opened > 0 && --port->opened == 0) {
            line_forget(port->lines);
            pty_released(&port->pty);
        }
    }
}

static void openers_changed(struct watch *watch, uint32_t events)
{
    _Alignas(struct inotify_event) char bytes[8192];
    ssize_t length = read(watch->fd, bytes, sizeof bytes);
    (void)events;
    for (ssize_t at = 0; at < length;) {
        const struct inotify_event *event = (const struct inotify_event *)(void *)(bytes + at);
        count_openers((struct ports *)watch, event);
        at += (ssize_t)(sizeof *event + event->len);
    }
}

/* --- hanging up, coming back ------------------------------------------------------------------ */

static void take_down(struct port *port)
{
    if (!port->up)
        return;
    port->up = false;
    if (port->reach == REACH_TCP) {
        while (port->lines != NULL)
            connection_gone(port->lines);
        loop_unwatch(port->ports->loop, &port->listener);
        close(port->listener.fd);
        return;
    }
    remove_line(port->lines);
    inotify_rm_watch(port->ports->openers.fd, port->watching);
    pty_unlink(&port->pty, port->path);
    pty_close(&port->pty);
}

static int bring_up(struct port *port, struct error *error)
{
    int failed = port->reach == REACH_TCP ? listen_at(port, error) : serve_terminal(port, error);
    port->up = !failed;
    port->return_at = 0;
    port->ports->restless = true;
    return failed;
}

void port_hang_up(struct port *port, double seconds)
{
    struct error error;
    if (port->up && port->reach == REACH_PTY && pty_open(&port->next, port->path, &error))
        error_print(stderr, &error); /* tried again when it returns */
    take_down(port);
    port->return_at = seconds > 0 ? monotonic_us() + (int64_t)(seconds * 1e6) : 0;
    port->ports->restless = true;
    record_add(port->instrument->record, port->instrument->name, "hung-up");
}

int port_return(struct port *port, struct error *error)
{
    if (port->up)
        return 0;
    int failed = bring_up(port, error);
    if (!failed)
        record_add(port->instrument->record, port->instrument->name, "returned");
    return failed;
}

/* --- all of them ------------------------------------------------------------------------------ */

struct ports *ports_new(struct loop *loop, const struct pace *pace)
{
    struct ports *ports = xcalloc(1, sizeof *ports);
    ports->loop = loop;
    ports->pace = pace;
    ports->openers = (struct watch){inotify_init1(IN_NONBLOCK | IN_CLOEXEC), openers_changed};
    loop_watch(loop, &ports->openers, EPOLLIN);
    return ports;
}

void ports_free(struct ports *ports)
{
    for (int i = 0; i < ports->count; i++) {
        take_down(ports->list[i]);
        pty_close(&ports->list[i]->next);
        free(ports->list[i]->path);
        free(ports->list[i]);
    }
    loop_unwatch(ports->loop, &ports->openers);
    close(ports->openers.fd);
    free(ports->list);
    free(ports);
}

int ports_add(struct ports *ports, struct instrument *instrument, enum reach reach,
              const char *path, int number, struct error *error)
{
    struct port *port = xcalloc(1, sizeof *port);
    port->ports = ports;
    port->instrument = instrument;
    port->reach = reach;
    port->path = path != NULL ? xstrdup(path) : NULL;
    port->number = number;
    port->next = (struct pty){.master = -1, .slave = -1};
    ports->list = xrealloc(ports->list, (size_t)(ports->count + 1) * sizeof(struct port *));
    ports->list[ports->count++] = port;
    return bring_up(port, error);
}

int ports_count(const struct ports *ports)
{
    return ports->count;
}

struct port *ports_at(struct ports *ports, int i)
{
    return ports->list[i];
}

struct instrument *port_instrument(const struct port *port)
{
    return port->instrument;
}

enum reach port_reach(const struct port *port)
{
    return port->reach;
}

const char *port_place(const struct port *port)
{
    return port->reach == REACH_PTY ? port->path : port->place;
}

const char *port_device(const struct port *port)
{
    return port->reach == REACH_PTY && port->up ? port->pty.device : NULL;
}

int port_number(const struct port *port)
{
    return port->number;
}

bool port_is_up(const struct port *port)
{
    return port->up;
}

void ports_stir(struct ports *ports)
{
    ports->restless = true;
}

static int64_t port_due(struct port *port, int64_t now)
{
    int64_t next = INT64_MAX;
    if (!port->up) {
        if (port->return_at == 0)
            return INT64_MAX;
        if (port->return_at > now)
            return port->return_at;
        struct error error;
        if (port_return(port, &error))
            error_print(stderr, &error);
    }
    for (struct line *line = port->lines; line != NULL; line = line->next) {
        int64_t due = line_due(line, now);
        next = due < next ? due : next;
    }
    return next;
}

int64_t ports_due(struct ports *ports, int64_t now)
{
    int64_t next = INT64_MAX;
    if (!ports->restless)
        return INT64_MAX;
    for (int i = 0; i < ports->count; i++) {
        int64_t due = port_due(ports->list[i], now);
        next = due < next ? due : next;
    }
    ports->restless = next != INT64_MAX;
    return next;
}
