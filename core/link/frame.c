/* Cutting the bytes of a link into answers. */
#include "link/frame.h"

#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "link/scpi.h"

/* What one read may take: more than a line usually is, so that one read is enough. */
#define READ_MOST 512

void frame_init(struct frame *frame, const char *terminator, size_t line_most, size_t block_most)
{
    *frame = (struct frame){.line_most = line_most, .block_most = block_most};
    string_copy(frame->terminator, sizeof frame->terminator, terminator);
    frame->terminator_length = strlen(frame->terminator);
}

void frame_free(struct frame *frame)
{
    free(frame->bytes);
    frame->bytes = NULL;
    frame->length = frame->room = 0;
}

void frame_reset(struct frame *frame)
{
    frame->length = frame->used = frame->scanned = 0;
    frame->lost = false;
}

size_t frame_left(const struct frame *frame)
{
    return frame->length - frame->used;
}

char *frame_space(struct frame *frame, size_t *room)
{
    if (frame->used != 0) {
        frame->length -= frame->used;
        memmove(frame->bytes, frame->bytes + frame->used, frame->length);
        frame->scanned = frame->used = 0;
    }
    if (frame->room - frame->length <= READ_MOST) { /* one byte stays for the NUL */
        frame->room = frame->room * 2 + READ_MOST + 1;
        frame->bytes = xrealloc(frame->bytes, frame->room);
    }
    *room = frame->room - frame->length - 1;
    return frame->bytes + frame->length;
}

void frame_added(struct frame *frame, size_t length)
{
    frame->length += length;
    if (frame->lost)
        frame->used = frame->length;
}

static enum frame_found lose(struct frame *frame, enum frame_found what)
{
    frame->lost = true;
    frame->used = frame->length;
    return what;
}

/* Where the terminator begins at or after `from`, or the length. */
static size_t find_terminator(struct frame *frame, size_t from)
{
    const char last = frame->terminator[frame->terminator_length - 1];
    size_t at = from;
    while (at < frame->length) {
        const char *found = memchr(frame->bytes + at, last, frame->length - at);
        if (found == NULL)
            break;
        at = (size_t)(found - frame->bytes) + 1;
        if (at - from >= frame->terminator_length &&
            memcmp(frame->bytes + at - frame->terminator_length, frame->terminator,
                   frame->terminator_length) == 0)
            return at - frame->terminator_length;
    }
    return frame->length;
}

static enum frame_found hand_out(struct frame *frame, size_t from, size_t length, size_t used,
                                 char **answer, size_t *answer_length)
{
    *answer = frame->bytes + from;
    *answer_length = length;
    frame->bytes[from + length] = '\0'; /* on the terminator, or on the byte kept for it */
    frame->used = frame->scanned = used;
    return FRAME_ANSWER;
}

enum frame_found frame_line(struct frame *frame, char **answer, size_t *length)
{
    if (frame->lost || frame_left(frame) == 0)
        return FRAME_MORE;
    size_t from = frame->scanned > frame->used ? frame->scanned : frame->used;
    size_t end = find_terminator(frame, from);
    size_t line = end - frame->used;
    if (end == frame->length) {
        /* A first half of the terminator may stand at the end. */
        size_t keep = frame->terminator_length - 1;
        if (line > frame->line_most + keep)
            return lose(frame, FRAME_TOO_LONG);
        frame->scanned = end - from > keep ? end - keep : from;
        return FRAME_MORE;
    }
    if (line > frame->line_most)
        return lose(frame, FRAME_TOO_LONG);
    return hand_out(frame, frame->used, line, end + frame->terminator_length, answer, length);
}

/* #0 lasts to the end of the message. Over a stream that end is the terminator alone, so the
 * content cannot hold it; a message-keeping line would let it. */
static enum frame_found indefinite_block(struct frame *frame, size_t content, char **answer,
                                         size_t *length)
{
    size_t begin = frame->used + content;
    size_t from = frame->scanned > begin ? frame->scanned : begin;
    size_t end = find_terminator(frame, from);
    size_t keep = frame->terminator_length - 1;
    if (end - begin > frame->block_most + (end == frame->length ? keep : 0))
        return lose(frame, FRAME_TOO_LONG);
    if (end == frame->length) {
        frame->scanned = end - from > keep ? end - keep : from;
        return FRAME_MORE;
    }
    return hand_out(frame, begin, end - begin, end + frame->terminator_length, answer, length);
}

enum frame_found frame_block(struct frame *frame, char **answer, size_t *length)
{
    size_t content, size;
    if (frame->lost || frame_left(frame) == 0)
        return FRAME_MORE;
    const char *head = frame->bytes + frame->used;
    switch (scpi_block(head, frame_left(frame), &content, &size)) {
    case SCPI_BLOCK_BAD: return lose(frame, FRAME_BAD);
    case SCPI_BLOCK_MORE: return FRAME_MORE;
    case SCPI_BLOCK_WHOLE: break;
    }
    if (size == SCPI_INDEFINITE)
        return indefinite_block(frame, content, answer, length);
    if (size > frame->block_most)
        return lose(frame, FRAME_TOO_LONG);
    if (frame_left(frame) < content + size + frame->terminator_length)
        return FRAME_MORE;
    if (memcmp(head + content + size, frame->terminator, frame->terminator_length) != 0)
        return lose(frame, FRAME_BAD);
    return hand_out(frame, frame->used + content, size,
                    frame->used + content + size + frame->terminator_length, answer, length);
}
