/* Answers leave in order: once one is delayed, those after it wait behind it. Without faults a
 * burst of messages is answered with one write. */
#include "line.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "message.h"

#define QUEUED_MOST   65536 /* bytes; an instrument whose answers nobody reads drops more */
#define BURST_US      10000 /* between two bursts of a flood */
#define CHATTER_VALUE "1.0101E+00\n"

struct chunk {
    struct chunk *next;
    int64_t due;
    size_t at, length; /* sent up to `at` */
    char bytes[];
};

/* --- sending --------------------------------------------------------------------------------- */

static void queue_bytes(struct line *line, const char *bytes, size_t length, int64_t due)
{
    if (length == 0 || line->queued + length > QUEUED_MOST)
        return;
    struct chunk *chunk = xmalloc(sizeof *chunk + length);
    *chunk = (struct chunk){.due = due, .length = length};
    memcpy(chunk->bytes, bytes, length);
    if (line->first == NULL)
        line->first = chunk;
    else
        line->last->next = chunk;
    line->last = chunk;
    line->queued += length;
}

static void drop_first(struct line *line)
{
    struct chunk *chunk = line->first;
    line->first = chunk->next;
    line->queued -= chunk->length;
    free(chunk);
}

static void watch_writing(struct line *line, bool writing)
{
    if (writing != line->writing)
        loop_change(line->loop, &line->watch, EPOLLIN | (writing ? EPOLLOUT : 0u));
    line->writing = writing;
}

/* Sends what is due and fits. */
static void flush(struct line *line, int64_t now)
{
    bool full = false;
    while (line->first != NULL && line->first->due <= now && !full) {
        struct chunk *chunk = line->first;
        ssize_t sent = write(line->watch.fd, chunk->bytes + chunk->at, chunk->length - chunk->at);
        if (sent < 0 && errno != EAGAIN) {
            drop_first(line); /* the reading side notices that the other end is gone */
            continue;
        }
        chunk->at += sent > 0 ? (size_t)sent : 0;
        full = chunk->at < chunk->length;
        if (!full)
            drop_first(line);
    }
    watch_writing(line, full);
    if (line->first != NULL && !full)
        *line->restless = true;
}

/* --- answers, and what faults make of them ---------------------------------------------------- */

static bool strikes(struct line *line, enum fault_kind kind, double *value)
{
    struct instrument *instrument = line->instrument;
    if (!fault_strikes(&instrument->faults, kind, value))
        return false;
    record_add(instrument->record, instrument->name, "fault %s", fault_word(kind));
    return true;
}

/* Some bytes beyond 7 bits: no answer of text has them. */
static void spoil(struct line *line, char *bytes, size_t length)
{
    struct random *random = &line->instrument->random;
    for (size_t i = 0; i < 1 + length / 4; i++)
        bytes[random_range(random, 0, (int64_t)length - 1)] =
            (char)(0x80 | random_range(random, 0, 0x7f));
}

static bool any_fault(const struct line *line)
{
    for (int kind = 0; kind < FAULT_COUNT; kind++)
        if (fault_is_set(&line->instrument->faults, (enum fault_kind)kind))
            return true;
    return false;
}

/* One answer, its end of line included. */
static void answer_with_faults(struct line *line, struct text *answer, int64_t now)
{
    double seconds;
    int64_t due = line->first != NULL ? line->last->due : now;
    size_t length = answer->length;
    if (strikes(line, FAULT_SILENCE, NULL))
        return;
    if (length > 1 && strikes(line, FAULT_GARBAGE, NULL))
        spoil(line, answer->bytes, length - 1);
    if (strikes(line, FAULT_DOUBLE, NULL)) {
        char *copy = xstrdup(answer->bytes);
        text_add_bytes(answer, copy, length);
        free(copy);
    }
    if (due < now)
        due = now;
    if (strikes(line, FAULT_LATE, &seconds))
        due += (int64_t)(seconds * 1e6);
    if (!strikes(line, FAULT_SPLIT, &seconds)) {
        queue_bytes(line, answer->bytes, answer->length, due);
        return;
    }
    for (size_t i = 0; i < answer->length; i++)
        queue_bytes(line, answer->bytes + i, 1, due + (int64_t)((double)i * seconds * 1e6));
}

/* --- messages -------------------------------------------------------------------------------- */

