/* One question, one answer; and back into step after anything else. The diagram and the invariants
 * are in link_internal.h. */
#include <stdlib.h>
#include <string.h>

#include "link/link_internal.h"

static int64_t after(double seconds)
{
    return link_now() + (int64_t)(seconds * 1e6);
}

static void idle(struct link *link)
{
    link_no_timer(link);
    link->state = IDLE;
    link->syncs = link->owed = 0;
}

void exchange_drain(struct link *link)
{
    if (link->state != DRAINING)
        link->since = link_now();
    link->state = DRAINING;
    link->resync = false;
    frame_reset(&link->frame);
    link_timer(link, after(link->spec.quiet));
}

/* --- an exchange ------------------------------------------------------------------------- */

static void finish(struct link *link, enum link_status status)
{
    link_over(link, link->current, status);
    link->current = NULL;
}

static void all_sent(struct link *link)
{
    if (link->state != SENDING)
        return;
    if (link->current->answer != LINK_NONE) {
        link->state = AWAITING;
        return;
    }
    finish(link, LINK_OK);
    if (link->resync)
        exchange_drain(link);
    else
        idle(link);
}

static uint32_t in_ms(double seconds)
{
    return (uint32_t)(seconds * 1e3) + 1;
}

void exchange_start(struct link *link)
{
    struct exchange *exchange = link->first;
    bool looked = link->emptied; /* the answer before it was read just now, and was all there was */
    link->emptied = false;
    if (!looked && line_has_bytes(link) && line_throw_away(link)) { /* invariant 3 */
        if (link->state == IDLE)
            exchange_drain(link);
        return;
    }
    link->first = exchange->next;
    if (!link->first)
        link->last = NULL;
    link->queued--;
    link->counts.asked++;
    link->current = exchange;
    link->state = SENDING;
    link_timer(link, after(exchange->patience));
    uint32_t patience_ms = exchange->answer == LINK_NONE ? 0 : in_ms(exchange->patience);
    if (line_put(link, exchange->bytes, exchange->length, patience_ms) && link->out.length == 0)
        all_sent(link);
}

/* Text as IEEE 488.2 has it: 7-bit, no control codes but white space. */
static bool is_text(const char *bytes, size_t length)
{
    for (size_t i = 0; i < length; i++) {
        unsigned char byte = (unsigned char)bytes[i];
        if ((byte < ' ' && byte != '\t' && byte != '\r') || byte >= 0x7f)
            return false;
    }
    return true;
}

static void answered(struct link *link, char *bytes, size_t length)
{
    bool line = link->current->answer == LINK_LINE;
    if (line && length && bytes[length - 1] == '\r')
        bytes[--length] = '\0'; /* ended by both, where the line feed alone was promised */
    /* Of two answers to one question nobody can say which is the one. */
    if (frame_left(&link->frame) || (line && !is_text(bytes, length))) {
        link->counts.strays += frame_left(&link->frame);
        finish(link, LINK_GARBLED);
        exchange_drain(link);
        return;
    }
    link->reply = (struct link_reply){LINK_OK, bytes, length};
    link->reply_due = true;
    if (link->resync)
        exchange_drain(link); /* forgets the frame, but leaves its bytes as they are */
    else
        idle(link);
}

static void find_answer(struct link *link)
{
    char *answer;
    size_t length;
    enum frame_found found = link->current->answer == LINK_BLOCK
                                 ? frame_block(&link->frame, &answer, &length)
                                 : frame_line(&link->frame, &answer, &length);
    if (found == FRAME_ANSWER) {
        answered(link, answer, length);
    } else if (found != FRAME_MORE) {
        finish(link, LINK_GARBLED);
        exchange_drain(link);
    }
}

/* --- into step again --------------------------------------------------------------------- */

static void ask_sync(struct link *link)
{
    const char *ask = link->hooks.sync.ask;
    if (link->syncs == SYNC_TRIES) {
        link_hang_up_because(link,
                             "it is out of step: %d synchronisation questions were not answered "
                             "as they should be",
                             SYNC_TRIES);
        return;
    }
    link->syncs++;
    link->owed++;
    link->counts.syncs++;
    link->state = SYNCING;
    link_timer(link, after(link->spec.patience));
    line_put(link, ask, strlen(ask), in_ms(link->spec.patience));
}

