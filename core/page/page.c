/* The page put together, as a face of the engine. */
#include "page/page.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/text.h"
#include "page/gate.h"
#include "page/lists.h"
#include "page/live.h"
#include "page/routes.h"
#include "page/server.h"

/* Between two texts of a part: a little less than what lies between two looks. */
#define LIVE_EVERY_US   880000LL
#define CURVES_EVERY_US 10000000LL
/* Readers that are written to in one round, and so between two looks at the channels. */
#define READERS_A_ROUND 4

struct page {
    struct page_options options;
    struct face face;
    struct gate gate;
    bool exposed;
    int listener; /* -1: the server has it */
    char url[192];

    struct engine *engine; /* NULL: not open */
    struct server *server;
    struct stream *stream;
    struct routes routes;
    struct lists *lists;
    struct live *live;
    int64_t changes; /* of the engine, when lists were last wanted */
    int64_t live_us, curves_us;
};

/* --- what is shown ---------------------------------------------------------------------------- */

static void tell(struct page *page, enum stream_part part, const char *json, size_t length)
{
    stream_publish(page->stream, part, json, length);
    server_stir(page->server);
}

static void publish(struct page *page, int64_t now)
{
    struct text json = TEXT_EMPTY;
    live_write(page->engine, page->gate.read_only, &json);
    tell(page, STREAM_LIVE, json.bytes, json.length);
    page->live_us = now;
    if (now - page->curves_us >= CURVES_EVERY_US) {
        text_clear(&json);
        live_write_curves(page->live, page->engine, &json);
        tell(page, STREAM_CURVES, json.bytes, json.length);
        page->curves_us = now;
    }
    text_free(&json);
}

/* Everything that the engine has in memory is on record now. */
static void show(struct page *page, int64_t now)
{
    if (stream_readers(page->stream) && now - page->live_us >= LIVE_EVERY_US)
        publish(page, now);
}

/* What has changed is in the lists only once it is committed: now. */
static void refresh_lists(struct page *page, int64_t now)
{
    int64_t changes = engine_see(page->engine).changes;
    if (changes != page->changes)
        lists_want(page->lists);
    page->changes = changes;
    lists_tick(page->lists, now);
}

static void look(void *owner)
{
    struct page *page = owner;
    int64_t now = server_now();
    live_sample(page->live, page->engine);
    show(page, now);
    if (stream_readers(page->stream))
        refresh_lists(page, now);
}

/* While somebody looks: an engine that waits for a date makes no pass, and shows nothing by
 * itself. */
static void tick(void *owner, int64_t now)
{
    struct page *page = owner;
    stream_tick(page->stream, now, SERVER_PATIENCE * 1000000LL);
    if (!stream_readers(page->stream))
        return;
    if (!engine_on_record(page->engine))
        return;
    refresh_lists(page, now);
    if (now - page->live_us >= 2 * LIVE_EVERY_US)
        publish(page, now);
}

static bool wake(void *owner)
{
    const struct page *page = owner;
    return stream_wake(page->stream, READERS_A_ROUND);
}

static void joined(void *owner)
{
    struct page *page = owner;
    int64_t now = server_now();
    if (!engine_on_record(page->engine))
        return;
    refresh_lists(page, now);
    show(page, now);
}

static void take_lists(void *owner, const char *line, size_t length)
{
    struct page *page = owner;
    tell(page, STREAM_LISTS, line, length);
}

/* --- what is asked ---------------------------------------------------------------------------- */

static void ask(void *owner, const char *request, size_t length,
                void (*done)(void *talk, const char *reply), void *talk)
{
    const struct page *page = owner;
    engine_ask(page->engine, request, length, done, talk);
}

static void woken(void *owner)
{
    const struct page *page = owner;
    if (page->server)
        server_stir(page->server);
}

static void forget(void *owner, const void *talk)
{
    const struct page *page = owner;
    engine_forget(page->engine, talk);
}

/* --- opening and closing ---------------------------------------------------------------------- */

static void close_page(void *owner)
{
    struct page *page = owner;
    stream_end(page->stream);
    routes_end(&page->routes);
    server_close(page->server);
    lists_close(page->lists);
    live_free(page->live);
    stream_free(page->stream);
    page->server = NULL;
    page->engine = NULL;
}

static int open_page(void *owner, struct engine *engine, void *uv_loop, struct error *error)
{
    struct page *page = owner;
    struct engine_sight sight = engine_see(engine);
    struct server_options server = {.listener = page->listener,
                                    .handle = routes_handle,
                                    .completed = routes_completed,
                                    .routes = &page->routes,
                                    .wake = wake,
                                    .tick = tick,
                                    .owner = page};
    struct lists_options lists = {.uv_loop = uv_loop,
                                  .program = page->options.program,
                                  .logbook = page->options.logbook,
                                  .channels = sight.channels,
                                  .take = take_lists,
                                  .owner = page};
    page->engine = engine;
    page->stream = stream_new();
    page->routes = (struct routes){.gate = &page->gate,
                                   .stream = page->stream,
                                   .ask = ask,
                                   .forget = forget,
                                   .woken = woken,
                                   .joined = joined,
                                   .owner = page};
    page->live = live_new(sight.channels);
    page->lists = lists_open(&lists);
    page->listener = -1;
    if (server_open(&page->server, uv_loop, &server, error))
        close_page(page);
    return error->code;
}

/* "127.0.0.1:8080", "[::1]:8080", as a browser takes it. */
static void write_url(struct page *page, const struct sockaddr_storage *address)
{
    char host[64];
    const bool six = address->ss_family == AF_INET6;
    inet_ntop(address->ss_family,
              six ? (const void *)&((const struct sockaddr_in6 *)address)->sin6_addr
                  : (const void *)&((const struct sockaddr_in *)address)->sin_addr,
              host, sizeof host);
    snprintf(page->url, sizeof page->url, six ? "http://[%s]:%d/%s%s" : "http://%s:%d/%s%s", host,
             page->gate.port, page->gate.read_only ? "" : "#token=", page->gate.token);
}

int page_new(struct page **out, const struct page_options *options, struct error *error)
{
    struct page *page = xcalloc(1, sizeof *page);
    struct sockaddr_storage address;
    bool loopback = false;
    page->options = *options;
    page->face = (struct face){open_page, look, close_page, page};
    page->listener = -1;
    page->gate.read_only = options->read_only;
    error_clear(error);
    if (gate_address(options->address, options->open, &address, &loopback, error) ||
        (!options->read_only && gate_make_token(page->gate.token, error)) ||
        server_listen(&address, &page->listener, &page->gate.port, error)) {
        page_free(page);
        return error->code;
    }
    page->exposed = page->gate.open = !loopback;
    write_url(page, &address);
    *out = page;
    return 0;
}

void page_free(struct page *page)
{
    if (!page)
        return;
    if (page->listener >= 0)
        close(page->listener);
    free(page);
}

const struct face *page_face(const struct page *page)
{
    return &page->face;
}

const char *page_url(const struct page *page)
{
    return page->url;
}

bool page_is_exposed(const struct page *page)
{
    return page->exposed;
}
