/* A line: one byte stream to an instrument, over a terminal or a TCP connection. Cuts it into
 * messages, has them carried out, and sends the answers, or what faults make of them. */
#ifndef EMULATOR_LINE_H
#define EMULATOR_LINE_H

#include "instrument.h"
#include "loop.h"
#include "pace.h"

#define MESSAGE_MOST 4096 /* bytes of a program message; more is error -363 */

struct chunk;

struct line {
    struct watch watch; /* first: a watch is cast to this */
    struct line *next;  /* of the same port */
    struct loop *loop;
    struct instrument *instrument;
    const struct pace *pace;
    void (*gone)(struct line *line); /* the other end is; the owner closes the line */
    void *owner;
    bool *restless; /* set when something will be due by the clock */
    char in[MESSAGE_MOST];
    size_t in_length;
    bool overrun; /* throwing away up to the next end of line */
    struct chunk *first, *last;
    size_t queued;
    bool writing;        /* EPOLLOUT is watched */
    int64_t chatter_due; /* of flood and chatter: 0 while there is none */
};

/* `fd` is non-blocking, and stays the caller's. */
void line_open(struct line *line, struct loop *loop, int fd);
/* What is queued is lost. */
void line_close(struct line *line);

/* Nobody holds the other end any more: what was due is lost. A late answer still comes, and half a
 * message still waits for its end: the instrument does not know. */
void line_forget(struct line *line);

/* Sends what is due, disturbs where a fault says so; when there is more to do (INT64_MAX:
 * never). */
int64_t line_due(struct line *line, int64_t now);

#endif
