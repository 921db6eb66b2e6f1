/* An instrument: a name, a link, a driver, and a queue of tasks that channels share.
 *
 *           link up              is who it should be        off, prepared
 *   DOWN -------------> VERIFYING ------------> PREPARING ------------> READY
 *     ^                     |                       |                     |
 *     +------- hung up, refused: tried again by the link, with back-off --+
 *
 * 1. Nothing but a question is sent before it is verified, except safe bytes to one whose output
 *    was on when its line went.
 * 2. From VERIFYING to READY the output is turned off first, and seen to be off.
 * 3. One task at a time. When the line goes, all that are asked fail at once.
 * 4. After a task that failed or was given up the driver forgets, and prepares again.
 *
 * Callbacks come from the loop or, for a task that needs no answer, from inside the call. */
#ifndef PERDURE_BENCH_INSTRUMENT_H
#define PERDURE_BENCH_INSTRUMENT_H

#include "base/clock.h"
#include "bench/driver.h"
#include "bench/profile.h"
#include "bench/turn.h"

struct instrument;
struct guardian;

enum instrument_state {
    INSTRUMENT_DOWN,
    INSTRUMENT_VERIFYING,
    INSTRUMENT_PREPARING,
    INSTRUMENT_READY
};

struct instrument_spec {
    const char *name;
    const struct link_spec *link;
    struct driver *driver;         /* taken over, also when instrument_open fails */
    struct scpi_identity expected; /* "" where it does not matter */
    struct limits limits;          /* what it can and may do */
    double resolution;             /* V, last digit of its voltage; NAN: not known */
    const struct clock *clock;     /* borrowed, as is the guardian */
    struct guardian *guardian;     /* holds its line while that is open; NULL: none does */
    int guardian_id;               /* one of its own */
    /* Both may be NULL. Something happened that a person may want to know; bytes: see link.h. */
    void (*tell)(void *owner, const char *name, const char *level, const char *text);
    void (*trace)(void *owner, const char *name, char way, const char *bytes, size_t length,
                  int64_t at_us);
    void *owner;
};

int instrument_open(void *uv_loop, const struct instrument_spec *spec, struct instrument **out,
                    struct error *error);
/* Safe bytes first. No callback comes after it; the loop frees it. */
void instrument_close(struct instrument *instrument);

/* `failure` NULL when it is done; began and ended on the running clock. */
typedef void instrument_done(void *owner, const struct driver_result *result, bench_us began,
                             bench_us ended, const struct error *failure);

/* Queues a task. An error, and no callback, while the instrument is down. */
int instrument_ask(struct instrument *instrument, const struct driver_order *order,
                   instrument_done *done, void *owner, struct error *error);

/* Safe bytes at once, before all else: what is asked or in progress is given up (`owner`'s without
 * a callback, others' as failed). Then DRIVER_OFF, whose end is the answer. For one without output
 * the same as instrument_forget, and answered at once. */
int instrument_make_safe(struct instrument *instrument, instrument_done *done, void *owner,
                         struct error *error);

/* `owner` goes: its tasks are dropped without a callback; those that turn off or disconnect are
 * still done. */
void instrument_forget(struct instrument *instrument, void *owner);

/* Whether something that `owner` asked is still to be answered. */
bool instrument_owes(const struct instrument *instrument, const void *owner);

/* Hangs up and begins anew, off first: for one whose state is no longer known. */
void instrument_restart(struct instrument *instrument, const struct error *why);

/* Turns at it, for channels that reach it through one scanner. */
struct turn *instrument_turn(struct instrument *instrument);

enum instrument_state instrument_state(const struct instrument *instrument);
const char *instrument_state_name(enum instrument_state state);
const char *instrument_name(const struct instrument *instrument);
const struct driver *instrument_driver(const struct instrument *instrument);
const struct scpi_identity *instrument_identity(const struct instrument *instrument);
const struct limits *instrument_limits(const struct instrument *instrument);
double instrument_resolution(const struct instrument *instrument);

/* Seen to be off, and nothing sent since that could have turned it on. True of one without
 * output. */
bool instrument_is_off(const struct instrument *instrument);

/* Why it is down; code 0 when it is not, or was not tried yet. */
const struct error *instrument_trouble(const struct instrument *instrument);

/* Its link as a text, such as "tcp 127.0.0.1 5025". */
const char *instrument_place(const struct instrument *instrument);

#endif