static void carry_out(struct line *line, const char *message, size_t length, struct text *burst,
                      int64_t now)
{
    size_t before = burst->length;
    if (length > 0 && message[length - 1] == '\r')
        length--;
    if (!any_fault(line)) {
        message_execute(line->instrument, message, length, pace_at(line->pace, now), burst);
        if (burst->length > before)
            text_add(burst, "\n");
        return;
    }
    if (length == 0 || strikes(line, FAULT_DEAF, NULL))
        return;
    struct text answer = TEXT_EMPTY;
    message_execute(line->instrument, message, length, pace_at(line->pace, now), &answer);
    if (answer.length > 0) {
        text_add(&answer, "\n");
        queue_bytes(line, burst->bytes, burst->length, now); /* what came before it goes first */
        text_clear(burst);
        answer_with_faults(line, &answer, now);
    }
    text_free(&answer);
}

static void keep_rest(struct line *line, const char *rest, size_t length)
{
    if (length < sizeof line->in) {
        memmove(line->in, rest, length);
        line->in_length = length;
        return;
    }
    line->in_length = 0;
    line->overrun = true;
    instrument_trouble(line->instrument, -363, NULL);
}

static void messages(struct line *line, size_t length)
{
    struct text burst = TEXT_EMPTY;
    int64_t now = monotonic_us();
    const char *at = line->in, *end = line->in + length;
    for (;;) {
        const char *stop = memchr(at, '\n', (size_t)(end - at));
        if (stop == NULL)
            break;
        if (!line->overrun)
            carry_out(line, at, (size_t)(stop - at), &burst, now);
        line->overrun = false;
        at = stop + 1;
    }
    if (line->overrun)
        line->in_length = 0;
    else
        keep_rest(line, at, (size_t)(end - at));
    if (burst.length > 0)
        queue_bytes(line, burst.bytes, burst.length, now);
    if (line->first != NULL)
        flush(line, now);
    text_free(&burst);
}

static void ready(struct watch *watch, uint32_t events)
{
    struct line *line = (struct line *)watch;
    if (events & EPOLLOUT)
        flush(line, monotonic_us());
    if (!(events & (EPOLLIN | EPOLLHUP | EPOLLERR)))
        return;
    ssize_t length = read(watch->fd, line->in + line->in_length, sizeof line->in - line->in_length);
    if (length > 0)
        messages(line, line->in_length + (size_t)length);
    else if (length == 0 || (errno != EAGAIN && errno != EINTR))
        line->gone(line);
}

/* --- life ------------------------------------------------------------------------------------ */

void line_open(struct line *line, struct loop *loop, int fd)
{
    line->watch = (struct watch){fd, ready};
    line->loop = loop;
    loop_watch(loop, &line->watch, EPOLLIN);
}

void line_forget(struct line *line)
{
    int64_t now = monotonic_us();
    while (line->first != NULL && line->first->due <= now)
        drop_first(line);
    watch_writing(line, false);
}

void line_close(struct line *line)
{
    while (line->first != NULL)
        drop_first(line);
    loop_unwatch(line->loop, &line->watch);
}

/* A flood or chatter goes on by the clock, in bursts. */
static int64_t disturb(struct line *line, int64_t now)
{
    static const char digits[] = "01234567890123456789012345678901234567890123456789";
    const struct faults *faults = &line->instrument->faults;
    bool flood = fault_is_set(faults, FAULT_FLOOD), chatter = fault_is_set(faults, FAULT_CHATTER);
    double value;
    if (!flood && !chatter) {
        line->chatter_due = 0;
        return INT64_MAX;
    }
    if (line->chatter_due > now)
        return line->chatter_due;
    int64_t interval = BURST_US;
    if (line->first == NULL && flood && strikes(line, FAULT_FLOOD, &value)) {
        for (double left = value * BURST_US * 1e-6; left > 0; left -= sizeof digits - 1)
            queue_bytes(line, digits, sizeof digits - 1, now);
    } else if (line->first == NULL && chatter && strikes(line, FAULT_CHATTER, &value)) {
        queue_bytes(line, CHATTER_VALUE, strlen(CHATTER_VALUE), now);
        interval = (int64_t)(1e6 / value);
    }
    line->chatter_due = now + interval;
    return line->chatter_due;
}

int64_t line_due(struct line *line, int64_t now)
{
    int64_t next = disturb(line, now);
    if (line->first != NULL && line->first->due <= now && !line->writing)
        flush(line, now);
    if (line->first != NULL && !line->writing && line->first->due < next)
        next = line->first->due;
    return next;
}
