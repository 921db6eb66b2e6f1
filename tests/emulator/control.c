/* The control socket, both sides of it. */
#include "control.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#define ORDER_MOST 512

struct client {
    struct watch watch; /* first: a watch is cast to this */
    struct client *next;
    struct control *control;
    char in[ORDER_MOST];
    size_t length;
};

struct control {
    struct watch listener; /* first */
    struct house *house;
    char *path;
    struct client *clients;
    bool quit;
};

static int address_of(const char *path, struct sockaddr_un *address)
{
    *address = (struct sockaddr_un){.sun_family = AF_UNIX};
    if (strlen(path) >= sizeof address->sun_path) {
        errno = ENAMETOOLONG;
        return -1;
    }
    memcpy(address->sun_path, path, strlen(path));
    return 0;
}

/* --- serving --------------------------------------------------------------------------------- */

static void drop(struct client *client)
{
    struct client **at = &client->control->clients;
    while (*at != client)
        at = &(*at)->next;
    *at = client->next;
    loop_unwatch(client->control->house->loop, &client->watch);
    close(client->watch.fd);
    free(client);
}

static void take_orders(struct client *client)
{
    struct text reply = TEXT_EMPTY;
    char *at = client->in, *end = client->in + client->length, *stop;
    while ((stop = memchr(at, '\n', (size_t)(end - at))) != NULL) {
        *stop = '\0';
        control_order(client->control->house, at, &reply, &client->control->quit);
        at = stop + 1;
    }
    client->length = (size_t)(end - at);
    memmove(client->in, at, client->length);
    record_flush(client->control->house->record); /* before who ordered knows that it is done */
    for (size_t sent = 0; sent < reply.length;) {
        ssize_t n = send(client->watch.fd, reply.bytes + sent, reply.length - sent, MSG_NOSIGNAL);
        if (n <= 0)
            break;
        sent += (size_t)n;
    }
    text_free(&reply);
}

static void client_ready(struct watch *watch, uint32_t events)
{
    struct client *client = (struct client *)watch;
    (void)events;
    ssize_t length =
        recv(watch->fd, client->in + client->length, sizeof client->in - client->length, 0);
    if (length <= 0) { /* gone, or an order that is too long */
        drop(client);
        return;
    }
    client->length += (size_t)length;
    take_orders(client);
}

/* Blocking: replies are short, and whoever orders reads them. */
static void accept_client(struct watch *watch, uint32_t events)
{
    struct control *control = (struct control *)watch;
    int fd = accept4(watch->fd, NULL, NULL, SOCK_CLOEXEC);
    (void)events;
    if (fd < 0)
        return;
    struct client *client = xcalloc(1, sizeof *client);
    client->watch = (struct watch){fd, client_ready};
    client->control = control;
    client->next = control->clients;
    control->clients = client;
    loop_watch(control->house->loop, &client->watch, EPOLLIN);
}

int control_open(struct control **out, const char *path, struct house *house, struct error *error)
{
    struct sockaddr_un address;
    int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    *out = NULL;
    if (fd < 0 || address_of(path, &address) != 0)
        goto refused;
    unlink(path);
    if (bind(fd, (struct sockaddr *)&address, sizeof address) != 0 || listen(fd, 8) != 0)
        goto refused;
    struct control *control = xcalloc(1, sizeof *control);
    control->listener = (struct watch){fd, accept_client};
    control->house = house;
    control->path = xstrdup(path);
    loop_watch(house->loop, &control->listener, EPOLLIN);
    *out = control;
    return 0;
refused:
    error_set(error, ERROR_USAGE, path, "name another path", "no socket can be served there: %s",
              strerror(errno));
    if (fd >= 0)
        close(fd);
    return ERROR_USAGE;
}

void control_close(struct control *control)
{
    if (control == NULL)
        return;
    while (control->clients != NULL)
        drop(control->clients);
    loop_unwatch(control->house->loop, &control->listener);
    close(control->listener.fd);
    unlink(control->path);
    free(control->path);
    free(control);
}

bool control_quit(const struct control *control)
{
    return control != NULL && control->quit;
}

/* --- telling --------------------------------------------------------------------------------- */

/* Everything up to the line that is "ok" or an error. */
static int print_reply(int fd)
{
    struct text reply = TEXT_EMPTY;
    char bytes[4096];
    bool ok = false, over = false;
    while (!over) {
        ssize_t length = read(fd, bytes, sizeof bytes);
        if (length <= 0)
            break;
        text_add_bytes(&reply, bytes, (size_t)length);
        ok = reply.length >= 3 && strcmp(reply.bytes + reply.length - 3, "ok\n") == 0;
        over = ok || (strstr(reply.bytes, "error: ") && reply.bytes[reply.length - 1] == '\n');
    }
    if (reply.length > 0)
        fputs(reply.bytes, ok ? stdout : stderr);
    text_free(&reply);
    return ok ? 0 : 1;
}

int tell(const char *path, int count, char **words)
{
    struct sockaddr_un address;
    struct text order = TEXT_EMPTY;
    int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0), status = 1;
    for (int i = 0; i < count; i++)
        text_addf(&order, "%s%s", i > 0 ? " " : "", words[i]);
    text_add(&order, "\n");
    if (fd < 0 || address_of(path, &address) != 0 ||
        connect(fd, (struct sockaddr *)&address, sizeof address) != 0 ||
        write(fd, order.bytes, order.length) != (ssize_t)order.length)
        fprintf(stderr, "emulator: %s: no emulator listens there: %s\n", path, strerror(errno));
    else
        status = print_reply(fd);
    if (fd >= 0)
        close(fd);
    text_free(&order);
    return status;
}
