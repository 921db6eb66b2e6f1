/* The live page: a small web page from the engine's own process that shows runs, channels,
 * questions and the agenda, and takes answers.
 *
 *   browsers <--server.h--> routes.h --engine_ask--> engine
 *               stream.h <-- live.h <--engine_see-- engine
 *                        <-- lists.h <-- a process that reads the logbook
 *
 * It is a face of the engine (engine/face.h): nothing is shown and nothing is acknowledged before
 * its commit. There is no encryption: it is meant for this machine, or for a tunnel. */
#ifndef PERDURE_PAGE_PAGE_H
#define PERDURE_PAGE_PAGE_H

#include <stdbool.h>

#include "engine/face.h"

struct page;

struct page_options {
    const char *address; /* "127.0.0.1:0" */
    bool open;           /* another address than loopback is allowed */
    bool read_only;      /* nothing can be changed by it */
    const char *program; /* that makes the lists: perdure's own path; borrowed, as all of these */
    const char *logbook;
};

/* Listens at once, so that an address that cannot be had is known before any work begins; serves
 * while the engine is open. */
int page_new(struct page **out, const struct page_options *options, struct error *error);
/* After the engine is closed. */
void page_free(struct page *page);

/* Alive as long as the page. */
const struct face *page_face(const struct page *page);

/* What to open, with the token where there is one. Alive as long as the page. */
const char *page_url(const struct page *page);
/* Whether others on the network can read along. */
bool page_is_exposed(const struct page *page);

#endif
