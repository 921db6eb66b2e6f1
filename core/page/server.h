/* HTTP on the engine's loop: libmicrohttpd in its external mode, driven by its epoll descriptor.
 * Everything is bounded: connections, memory for each, time for a request. */
#ifndef PERDURE_PAGE_SERVER_H
#define PERDURE_PAGE_SERVER_H

#include <microhttpd.h>
#include <stdbool.h>
#include <stdint.h>
#include <sys/socket.h>

#include "base/error.h"

#define SERVER_CONNECTIONS 64
/* Bytes for the request line, the headers and what is being sent. */
#define SERVER_MEMORY 16384
/* Real seconds that a browser may take to say what it wants, or to take what it is given. */
#define SERVER_PATIENCE 10u

struct server;

struct server_options {
    int listener; /* from server_listen; taken over */
    /* As libmicrohttpd describes them, with `routes` as their first argument. */
    MHD_AccessHandlerCallback handle;
    MHD_RequestCompletedCallback completed;
    void *routes;
    /* Before each round: resumes a few connections; true when more are left for a later one. */
    bool (*wake)(void *owner);
    void (*tick)(void *owner, int64_t now_us); /* once a second while anybody is connected */
    void *owner;
    unsigned patience; /* s; 0: SERVER_PATIENCE */
};

/* A listening socket; *port is filled when it was 0. */
int server_listen(const struct sockaddr_storage *address, int *listener, int *port,
                  struct error *error);

int server_open(struct server **out, void *uv_loop, const struct server_options *options,
                struct error *error);

/* From now on the connection may last: it is a stream of events. */
void server_lasts(struct MHD_Connection *connection);

/* A round is wanted soon. Must follow MHD_resume_connection: in its external mode the daemon does
 * not wake by itself. */
void server_stir(struct server *server);

/* No connection may be suspended. Frees it once its handles on the loop are closed. */
void server_close(struct server *server);

/* us that run evenly. */
int64_t server_now(void);

#endif
