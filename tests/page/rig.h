/* A place to test the page's server in: its routes on a loop of their own, an engine that only
 * remembers what it was asked, and clients on real sockets that send any bytes. */
#ifndef PERDURE_TESTS_PAGE_RIG_H
#define PERDURE_TESTS_PAGE_RIG_H

#include <arpa/inet.h>
#include <errno.h>
#include <netinet/in.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>
#include <uv.h>

#include "link/loop.h"
#include "page/routes.h"
#include "page/server.h"

struct rig {
    void *loop;
    int port;
    struct gate gate;
    struct server *server;
    struct stream *stream;
    struct routes routes;
    int asked, forgotten, joined;
    char request[2 * ROUTES_BODY_MOST]; /* the last that was asked */
    void (*done)(void *talk, const char *reply);
    void *talk;                      /* the last that waits for its reply; NULL: none */
    void *older[SERVER_CONNECTIONS]; /* that wait as well */
    int olders;
};

static inline void rig_ask(void *owner, const char *request, size_t length,
                           void (*done)(void *talk, const char *reply), void *talk)
{
    struct rig *rig = owner;
    rig->asked++;
    if (rig->talk)
        rig->older[rig->olders++] = rig->talk;
    snprintf(rig->request, sizeof rig->request, "%.*s", (int)length, request);
    rig->done = done;
    rig->talk = talk;
}

static inline void rig_forget(void *owner, const void *talk)
{
    struct rig *rig = owner;
    rig->forgotten++;
    if (rig->talk == talk)
        rig->talk = NULL;
    for (int i = 0; i < rig->olders; i++)
        if (rig->older[i] == talk)
            rig->older[i--] = rig->older[--rig->olders];
}

static inline void rig_woken(void *owner)
{
    struct rig *rig = owner;
    server_stir(rig->server);
}

static inline void rig_joined(void *owner)
{
    struct rig *rig = owner;
    rig->joined++;
}

static inline bool rig_wake(void *owner)
{
    const struct rig *rig = owner;
    return stream_wake(rig->stream, 4);
}

static inline void rig_tick(void *owner, int64_t now_us)
{
    struct rig *rig = owner;
    stream_tick(rig->stream, now_us, 1000000);
}

static inline void rig_reply(struct rig *rig, const char *reply)
{
    void *talk = rig->talk;
    rig->talk = NULL;
    rig->done(talk, reply);
}

/* To those that have been waiting for longer than the last. */
static inline void rig_reply_older(struct rig *rig, const char *reply)
{
    while (rig->olders)
        rig->done(rig->older[--rig->olders], reply);
}

static inline void rig_publish(struct rig *rig, enum stream_part part, const char *json)
{
    stream_publish(rig->stream, part, json, strlen(json));
    server_stir(rig->server);
}

/* Lets the server work for a moment. */
static inline void rig_work(struct rig *rig, double seconds)
{
    loop_run(rig->loop, seconds, NULL);
}

/* What is ready now, without waiting. */
static inline void rig_turn(struct rig *rig, int turns)
{
    while (turns-- > 0)
        uv_run(rig->loop, UV_RUN_NOWAIT);
}

static inline void rig_open(struct rig *rig, unsigned patience)
{
    struct error error;
    struct sockaddr_storage address;
    bool loopback;
    int listener;
    *rig = (struct rig){.loop = loop_new()};
    if (gate_address("127.0.0.1:0", false, &address, &loopback, &error) ||
        gate_make_token(rig->gate.token, &error) ||
        server_listen(&address, &listener, &rig->port, &error))
        abort();
    rig->gate.port = rig->port;
    rig->stream = stream_new();
    rig->routes = (struct routes){.gate = &rig->gate,
                                  .stream = rig->stream,
                                  .ask = rig_ask,
                                  .forget = rig_forget,
                                  .woken = rig_woken,
                                  .joined = rig_joined,
                                  .owner = rig};
    struct server_options options = {.listener = listener,
                                     .handle = routes_handle,
                                     .completed = routes_completed,
                                     .routes = &rig->routes,
                                     .wake = rig_wake,
                                     .tick = rig_tick,
                                     .owner = rig,
                                     .patience = patience};
    if (server_open(&rig->server, rig->loop, &options, &error))
        abort();
}

static inline void rig_close(struct rig *rig)
{
    stream_end(rig->stream);
    routes_end(&rig->routes);
    server_close(rig->server);
    stream_free(rig->stream);
    loop_free(rig->loop);
}

/* --- clients ---------------------------------------------------------------------------------- */

/* Never waits: the server that would accept is in this very thread. */
static inline int rig_connect(struct rig *rig)
{
    struct sockaddr_in address = {.sin_family = AF_INET,
                                  .sin_port = htons((uint16_t)rig->port),
                                  .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    if (fd < 0 ||
        (connect(fd, (struct sockaddr *)&address, sizeof address) && errno != EINPROGRESS))
        abort();
    rig_turn(rig, 2);
    return fd;
}

/* Closed at once, so that no port is held for a minute. */
static inline void rig_hang_up(int fd)
{
    const struct linger now = {1, 0};
    setsockopt(fd, SOL_SOCKET, SO_LINGER, &now, sizeof now);
    close(fd);
}

static inline void rig_send(int fd, const char *bytes, size_t length)
{
    while (length) {
        ssize_t count = send(fd, bytes, length, MSG_NOSIGNAL | MSG_DONTWAIT);
        if (count <= 0)
            return; /* the server has hung up, or does not read: as it may */
        bytes += count;
        length -= (size_t)count;
    }
}

/* What has come so far, added at the end of `text`; returns false once the server has hung up. */
static inline bool rig_receive(int fd, char *text, size_t size)
{
    size_t length = strlen(text);
    for (;;) {
        char spill[4096];
        const bool full = length + 1 >= size;
        ssize_t count = recv(fd, full ? spill : text + length,
                             full ? sizeof spill : size - 1 - length, MSG_DONTWAIT);
        if (count == 0)
            return false;
        if (count < 0)
            return errno == EAGAIN;
        if (!full)
            text[length += (size_t)count] = '\0';
    }
}

/* One exchange: until the server hangs up, or `seconds` are over. */
static inline void rig_exchange(struct rig *rig, const char *bytes, size_t length, char *text,
                                size_t size, double seconds)
{
    int fd = rig_connect(rig);
    text[0] = '\0';
    rig_send(fd, bytes, length);
    for (double waited = 0; waited < seconds; waited += 0.005) {
        rig_work(rig, 0.005);
        if (!rig_receive(fd, text, size))
            break;
    }
    rig_hang_up(fd);
}

/* The status of a response; 0: none. */
static inline int rig_status(const char *text)
{
    return strncmp(text, "HTTP/1.1 ", 9) == 0 ? atoi(text + 9) : 0;
}

#endif
