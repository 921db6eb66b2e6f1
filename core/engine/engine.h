/* The engine: does the work that the logbook holds. It takes queued runs, gives each a channel,
 * goes on with those that an earlier engine left, and writes what happens. One pass is the same in
 * real and in virtual time; only the waiting between passes differs.
 *
 *   pass = fire what is due, commit when it is time, then energise what was committed
 *
 * 1. An intent is committed before its channel is energised, and outputs are safe before anything
 *    else is done about a failure.
 * 2. Nothing that the outside can see (an output, a reply, an exit) comes before its commit.
 * 3. What is in memory can be dropped at any time and made again from the logbook: a crash, a full
 *    disk and a restart are one and the same path (engine_load). */
#ifndef PERDURE_ENGINE_ENGINE_H
#define PERDURE_ENGINE_ENGINE_H

#include <stdbool.h>

#include "base/clock.h"
#include "bench/bench.h"
#include "engine/script.h"
#include "logbook/logbook.h"

struct engine;
struct guardian;
struct face;

struct engine_options {
    struct logbook *logbook; /* open to write; borrowed, as all of these */
    struct clock *clock;
    struct bench *bench;
    const struct script_ops *scripts;
    const char *bench_name, *bench_hash; /* for the record of this session */
    struct guardian *guardian;           /* of real instruments; NULL: none is needed */
    void *uv_loop;      /* shared with the links (link/loop.h); NULL: the engine makes its own */
    const char *socket; /* where to listen for other commands; NULL: nowhere */
    const struct face *face; /* by which it is seen and asked (face.h); NULL: none */
    bool placed;             /* cells are put in ahead: nobody is asked for them */
    bool until_idle;         /* end when nothing is left to do */
    bool no_samples;         /* an estimate: readings are of no interest, only what comes of them */
    bool assume_answers;     /* a rehearsal: what a script asks is answered at once (answer.h) */
    int64_t until_run;       /* end when this run is over; 0: not */
    double commit_every;     /* real seconds; 0: the usual 1 */
    double held_retry;       /* real seconds between tries when the disk is full; 0: the usual 5 */
    const char *on_due;      /* started when something is due (notify.h); NULL: nobody is told */
    double on_due_limit;     /* real seconds that it may take; 0: the usual 30 */
    /* Called when something worth telling happened to a run; may be NULL. */
    void (*tell)(void *owner, utc_us at, int64_t run, const char *level, const char *text);
    void *owner;
};

/* Makes the whole bench safe, then takes up what the logbook holds. *out is to be closed by the
 * caller; on an error there is none. */
int engine_open(struct engine **out, const struct engine_options *options, struct error *error);

/* Works until told to stop, by options, by SIGTERM or SIGINT, or by an error that it cannot
 * outlive. Outputs are safe and all is committed when it returns. */
int engine_work(struct engine *engine, struct error *error);

/* Asks engine_work to return: safe in a signal's callback. */
void engine_stop(struct engine *engine, const char *why);

/* What it borrowed stays open. NULL is let pass. */
void engine_close(struct engine *engine);

/* Open runs in memory, by what they wait for: for `until_idle` and for tests. */
struct engine_counts {
    int runs, working, energised, waiting_channel, waiting_answer, paused;
    int64_t readings; /* taken since it was opened */
};
struct engine_counts engine_count(const struct engine *engine);

#endif