/* In SYNCING, what is not the known answer is late, and passed over until that comes. In SETTLING,
 * only answers to earlier synchronisation questions may still come. */
static void find_sync(struct link *link)
{
    const struct link_sync *sync = &link->hooks.sync;
    char *answer;
    size_t length;
    enum frame_found found;
    while ((found = frame_line(&link->frame, &answer, &length)) == FRAME_ANSWER) {
        if (length && answer[length - 1] == '\r')
            answer[--length] = '\0';
        bool match = link->owed > 0 && sync->match(link->hooks.owner, answer, length);
        if (match) {
            link->owed--;
            link->state = SETTLING;
            link_timer(link, after(link->spec.quiet));
            continue;
        }
        link->counts.strays += length + link->frame.terminator_length;
        if (link->state == SETTLING) {
            exchange_drain(link);
            return;
        }
    }
    if (found != FRAME_MORE)
        exchange_drain(link);
}

static void drained(struct link *link)
{
    if (link->out.length != 0) { /* silence means nothing before all is said */
        if (link_now() - link->since > DRAIN_MOST_US)
            link_hang_up_because(link, "it takes no bytes");
        else
            link_timer(link, after(link->spec.quiet));
    } else if (link->fresh) {
        link->fresh = link->told_down = false;
        link->up_due = true;
        idle(link);
    } else if (link->hooks.sync.ask) {
        ask_sync(link);
    } else {
        idle(link);
    }
}

/* --- events ------------------------------------------------------------------------------ */

static void take_into_frame(struct link *link)
{
    size_t room;
    char *space = frame_space(&link->frame, &room);
    ssize_t count = line_get(link, space, room);
    if (count <= 0)
        return;
    link_trace(link, 'i', space, (size_t)count);
    link->emptied = (size_t)count < room;
    frame_added(&link->frame, (size_t)count);
    if (link->state == AWAITING)
        find_answer(link);
    else
        find_sync(link);
}

static void take(struct link *link)
{
    switch (link->state) {
    case AWAITING:
    case SYNCING:
    case SETTLING: take_into_frame(link); return;
    case SENDING: /* nothing can answer half a question */
        if (line_throw_away(link) && link->state == SENDING) {
            finish(link, LINK_GARBLED);
            exchange_drain(link);
        }
        return;
    case DRAINING:
        if (line_throw_away(link) && link->state == DRAINING) {
            if (link_now() - link->since > DRAIN_MOST_US)
                link_hang_up_because(link, "it does not stop sending");
            else
                link_timer(link, after(link->spec.quiet));
        }
        return;
    case IDLE:
        if (line_throw_away(link) && link->state == IDLE)
            exchange_drain(link);
        return;
    case WAITING:
    case OPENING:
    case CLOSING: return;
    }
}

/* The loop may have been held up for longer than the patience or the silence: what came meanwhile
 * counts, though the timer is first. True when that settles it. */
static bool took_something(struct link *link)
{
    enum link_state state = link->state;
    bool some = false;
    while (link->state == state && !link->reply_due && line_has_bytes(link)) {
        take(link);
        some = true;
        if (state == DRAINING || state == SETTLING)
            break; /* one byte breaks the silence */
    }
    return some && (link->state != state || state == DRAINING || state == SETTLING);
}

void exchange_due(struct link *link)
{
    if (took_something(link))
        return;
    switch (link->state) {
    case SENDING:
    case AWAITING:
        finish(link, LINK_TIMEOUT);
        exchange_drain(link);
        break;
    case DRAINING: drained(link); break;
    case SYNCING: exchange_drain(link); break;
    case SETTLING:
        if (frame_left(&link->frame))
            exchange_drain(link);
        else
            idle(link);
        break;
    case WAITING:
    case OPENING:
    case IDLE:
    case CLOSING: break; /* no timer of theirs comes here */
    }
}

void exchange_io(uv_poll_t *poll, int status, int events)
{
    struct link *link = poll->data;
    if (status < 0) { /* watched no more: an error, or a terminal hung up; reading may tell which */
        take(link);
        if (link->fd >= 0)
            link_hang_up_because(link, "the other end hung up");
    } else if ((events & UV_WRITABLE) && link->out.length && line_flush(link) &&
               link->out.length == 0) {
        all_sent(link);
    }
    if (link->fd >= 0 && (events & (UV_READABLE | UV_DISCONNECT)))
        take(link);
    link_deliver(link);
}

