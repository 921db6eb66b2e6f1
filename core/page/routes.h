/* From a request to its response. What there is:
 *
 *   GET  /           the page          GET /live.css, /live.js
 *   GET  /events     the stream of events
 *   GET  /session    {"read_only", "may_answer"}: whether the token that came with it is good
 *   POST /answer     {"question", "answer", "who"} as application/json, with the token
 *
 * Everything passes the gate first, in this order: one Host, ours (else 400 or 421); the same
 * Origin or none (403); the path (404) and the method (405); for /answer the token and that the
 * page may change anything (403), the kind (415) and the size (411, 413) of what comes. An error is
 * JSON:
 * {"error": {"what", "why", "todo"}}. */
#ifndef PERDURE_PAGE_ROUTES_H
#define PERDURE_PAGE_ROUTES_H

#include <microhttpd.h>
#include <stdbool.h>

#include "page/gate.h"
#include "page/stream.h"

/* Bytes of an answer's JSON. */
#define ROUTES_BODY_MOST 4096

struct talk;

struct routes {
    const struct gate *gate;
    struct stream *stream;
    /* As engine_ask and engine_forget. */
    void (*ask)(void *owner, const char *request, size_t length,
                void (*done)(void *talk, const char *reply), void *talk);
    void (*forget)(void *owner, const void *talk);
    void (*woken)(void *owner);  /* a connection was resumed */
    void (*joined)(void *owner); /* a reader has come to the stream */
    void *owner;
    struct talk *asking; /* wait for their reply */
    bool ended;
};

/* For libmicrohttpd, with a struct routes as their first argument. */
enum MHD_Result routes_handle(void *routes, struct MHD_Connection *connection, const char *url,
                              const char *method, const char *version, const char *upload,
                              size_t *upload_size, void **context);
void routes_completed(void *routes, struct MHD_Connection *connection, void **context,
                      enum MHD_RequestTerminationCode code);

/* Whoever waits for a reply waits no more, so that the daemon can be stopped. */
void routes_end(struct routes *routes);

#endif
