/* Parts, shared by count of references, and the readers that each stand somewhere in one. */
#include "page/stream.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>

#define BLOCK 8192

static const char *const names[STREAM_PARTS] = {
    [STREAM_LISTS] = "lists", [STREAM_CURVES] = "curves", [STREAM_LIVE] = "live"};

struct blob {
    int references;
    uint64_t version; /* over all parts, rising */
    size_t length;
    char bytes[];
};

struct reader {
    struct reader *next;
    struct stream *stream;
    struct MHD_Connection *connection;
    struct blob *blob; /* being sent; NULL: none */
    size_t at;
    int64_t since_us; /* when it was begun */
    uint64_t had[STREAM_PARTS];
    bool waiting; /* suspended */
};

struct stream {
    struct reader *readers;
    int count;
    struct blob *newest[STREAM_PARTS];
    uint64_t version;
    int64_t now_us; /* of the last tick: exact enough for patience */
    bool ended;
};

struct stream *stream_new(void)
{
    return xcalloc(1, sizeof(struct stream));
}

static void let_go(struct blob *blob)
{
    if (blob && --blob->references == 0)
        free(blob);
}

void stream_free(struct stream *stream)
{
    if (!stream)
        return;
    for (int i = 0; i < STREAM_PARTS; i++)
        let_go(stream->newest[i]);
    free(stream);
}

static void wake(struct reader *reader)
{
    if (!reader->waiting)
        return;
    reader->waiting = false;
    MHD_resume_connection(reader->connection);
}

void stream_publish(struct stream *stream, enum stream_part part, const char *json, size_t length)
{
    char head[64];
    int head_length = snprintf(head, sizeof head, "event: %s\ndata: ", names[part]);
    struct blob *blob = xmalloc(sizeof *blob + (size_t)head_length + length + 2);
    blob->references = 1;
    blob->version = ++stream->version;
    blob->length = (size_t)head_length + length + 2;
    memcpy(blob->bytes, head, (size_t)head_length);
    memcpy(blob->bytes + head_length, json, length);
    memcpy(blob->bytes + head_length + length, "\n\n", 2);
    let_go(stream->newest[part]);
    stream->newest[part] = blob;
}

static enum stream_part unread(const struct reader *reader)
{
    int part = 0;
    while (part < STREAM_PARTS && (!reader->stream->newest[part] ||
                                   reader->stream->newest[part]->version <= reader->had[part]))
        part++;
    return (enum stream_part)part; /* STREAM_PARTS: none */
}

bool stream_wake(struct stream *stream, int most)
{
    for (struct reader *reader = stream->readers; reader; reader = reader->next) {
        if (!reader->waiting || unread(reader) == STREAM_PARTS)
            continue;
        if (most-- == 0)
            return true;
        wake(reader);
    }
    return false;
}

/* The next text that the reader has not had; false when there is none. */
static bool pick(struct reader *reader)
{
    enum stream_part part = unread(reader);
    if (part == STREAM_PARTS)
        return false;
    struct blob *blob = reader->stream->newest[part];
    blob->references++;
    reader->blob = blob;
    reader->had[part] = blob->version;
    reader->at = 0;
    reader->since_us = reader->stream->now_us;
    return true;
}

static ssize_t give(void *owner, uint64_t position, char *buffer, size_t room)
{
    struct reader *reader = owner;
    (void)position;
    if (reader->stream->ended)
        return MHD_CONTENT_READER_END_OF_STREAM;
    if (!reader->blob && !pick(reader)) {
        reader->waiting = true;
        MHD_suspend_connection(reader->connection);
        return 0;
    }
    size_t left = reader->blob->length - reader->at, count = left < room ? left : room;
    memcpy(buffer, reader->blob->bytes + reader->at, count);
    reader->at += count;
    if (count == left) {
        let_go(reader->blob);
        reader->blob = NULL;
    }
    return (ssize_t)count;
}

static void gone(void *owner)
{
    struct reader *reader = owner, **place = &reader->stream->readers;
    while (*place != reader)
        place = &(*place)->next;
    *place = reader->next;
    reader->stream->count--;
    let_go(reader->blob);
    free(reader);
}

struct MHD_Response *stream_join(struct stream *stream, struct MHD_Connection *connection)
{
    if (stream->ended || stream->count >= STREAM_READERS_MOST)
        return NULL;
    struct reader *reader = xcalloc(1, sizeof *reader);
    reader->stream = stream;
    reader->connection = connection;
    struct MHD_Response *response =
        MHD_create_response_from_callback(MHD_SIZE_UNKNOWN, BLOCK, give, reader, gone);
    if (!response) {
        free(reader);
        return NULL;
    }
    reader->next = stream->readers;
    stream->readers = reader;
    stream->count++;
    return response;
}

int stream_readers(const struct stream *stream)
{
    return stream->count;
}

void stream_tick(struct stream *stream, int64_t now_us, int64_t patience_us)
{
    stream->now_us = now_us;
    for (struct reader *reader = stream->readers; reader; reader = reader->next) {
        if (!reader->blob || now_us - reader->since_us < patience_us)
            continue;
        const union MHD_ConnectionInfo *socket =
            MHD_get_connection_info(reader->connection, MHD_CONNECTION_INFO_CONNECTION_FD);
        if (socket)
            shutdown(socket->connect_fd, SHUT_RDWR); /* the daemon sees it and lets go */
    }
}

void stream_end(struct stream *stream)
{
    stream->ended = true;
    for (struct reader *reader = stream->readers; reader; reader = reader->next)
        wake(reader);
}
