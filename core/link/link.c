/* The life of a link: opening, hanging up, trying again, closing; and the one place that calls
 * back. */
#include "link/link.h"

#include <assert.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "link/link_internal.h"

static const struct line_ops *const lines[] = {
    [LINK_SERIAL] = &line_serial,
    [LINK_TCP] = &line_tcp,
    [LINK_USBTMC] = &line_usbtmc,
    [LINK_PTY] = &line_pty,
};

int64_t link_now(void)
{
    return (int64_t)(uv_hrtime() / 1000);
}

void link_trace(struct link *link, char way, const char *bytes, size_t length)
{
    if (link->traced && length)
        link->hooks.trace(link->hooks.owner, way, bytes, length, link_now());
}

/* --- timers ------------------------------------------------------------------------------ */

static void begin_open(struct link *link);

static void on_timer(uv_timer_t *timer);

static void arm(struct link *link)
{
    int64_t ms = link->due_ms - (int64_t)uv_now(link->loop);
    link->timer_ms = link->due_ms;
    uv_timer_start(&link->timer, on_timer, ms > 0 ? (uint64_t)ms : 0, 0);
}

static void on_timer(uv_timer_t *timer)
{
    struct link *link = timer->data;
    link->timer_ms = TIMER_NEVER;
    if (link->due_ms == TIMER_NEVER)
        return;
    if (link->due_ms > (int64_t)uv_now(link->loop)) {
        arm(link);
        return;
    }
    link->due_ms = TIMER_NEVER;
    if (link->state == WAITING)
        begin_open(link);
    else if (link->state == OPENING)
        link_hang_up_because(link, "it could not be opened within %g s", link->spec.patience);
    else
        exchange_due(link);
    link_deliver(link);
}

/* From the clock and not from when the loop last looked at it: a call may come long after that.
 *
 * A patience is over long before it is due, some times a reading. So a timer that fires sooner than
 * it is wanted is left as it is, and set anew when it fires. */
void link_timer(struct link *link, int64_t due_us)
{
    link->due_ms = (due_us + 999) / 1000 + 1;
    if (link->timer_ms > link->due_ms)
        arm(link);
}

void link_no_timer(struct link *link)
{
    link->due_ms = TIMER_NEVER;
}

static void on_soon(uv_timer_t *timer)
{
    link_deliver(timer->data);
}

void link_deliver_soon(struct link *link)
{
    if (link->state != CLOSING && !link->delivering)
        uv_timer_start(&link->soon, on_soon, 0, 0);
}

/* --- callbacks --------------------------------------------------------------------------- */

void link_over(struct link *link, struct exchange *exchange, enum link_status status)
{
    exchange->status = status;
    exchange->next = NULL;
    if (link->over_last)
        link->over_last->next = exchange;
    else
        link->over_first = exchange;
    link->over_last = exchange;
}

static void count(struct link_counts *counts, enum link_status status)
{
    switch (status) {
    case LINK_OK: counts->ok++; break;
    case LINK_TIMEOUT: counts->timeouts++; break;
    case LINK_GARBLED: counts->garbled++; break;
    case LINK_ABANDONED: counts->abandoned++; break;
    case LINK_HANGUP: break; /* counted once for the line */
    }
}

struct exchange *link_new_exchange(struct link *link, size_t length)
{
    struct exchange *exchange = link->spare;
    if (exchange && exchange->room >= length) {
        link->spare = NULL;
        return exchange;
    }
    size_t room = length > EXCHANGE_USUAL ? length : EXCHANGE_USUAL;
    exchange = xmalloc(sizeof *exchange + room);
    exchange->room = room;
    return exchange;
}

void link_drop_exchange(struct link *link, struct exchange *exchange)
{
    if (link->spare || exchange->room > EXCHANGE_USUAL)
        free(exchange);
    else
        link->spare = exchange;
}

/* Drops it first: what it is asked inside may use it again. */
static void call_back(struct link *link, struct exchange *exchange, const struct link_reply *reply)
{
    link_answered *callback = exchange->callback;
    void *owner = exchange->owner;
    link_drop_exchange(link, exchange);
    count(&link->counts, reply->status);
    if (callback)
        callback(owner, reply);
}

static void reply_over(struct link *link)
{
    struct exchange *exchange = link->over_first;
    struct link_reply reply = {.status = exchange->status, .bytes = ""};
    link->over_first = exchange->next;
    if (!link->over_first)
        link->over_last = NULL;
    call_back(link, exchange, &reply);
}

static void reply_answered(struct link *link)
{
    struct exchange *exchange = link->current;
    link->current = NULL;
    link->reply_due = false;
    call_back(link, exchange, &link->reply);
}

