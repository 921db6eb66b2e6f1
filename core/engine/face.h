/* A face: something by which the engine is seen and asked from outside while it works, on the
 * engine's own loop and thread, such as the page.
 *
 * 1. What a face is shown is on record: look() comes only while nothing in memory is uncommitted.
 * 2. What it asks for goes the way of every command (acts.h), and its reply comes after the commit.
 * 3. Whatever a face does in one call must be short: the same thread drives the channels. */
#ifndef PERDURE_ENGINE_FACE_H
#define PERDURE_ENGINE_FACE_H

#include "base/clock.h"
#include "engine/engine.h"

struct face {
    /* `uv_loop` lives until after close. */
    int (*open)(void *owner, struct engine *engine, void *uv_loop, struct error *error);
    /* About once a second, and only when engine_on_record. */
    void (*look)(void *owner);
    /* Handles on the loop may still be closing when it returns; the engine may not be used. */
    void (*close)(void *owner);
    void *owner;
};

/* Whether all that is in memory is committed: only then may it be shown. */
bool engine_on_record(const struct engine *engine);

/* --- seeing: strings are good during the call, values are SI, NAN where there is none --------- */

struct engine_sight {
    utc_us now;
    const char *clock; /* "real", "virtual", "scaled" */
    bool held;         /* the disk is full */
    bool unguarded;    /* the guardian made everything safe, or is lost */
    int64_t changes;   /* differs when something other than a reading has happened */
    int channels;
    struct engine_counts counts;
};
struct engine_sight engine_see(const struct engine *engine);

struct channel_sight {
    int index;
    const char *name, *how; /* "simulated" */
    int64_t run;            /* 0: free */
    const char *missing;    /* the instrument that it waits for; NULL: all that it has are ready */
    const char *trouble;    /* why that one is not: "no answer in time" */
    const char *cell;
    const char *step; /* "charge"; NULL outside a step */
    int64_t step_id;
    double elapsed, limit; /* s since the step began; s after which it ends at the latest */
    double voltage, current, temperature;
    double charge, energy; /* of the step so far, in its direction */
};
void engine_see_channels(const struct engine *engine,
                         void (*visit)(void *context, const struct channel_sight *sight),
                         void *context);

struct run_sight {
    int64_t run;
    const char *state;         /* as on record: "running" */
    const char *doing;         /* "queued", "stepping", "waiting", "asking", "performing", ... */
    const char *cell, *script; /* cell: "" for a study */
    const char *channel;       /* "" while none */
    utc_us until;              /* waiting: for this instant; else 0 */
    const char *why;           /* as on record: "waits for meter-2: .."; NULL */
};
void engine_see_runs(const struct engine *engine,
                     void (*visit)(void *context, const struct run_sight *sight), void *context);

/* --- asking ----------------------------------------------------------------------------------- */

/* Makes the change of a request (JSON, see acts.h) at once; `done` is called with the reply, a line
 * {"reply": ..} or {"error": {code, what, why, todo}}, when the change is committed and, for a
 * pause or a stop, the outputs of that run are safe. Never from within this call. */
void engine_ask(struct engine *engine, const char *request, size_t length,
                void (*done)(void *owner, const char *reply), void *owner);
/* `owner` is gone: its reply is dropped, what it asked for stays done. */
void engine_forget(struct engine *engine, const void *owner);

#endif
