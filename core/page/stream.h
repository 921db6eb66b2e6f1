/* What browsers are told without asking (server-sent events, WHATWG HTML, 9.2). Each part of the
 * page is written out once and shared by all who read; a reader is given the newest of each part
 * that it has not had, and what it was too slow for is passed over. So a reader that does not read
 * keeps at most the one text that it has begun, whatever happens meanwhile. */
#ifndef PERDURE_PAGE_STREAM_H
#define PERDURE_PAGE_STREAM_H

#include <microhttpd.h>
#include <stdbool.h>

#include "base/text.h"

enum stream_part { STREAM_LISTS, STREAM_CURVES, STREAM_LIVE, STREAM_PARTS };

/* Readers at a time; fewer than connections, so that the page itself can always be had. */
#define STREAM_READERS_MOST 48

struct stream;

struct stream *stream_new(void);
/* All readers must be gone: the daemon is stopped. */
void stream_free(struct stream *stream);

/* Replaces a part; `json` is one line. Who waits for it is woken by stream_wake. */
void stream_publish(struct stream *stream, enum stream_part part, const char *json, size_t length);

/* A response that goes on as long as both sides want; NULL when there are readers enough. */
struct MHD_Response *stream_join(struct stream *stream, struct MHD_Connection *connection);

/* Wakes up to `most` readers that wait and have something to read; true when more are left. A few
 * at a time, so that many readers do not hold up a channel together. */
bool stream_wake(struct stream *stream, int most);

int stream_readers(const struct stream *stream);

/* Drops readers that have not taken a text within `patience_us`. `now_us` runs evenly. */
void stream_tick(struct stream *stream, int64_t now_us, int64_t patience_us);

/* Ends every reader's response; nobody waits afterwards, so that the daemon can be stopped. */
void stream_end(struct stream *stream);

#endif
