/* A day at an invented bench: a logbook with cells and queued runs, simulated cells in a file
 * beside it, and an engine that does the work in this process, on whatever disk is registered. */
#ifndef PERDURE_TESTS_FAULT_CUT_DAY_H
#define PERDURE_TESTS_FAULT_CUT_DAY_H

#include <stdbool.h>

#include "bench/world.h"
#include "engine/engine.h"

struct day {
    char folder[256];
    char logbook[300], world[300];
};

enum day_size {
    DAY_LONG, /* five runs on three channels, shipped protocols among them */
    DAY_SHORT /* two runs on one channel, some dozen commits */
};

enum day_pace {
    PACE_VIRTUAL, /* engine_work in virtual time: one commit in 512 passes at most */
    PACE_SCALED,  /* engine_work in scaled time: each intent is committed before its step */
    PACE_STEPPED  /* virtual time, pass by pass, with a commit every few passes */
};

/* What the engine works with, for whoever looks on. */
struct day_bench {
    struct logbook *logbook;
    struct clock clock;
    struct world *world;
    struct bench bench;
    struct engine *engine;
};

struct day_work {
    enum day_pace pace;
    int commit_passes;     /* STEPPED: passes from one commit to the next */
    int checkpoint_frames; /* SQLite moves its log into the file at so many; 0: the usual */
    int64_t until_run;     /* ends when this run is over; 0: when nothing is left to do */
    const char *pragma;    /* said to SQLite once the logbook is open; NULL: nothing */
    int64_t outage;        /* us of the clock that have passed since the latest record */
    void (*tell)(void *owner, utc_us at, int64_t run, const char *level, const char *text);
    void *owner;
    /* Called when engine_work has returned and nothing is closed yet; may be NULL. */
    void (*after)(void *owner, int code);
    struct day_bench *bench; /* filled while at work, for whoever looks on; may be NULL */
};

/* Makes the folder's logbook and queues the runs. */
void day_make(struct day *day, const char *folder, enum day_size size, uint64_t seed);

/* Copies the files as they lie. */
void day_copy(const struct day *from, struct day *to, const char *folder);

/* Opens everything, works until nothing is left to do, closes everything. */
int day_work(const struct day *day, const struct day_work *work, struct error *error);

/* True when no simulated cell is driven. */
bool day_is_safe(const struct day_bench *bench);

/* Power is off: what was driven is driven no more. */
void day_switch_off(const struct day *day);

/* What is wrong with a logbook: 0 when nothing is, else `why` says it. */
enum day_finding {
    DAY_SOUND,
    DAY_DAMAGED,   /* it cannot be opened, or SQLite or the logbook's own check objects */
    DAY_UNCLEAN,   /* the audit has findings */
    DAY_UNFINISHED /* `finished` was wanted, and a run is not done */
};
enum day_finding day_look(const struct day *day, bool finished, char *why, size_t size);

#endif
