/* What the files of a link share. Nobody outside core/link includes this.
 *
 *    +-----> WAITING --begin_open--> OPENING --line_opened--+
 *    |       back-off                                       |
 *    |                                                      v
 *    |  any open state --exchange_drain: stray bytes,   DRAINING <--------------+
 *    |    time-out, garbled, safe bytes, resync-------> until quiet             |
 *    |                                                   |  |                   |
 *    |       drained, fresh: up; or nothing to ask       |  | drained           |
 *    |   +-----------------------------------------------+  v                   |
 *    |   v                                               SYNCING --no match-----+
 *    |  IDLE <--exchange_due: quiet-- SETTLING <--match-----+                   |
 *    |   |  ^                            |                                      |
 *    |   |  |                            +--bytes again-------------------------+
 *    |   |  +----answered, or all_sent when no answer is due----+
 *    |   +--exchange_start--> SENDING --all_sent--> AWAITING ---+
 *    |
 *    +--link_hang_up-- any state but WAITING and CLOSING
 *       any --link_close--> CLOSING --on_closed: freed
 *
 * 1. Only IDLE starts an exchange; at most one is in progress (SENDING, AWAITING: `current`).
 * 2. The line is open (fd >= 0) in DRAINING, IDLE, SENDING, AWAITING, SYNCING and SETTLING, and
 *    maybe in OPENING. In WAITING and CLOSING nothing is open, queued or in progress.
 * 3. A question leaves IDLE only with nothing unread before it. Bytes that come in IDLE or in
 *    SETTLING, or behind the answer, put the link out of step: DRAINING.
 * 4. From DRAINING the way to IDLE is silence, then the answer to the synchronisation question
 *    (if the owner has one), then silence again. SYNC_TRIES without a match, or DRAIN_MOST_US
 *    without silence, hang up.
 * 5. An exchange is written once: the synchronisation question alone is ever repeated.
 * 6. `trusted` holds from link_trust to the next hang-up; link_ask is refused without it.
 * 7. A timer that comes due looks at the line first: what came while the loop was held up counts.
 * 8. Callbacks are made by link_deliver alone, last in an event of the loop, when the state is
 *    whole again; each may end in CLOSING. link_deliver is never entered twice. */
#ifndef PERDURE_LINK_INTERNAL_H
#define PERDURE_LINK_INTERNAL_H

#include <uv.h>

#include "base/text.h"
#include "link/frame.h"
#include "link/link.h"

#define SYNC_TRIES    3
#define DRAIN_MOST_US 5000000
#define BACK_OFF_MS   100
#define BACK_OFF_MOST 10000
#define QUEUE_MOST    256
#define TIMER_NEVER   INT64_MAX

/* Bytes of the exchanges that are used again; questions are shorter. */
#define EXCHANGE_USUAL 64

enum link_state { WAITING, OPENING, DRAINING, IDLE, SENDING, AWAITING, SYNCING, SETTLING, CLOSING };

struct exchange {
    struct exchange *next;
    link_answered *callback;
    void *owner;
    enum link_answer answer;
    enum link_status status; /* once it is over */
    double patience;
    size_t length, room; /* of bytes */
    char bytes[];
};

/* What differs between kinds. */
struct line_ops {
    const char *name;
    /* Exclusive, configured and flushed: line_opened now or later, or line_failed later, or an
     * error now. */
    int (*open)(struct link *link, struct error *error);
    /* Called also when open has not ended. */
    void (*close)(struct link *link);
    bool socket;
    bool messages; /* each message goes to the line behind a struct message */
};

struct message {
    uint32_t length;
    uint32_t patience_ms; /* for its answer; 0: none comes */
};

extern const struct line_ops line_serial, line_tcp, line_usbtmc, line_pty;

/* In front what each exchange touches, close together: with a thousand links nothing else of one
 * stays in the processor's cache until its next. */