/* --- the owner's side -------------------------------------------------------------------- */

static int refuse(const struct link *link, struct error *error, const char *why)
{
    return error_set(error, ERROR_LOST, link->spec.path,
                     "see that the instrument is on and its cable is in", "%s", why);
}

static int enqueue(struct link *link, const char *bytes, size_t length, enum link_answer answer,
                   double patience, link_answered *callback, void *owner, struct error *error)
{
    if (link->fd < 0 || link->state == OPENING)
        return refuse(link, error, "nothing can be asked: it is not open");
    if (link->queued >= QUEUE_MOST)
        return refuse(link, error, "nothing can be asked: too many questions are waiting");
    if (length == 0 || length > link->frame.block_most)
        return error_set(error, ERROR_BENCH, link->spec.path, "mend the driver",
                         "an empty or overlong question cannot be asked");
    struct exchange *exchange = link_new_exchange(link, length);
    *exchange = (struct exchange){.callback = callback,
                                  .owner = owner,
                                  .answer = answer,
                                  .patience = patience > 0 ? patience : link->patience,
                                  .length = length,
                                  .room = exchange->room};
    memcpy(exchange->bytes, bytes, length);
    if (link->last)
        link->last->next = exchange;
    else
        link->first = exchange;
    link->last = exchange;
    link->queued++;
    if (link->state == IDLE && link->first == exchange && !link->up_due) {
        exchange_start(link);
        if (link->state != AWAITING)
            link_deliver_soon(link);
    }
    return 0;
}

int link_ask(struct link *link, const char *bytes, size_t length, enum link_answer answer,
             double patience, link_answered *callback, void *owner, struct error *error)
{
    if (link->fd >= 0 && !link->trusted)
        return refuse(link, error, "nothing can be asked: who answers is not verified yet");
    return enqueue(link, bytes, length, answer, patience, callback, owner, error);
}

int link_verify(struct link *link, const char *bytes, size_t length, double patience,
                link_answered *callback, void *owner, struct error *error)
{
    return enqueue(link, bytes, length, LINK_LINE, patience, callback, owner, error);
}

/* Takes `owner`'s exchanges (NULL: all) out of the queue; returns them in order. */
static struct exchange *pick(struct link *link, const void *owner)
{
    struct exchange *picked = NULL, **end = &picked, **place = &link->first;
    link->last = NULL;
    while (*place) {
        struct exchange *exchange = *place;
        if (!owner || exchange->owner == owner) {
            *place = exchange->next;
            exchange->next = NULL;
            *end = exchange;
            end = &exchange->next;
            link->queued--;
        } else {
            link->last = exchange;
            place = &exchange->next;
        }
    }
    return picked;
}

int link_send_now(struct link *link, const char *bytes, size_t length, void *owner,
                  struct error *error)
{
    if (link->fd < 0 || link->state == OPENING)
        return refuse(link, error, "the bytes that make it safe cannot be sent: it is not open");
    if (link->current && !link->reply_due)
        finish(link, LINK_ABANDONED);
    for (struct exchange *exchange = pick(link, owner), *next; exchange; exchange = next) {
        next = exchange->next;
        link_over(link, exchange, LINK_ABANDONED);
    }
    /* What was begun is finished first: half an order, cut off by these, might be another one. */
    bool in_step = link->state == IDLE;
    if (line_put(link, bytes, length, 0) && (!in_step || link->out.length))
        exchange_drain(link);
    link_deliver_soon(link);
    if (link->fd < 0)
        return refuse(link, error, "the bytes that make it safe could not be sent: it hung up");
    return 0;
}

void link_forget(struct link *link, void *owner)
{
    for (struct exchange *exchange = pick(link, owner), *next; exchange; exchange = next) {
        next = exchange->next;
        link_drop_exchange(link, exchange);
    }
    if (link->current && (!owner || link->current->owner == owner))
        link->current->callback = NULL;
    for (struct exchange *over = link->over_first; over; over = over->next)
        if (!owner || over->owner == owner)
            over->callback = NULL;
}

void link_resync(struct link *link)
{
    if (link->state == IDLE)
        exchange_drain(link);
    else
        link->resync = link->state == SENDING || link->state == AWAITING;
}
