/* Cuts the bytes of a link into answers. Pure: no I/O, no clock.
 *
 * 1. What is handed out came in exactly so, in order, terminator taken off.
 * 2. Memory stays below the longest line or block allowed and one read.
 * 3. After FRAME_TOO_LONG or FRAME_BAD nothing is handed out until frame_reset: where an answer
 *    begins is unknown then, and the link drains. */
#ifndef PERDURE_LINK_FRAME_H
#define PERDURE_LINK_FRAME_H

#include <stdbool.h>
#include <stddef.h>

struct frame {
    char *bytes; /* owned */
    size_t length, room;
    size_t scanned; /* holds no terminator before here */
    size_t used;    /* handed out, dropped when more is added */
    size_t line_most, block_most;
    char terminator[3];
    size_t terminator_length;
    bool lost;
};

enum frame_found { FRAME_MORE, FRAME_ANSWER, FRAME_TOO_LONG, FRAME_BAD };

/* `terminator` of 1 or 2 bytes. */
void frame_init(struct frame *frame, const char *terminator, size_t line_most, size_t block_most);
void frame_free(struct frame *frame);

/* Where up to *room bytes (never 0) may be read to; then frame_added. */
char *frame_space(struct frame *frame, size_t *room);
void frame_added(struct frame *frame, size_t length);

/* The next answer, if it is all there: a line, or a block's content (IEEE 488.2 8.7.9 and 8.7.10).
 * *answer has a NUL after it and lives until frame_space or frame_reset. */
enum frame_found frame_line(struct frame *frame, char **answer, size_t *length);
enum frame_found frame_block(struct frame *frame, char **answer, size_t *length);

size_t frame_left(const struct frame *frame); /* bytes not handed out */
void frame_reset(struct frame *frame);

#endif