struct link {
    enum link_state state;
    int fd, lock_fd; /* -1 */
    int queued;
    int syncs;  /* synchronisation questions since the last IDLE */
    int owed;   /* of them, not answered yet */
    bool fresh; /* DRAINING after opening: `up` comes next */
    bool trusted;
    bool told_down;
    bool delivering;
    bool resync;    /* asked for while an exchange is in progress */
    bool writing;   /* polling for room, too */
    bool emptied;   /* the line was read empty in this event of the loop, and nothing sent since */
    bool reply_due; /* `current` has its answer in reply */
    bool up_due, down_due;
    bool traced; /* hooks.trace is there */
    const struct line_ops *ops;
    int64_t since; /* us: when the draining began */
    struct exchange *current;
    struct exchange *first, *last;           /* the queue */
    struct exchange *spare;                  /* none, or one to be used again */
    struct exchange *over_first, *over_last; /* to be delivered, as is */
    struct frame frame;
    struct link_reply reply;
    int64_t timer_ms; /* when it fires, as uv_now, which may be sooner than... */
    int64_t due_ms;   /* ...when it is wanted; TIMER_NEVER: not at all */
    double patience;  /* s, as in spec */
    struct text out;  /* what the line did not take yet, from out_sent on */
    size_t out_sent;
    struct link_counts counts;

    uv_loop_t *loop;
    uv_timer_t timer;      /* of the state: back-off, patience, silence */
    uv_timer_t soon;       /* delivers what a call from outside the loop's events brought about */
    int handles;           /* of these two, not yet closed */
    uv_poll_t *poll;       /* NULL while nothing is open; frees itself */
    void *line;            /* of the kind */
    struct link_spec spec; /* defaults filled in; strings owned */
    struct link_hooks hooks;
    int back_off;     /* ms, of the next attempt */
    struct error why; /* to be delivered with down_due */
};

/* --- link.c: opening, hanging up, delivering --------------------------------------------- */

void line_opened(struct link *link); /* link->fd is set */
void line_failed(struct link *link, const struct error *why);
/* (Re)starts polling link->fd. */
int link_poll(struct link *link, int events, uv_poll_cb callback);
void link_unpoll(struct link *link);
/* Closes the line, if there is one; what was asked is over as LINK_HANGUP, and after a rest it is
 * opened again. Nothing is told before link_deliver. */
void link_hang_up(struct link *link, const struct error *why);
void link_hang_up_because(struct link *link, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
/* Makes the callbacks that are due and starts what is queued: invariant 8. */
void link_deliver(struct link *link);
/* The same in an event of its own, for a call from outside the loop's events. */
void link_deliver_soon(struct link *link);
/* Shows the bytes to whoever traces: 'o' sent, 'i' read, 'x' thrown away. */
void link_trace(struct link *link, char way, const char *bytes, size_t length);
/* Memory for one of so many bytes; all but its room is to be filled in. */
struct exchange *link_new_exchange(struct link *link, size_t length);
/* Gives it back, unanswered and untold. */
void link_drop_exchange(struct link *link, struct exchange *exchange);
/* Ends it: its callback is made by link_deliver. */
void link_over(struct link *link, struct exchange *exchange, enum link_status status);
/* exchange_due, or the next attempt to open, at due_us of link_now. */
void link_timer(struct link *link, int64_t due_us);
void link_no_timer(struct link *link);
int64_t link_now(void); /* us, monotonic */

/* --- line.c: bytes ---------------------------------------------------------------------------- */

/* Sends, or keeps for later what the line does not take; false once hung up. */
bool line_put(struct link *link, const char *bytes, size_t length, uint32_t patience_ms);
/* Sends what was kept, as far as it goes; false once hung up. */
bool line_flush(struct link *link);
/* Bytes read, 0 when none are there, -1 once hung up. */
ssize_t line_get(struct link *link, char *bytes, size_t room);
/* Whether bytes lie in the line, unread. Cheaper than reading none. */
bool line_has_bytes(const struct link *link);
/* Reads bytes that answer nothing; true when there were any, or the line is gone. */
bool line_throw_away(struct link *link);

/* --- exchange.c: one question, one answer ----------------------------------------------------- */

void exchange_io(uv_poll_t *poll, int status, int events);
void exchange_drain(struct link *link); /* from any open state: out of step */
void exchange_start(struct link *link); /* the next one, if IDLE */
void exchange_due(struct link *link);   /* the timer of an open state */

/* --- lock.c: exclusive use -------------------------------------------------------------------- */

/* Opens a character device for this process alone (flock); -1 and an error. */
int lock_device(const char *path, struct error *error);
/* Closes it. The lock goes though another process holds a duplicate (link_fd). */
void unlock_device(int fd);
/* Holds an address for this process among those on this machine: an abstract socket. */
int lock_address(const struct sockaddr *address, const char *what, struct error *error);

#endif