/* Each callback may close, ask, or hang up: nothing is remembered across one. */
void link_deliver(struct link *link)
{
    if (link->delivering)
        return;
    link->delivering = true;
    while (link->state != CLOSING) {
        if (link->down_due) {
            struct error why = link->why;
            link->down_due = false;
            if (link->hooks.down)
                link->hooks.down(link, link->hooks.owner, &why);
        } else if (link->reply_due) {
            reply_answered(link);
        } else if (link->over_first) {
            reply_over(link);
        } else if (link->up_due) {
            link->up_due = false;
            if (link->hooks.up)
                link->hooks.up(link, link->hooks.owner);
        } else if (link->state == IDLE && link->first) {
            exchange_start(link);
        } else {
            break;
        }
    }
    link->emptied = false;
    link->delivering = false;
}

/* --- opening and hanging up -------------------------------------------------------------- */

static void free_poll(uv_handle_t *handle)
{
    free(handle);
}

void link_unpoll(struct link *link)
{
    if (link->poll)
        uv_close((uv_handle_t *)link->poll, free_poll); /* lets go of the fd at once */
    link->poll = NULL;
}

static void close_line(struct link *link)
{
    link_unpoll(link);
    link->ops->close(link);
    link->fd = link->lock_fd = -1;
    link->line = NULL;
}

int link_poll(struct link *link, int events, uv_poll_cb callback)
{
    if (!link->poll) {
        link->poll = xcalloc(1, sizeof *link->poll);
        int code = uv_poll_init(link->loop, link->poll, link->fd);
        if (code) {
            free(link->poll);
            link->poll = NULL;
            return code;
        }
        link->poll->data = link;
    }
    return uv_poll_start(link->poll, events, callback);
}

static void begin_open(struct link *link)
{
    struct error why = {.code = ERROR_NONE};
    link->state = OPENING;
    link_timer(link, link_now() + (int64_t)(link->spec.patience * 1e6));
    if (link->ops->open(link, &why))
        link_hang_up(link, &why);
}

void line_failed(struct link *link, const struct error *why)
{
    link_hang_up(link, why);
    link_deliver(link);
}

/* What the instrument says on its own after opening (a greeting, the rest of an answer) is drained
 * before anyone speaks. */
void line_opened(struct link *link)
{
    int code = link_poll(link, UV_READABLE | UV_DISCONNECT, exchange_io);
    if (code) {
        link_hang_up_because(link, "it cannot be watched: %s", uv_strerror(code));
        return;
    }
    link->fresh = true;
    link->syncs = link->owed = 0;
    link->state = IDLE;
    exchange_drain(link);
}

static void drop_queue(struct link *link)
{
    if (link->current && !link->reply_due) { /* else it has its answer: the line went after that */
        link_over(link, link->current, LINK_HANGUP);
        link->current = NULL;
    }
    while (link->first) {
        struct exchange *exchange = link->first;
        link->first = exchange->next;
        link_over(link, exchange, LINK_HANGUP);
    }
    link->last = NULL;
    link->queued = 0;
}

void link_hang_up(struct link *link, const struct error *why)
{
    if (link->state == WAITING || link->state == CLOSING)
        return;
    if (link->state != OPENING)
        link->counts.hangups++;
    close_line(link);
    link->state = WAITING;
    link->trusted = link->fresh = link->up_due = link->resync = link->writing = false;
    text_clear(&link->out);
    link->out_sent = 0;
    drop_queue(link);
    link->why = *why;
    if (!link->told_down)
        link->down_due = link->told_down = true;
    link_timer(link, link_now() + link->back_off * 1000);
    link->back_off = link->back_off * 2 < BACK_OFF_MOST ? link->back_off * 2 : BACK_OFF_MOST;
}

void link_hang_up_because(struct link *link, const char *format, ...)
{
    char reason[256];
    struct error why;
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(reason, sizeof reason, format, arguments);
    va_end(arguments);
    error_set(&why, ERROR_BENCH, link->spec.path,
              "see that the instrument is on and its cable is in; it is tried again by itself",
              "%s", reason);
    link_hang_up(link, &why);
}

/* --- the owner's side -------------------------------------------------------------------- */

