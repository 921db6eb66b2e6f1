/* Whatever bytes come, in whatever pieces: the frame gives the lines and blocks that a plain
 * reading of the whole gives, and keeps its memory small.
 *
 * The first three bytes of the input choose the terminator, the longest line and how the rest is
 * cut into pieces; a block or a line is asked for in turn by bits of the fourth. */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "link/frame.h"
#include "link/scpi.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size);

#define must(condition)                                                                            \
    do {                                                                                           \
        if (!(condition)) {                                                                        \
            fprintf(stderr, "%s:%d: does not hold: %s\n", __FILE__, __LINE__, #condition);         \
            abort();                                                                               \
        }                                                                                          \
    } while (0)

struct plain {
    const char *bytes;
    size_t length, at;
    const char *terminator;
    size_t most;
    bool lost;
};

static bool ends_at(const struct plain *plain, size_t at)
{
    size_t size = strlen(plain->terminator);
    return at + size <= plain->length && memcmp(plain->bytes + at, plain->terminator, size) == 0;
}

static enum frame_found lose(struct plain *plain, enum frame_found what)
{
    plain->lost = true;
    return what;
}

/* To the next terminator from `begin`. */
static enum frame_found plain_text(struct plain *plain, size_t begin, size_t *answer,
                                   size_t *length)
{
    size_t end = begin;
    while (end < plain->length && !ends_at(plain, end))
        end++;
    if (end - begin > plain->most + (end == plain->length ? strlen(plain->terminator) - 1 : 0))
        return lose(plain, FRAME_TOO_LONG);
    if (end == plain->length)
        return FRAME_MORE;
    *answer = begin;
    *length = end - begin;
    plain->at = end + strlen(plain->terminator);
    return FRAME_ANSWER;
}

static enum frame_found plain_block(struct plain *plain, size_t *answer, size_t *length)
{
    size_t left = plain->length - plain->at, digits, count = 0;
    const char *head = plain->bytes + plain->at;
    if (left == 0)
        return FRAME_MORE;
    if (head[0] != '#')
        return lose(plain, FRAME_BAD);
    if (left == 1)
        return FRAME_MORE;
    if (head[1] < '0' || head[1] > '9')
        return lose(plain, FRAME_BAD);
    digits = (size_t)(head[1] - '0');
    if (digits == 0)
        return plain_text(plain, plain->at + 2, answer, length);
    for (size_t i = 0; i < digits; i++) {
        if (i + 2 == left)
            return FRAME_MORE;
        if (head[i + 2] < '0' || head[i + 2] > '9')
            return lose(plain, FRAME_BAD);
        count = count * 10 + (size_t)(head[i + 2] - '0');
    }
    if (count > plain->most)
        return lose(plain, FRAME_TOO_LONG);
    if (left < 2 + digits + count + strlen(plain->terminator))
        return FRAME_MORE;
    if (!ends_at(plain, plain->at + 2 + digits + count))
        return lose(plain, FRAME_BAD);
    *answer = plain->at + 2 + digits;
    *length = count;
    plain->at = *answer + count + strlen(plain->terminator);
    return FRAME_ANSWER;
}

static enum frame_found plain_next(struct plain *plain, bool block, size_t *answer, size_t *length)
{
    if (plain->lost || plain->at == plain->length)
        return FRAME_MORE;
    return block ? plain_block(plain, answer, length)
                 : plain_text(plain, plain->at, answer, length);
}

/* Both must say the same at every piece, answer by answer. */
static void compare(struct frame *frame, struct plain *plain, uint8_t *turns)
{
    for (;;) {
        bool block = *turns & 1;
        char *answer = NULL;
        size_t length = 0, want_at = 0, want_length = 0;
        enum frame_found want = plain_next(plain, block, &want_at, &want_length);
        enum frame_found found =
            block ? frame_block(frame, &answer, &length) : frame_line(frame, &answer, &length);
        must(found == want);
        must(frame->room <= 4 * (plain->most + 512) + 512);
        if (found != FRAME_ANSWER)
            return;
        must(length == want_length);
        must(memcmp(answer, plain->bytes + want_at, length) == 0);
        must(answer[length] == '\0');
        must(frame_left(frame) == plain->length - plain->at);
        *turns = (uint8_t)(*turns >> 1 | *turns << 7);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    if (size < 4)
        return 0;
    static const char *const terminators[] = {"\n", "\r\n", "\r", ";;"};
    struct plain plain = {.bytes = (const char *)bytes + 4,
                          .terminator = terminators[bytes[0] % 4],
                          .most = bytes[1] % 64};
    struct frame frame;
    uint8_t turns = bytes[3];
    uint32_t pace = bytes[2] * 2654435761u + 1;
    frame_init(&frame, plain.terminator, plain.most, plain.most);
    while (plain.length < size - 4) {
        size_t left = size - 4 - plain.length, room;
        size_t piece = 1 + (pace >> 24) % 40;
        pace = pace * 1664525u + 1013904223u;
        char *space = frame_space(&frame, &room);
        must(room > 0);
        piece = piece > left ? left : piece;
        piece = piece > room ? room : piece;
        memcpy(space, plain.bytes + plain.length, piece);
        frame_added(&frame, piece);
        plain.length += piece;
        compare(&frame, &plain, &turns);
        if (plain.lost && (pace >> 16) % 4 == 0) { /* as a link does after draining */
            frame_reset(&frame);
            plain.lost = false;
            plain.at = plain.length;
        }
    }
    frame_free(&frame);
    return 0;
}
