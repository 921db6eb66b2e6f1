/* What the files of an instrument share. Nobody else includes this. */
#ifndef PERDURE_BENCH_INSTRUMENT_INTERNAL_H
#define PERDURE_BENCH_INSTRUMENT_INTERNAL_H

#include "bench/instrument.h"
#include "link/delay.h"

struct job {
    struct job *next;
    instrument_done *done; /* NULL: nobody wants to know */
    void *owner;           /* the instrument itself for its own */
    bench_us began;
    int calls, tries;
    struct driver_order order;
};

/* In front what each exchange touches, as in struct link. */
struct instrument {
    struct driver *driver;
    struct link *link;
    const struct clock *clock;
    struct job *current, *first; /* one in progress, and the queue */
    struct job *spare;           /* none, or one to be used again */
    char *sync_known;
    enum instrument_state state;
    bool working; /* the queue is being worked off, further up the stack */
    bool unprepared;
    bool off;      /* seen to be off */
    bool maybe_on; /* told to drive since it was last seen to be off; outlives a hang-up */
    struct driver_call call; /* of `current`, as is the result */
    struct driver_result result;

    char *name, *place;
    struct delay *delay;
    struct scpi_identity expected, identity;
    struct limits limits;
    double resolution;
    struct guardian *guardian;
    int guardian_id;
    void (*tell)(void *owner, const char *name, const char *level, const char *text);
    void (*trace)(void *owner, const char *name, char way, const char *bytes, size_t length,
                  int64_t at_us);
    void *owner;
    struct error trouble;
    struct turn turn;
};

static inline bool instrument_has_output(const struct instrument *instrument)
{
    return instrument->driver->can & (CAN_SOURCE | CAN_SINK);
}

/* --- instrument_jobs.c: the queue, and working it off ---------------------------------------- */

void instrument_queue(struct instrument *instrument, const struct driver_order *order,
                      instrument_done *done, void *owner);
/* One of its own, before all others. */
void instrument_own_job(struct instrument *instrument, enum driver_task task,
                        instrument_done *done);
/* The current task is over unfinished: its link's answer is not waited for, the driver forgets.
 * The caller frees the job, or ends it. */
struct job *instrument_give_up(struct instrument *instrument);
void instrument_end_job(struct instrument *instrument, struct job *job,
                        const struct driver_result *result, const struct error *failure);
void instrument_fail_all(struct instrument *instrument, const struct error *why);
/* Begins what can be begun. */
void instrument_work(struct instrument *instrument);
/* The driver's safe bytes, at once, if it has any. */
void instrument_send_safe(struct instrument *instrument, struct error *error);
/* Puts its name in front of what failed. */
void instrument_blame(const struct instrument *instrument, struct error *error);
void instrument_on_delay(void *owner);

#endif