static int check_spec(const struct link_spec *spec, struct error *error)
{
    const char *what = spec->path && *spec->path ? spec->path : "link";
    const char *todo = "mend the link in the bench file";
    size_t end = spec->terminator ? strlen(spec->terminator) : 1;
    if ((unsigned)spec->kind >= sizeof lines / sizeof *lines || !spec->path || !*spec->path)
        return error_set(error, ERROR_BENCH, what, todo, "it has no kind or no path");
    if (end < 1 || end > 2)
        return error_set(error, ERROR_BENCH, what, todo, "the terminator has %zu bytes, not 1 or 2",
                         end);
    if (spec->port < 0 || spec->port > 65535)
        return error_set(error, ERROR_BENCH, what, todo, "%d is no port from 1 to 65535",
                         spec->port);
    if (spec->speed < 0 || (spec->bits && (spec->bits < 5 || spec->bits > 8)) ||
        spec->stop_bits < 0 || spec->stop_bits > 2)
        return error_set(error, ERROR_BENCH, what, todo,
                         "a serial line has a speed, 5 to 8 bits and 1 or 2 stop bits");
    if (!(spec->patience >= 0 && spec->patience <= 3600) ||
        !(spec->quiet >= 0 && spec->quiet <= 60))
        return error_set(error, ERROR_BENCH, what, todo,
                         "its patience is not within 0 to 3600 s, or its quiet not within 60 s");
    return 0;
}

static void fill_spec(struct link_spec *spec)
{
    spec->path = xstrdup(spec->path);
    spec->terminator = xstrdup(spec->terminator ? spec->terminator : "\n");
    spec->port = spec->port ? spec->port : 5025;
    spec->speed = spec->speed ? spec->speed : 9600;
    spec->bits = spec->bits ? spec->bits : 8;
    spec->stop_bits = spec->stop_bits ? spec->stop_bits : 1;
    spec->line_most = spec->line_most ? spec->line_most : 4096;
    spec->block_most = spec->block_most ? spec->block_most : 1024 * 1024;
    spec->patience = spec->patience > 0 ? spec->patience : 1;
    spec->quiet = spec->quiet > 0 ? spec->quiet : 0.05;
}

int link_open(void *uv_loop, const struct link_spec *spec, const struct link_hooks *hooks,
              struct link **out, struct error *error)
{
    if (check_spec(spec, error))
        return ERROR_BENCH;
    struct link *link = xcalloc(1, sizeof *link);
    link->loop = uv_loop;
    link->spec = *spec;
    fill_spec(&link->spec);
    link->patience = link->spec.patience;
    link->hooks = *hooks;
    link->traced = hooks->trace != NULL;
    if (hooks->sync.ask)
        link->hooks.sync.ask = xstrdup(hooks->sync.ask);
    link->ops = lines[spec->kind];
    link->fd = link->lock_fd = -1;
    link->back_off = BACK_OFF_MS;
    frame_init(&link->frame, link->spec.terminator, link->spec.line_most, link->spec.block_most);
    uv_timer_init(link->loop, &link->timer);
    uv_timer_init(link->loop, &link->soon);
    link->timer.data = link->soon.data = link;
    link->handles = 2;
    link->timer_ms = TIMER_NEVER;
    link->state = WAITING;
    link_timer(link, 0);
    *out = link;
    return 0;
}

static void free_exchanges(struct exchange *exchange)
{
    while (exchange) {
        struct exchange *next = exchange->next;
        free(exchange);
        exchange = next;
    }
}

static void on_closed(uv_handle_t *handle)
{
    struct link *link = handle->data;
    if (--link->handles)
        return;
    void (*closed)(void *) = link->hooks.closed;
    void *owner = link->hooks.owner;
    free_exchanges(link->over_first);
    free(link->current);
    free(link->spare);
    frame_free(&link->frame);
    text_free(&link->out);
    free((char *)link->spec.path);
    free((char *)link->spec.terminator);
    free((char *)link->hooks.sync.ask);
    free(link);
    if (closed)
        closed(owner);
}

void link_close(struct link *link)
{
    assert(link->state != CLOSING);
    if (link->state != WAITING)
        close_line(link);
    drop_queue(link);
    link->state = CLOSING;
    uv_close((uv_handle_t *)&link->timer, on_closed);
    uv_close((uv_handle_t *)&link->soon, on_closed);
}

void link_trust(struct link *link)
{
    assert(link->state != CLOSING);
    if (link->fd < 0 || link->state == OPENING)
        return; /* hung up meanwhile: the next `up` starts anew */
    link->trusted = true;
    link->back_off = BACK_OFF_MS;
}

void link_refuse(struct link *link, const struct error *why)
{
    link_hang_up(link, why);
    link_deliver_soon(link);
}

bool link_is_up(const struct link *link)
{
    return link->trusted;
}

int link_fd(const struct link *link)
{
    if (link->fd < 0 || link->state == OPENING)
        return -1;
    return link->ops == &line_usbtmc ? link->lock_fd : link->fd;
}

const struct link_counts *link_counts(const struct link *link)
{
    return &link->counts;
}
