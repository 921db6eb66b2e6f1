/* A channel: a place to put one cell, whatever sources, sinks and measures there. One table of
 * functions per kind (simulated, by instruments, by hand), so that a run never knows which.
 *
 *   empty --insert--> idle --drive--> energised --make_safe--> idle --remove--> empty
 *
 * 1. Only `drive` energises; make_safe may be called in every state, twice, and at any time.
 * 2. `read` works in idle and energised.
 * 3. A channel that answers later returns CHANNEL_LATER and calls `notify` when it has answered.
 *    make_safe supersedes whatever was still asked: only its own answer comes after it. */
#ifndef PERDURE_BENCH_CHANNEL_H
#define PERDURE_BENCH_CHANNEL_H

#include <stdbool.h>
#include <stdint.h>

#include "base/clock.h"
#include "base/error.h"
#include "base/name.h"
#include "bench/profile.h"
#include "bench/reading.h"

/* What a channel and its guards need to know of the cell in it. */
struct cell_facts {
    char label[64];
    char model[NAME_ROOM];
    const struct profile *profile;
    double rated_charge; /* A.s */
    uint64_t seed;       /* for a simulated truth */
};

/* What an instrument's sheet states: the error lies within +-(relative x reading + absolute). NAN
 * where nothing is stated. */
struct stated_accuracy {
    double relative; /* 0.0005 for 0.05 % */
    double absolute; /* SI */
};

#define STATES_NOTHING                                                                             \
    ((struct channel_accuracy){{NAN, NAN},                                                         \
                               {NAN, NAN},                                                         \
                               {NAN, NAN},                                                         \
                               {NAN, NAN},                                                         \
                               {NAN, NAN},                                                         \
                               {NAN, NAN},                                                         \
                               {NAN, NAN},                                                         \
                               NAN,                                                                \
                               NAN})

struct channel;

enum channel_reply { CHANNEL_NOW, CHANNEL_LATER, CHANNEL_FAILED };

struct channel_ops {
    const char *kind; /* "simulated": how a result was obtained */
    int (*insert)(struct channel *channel, const struct cell_facts *cell, struct error *error);
    enum channel_reply (*drive)(struct channel *channel, const struct drive *drive,
                                struct error *error);
    enum channel_reply (*read)(struct channel *channel, struct reading *out, struct error *error);
    enum channel_reply (*make_safe)(struct channel *channel, struct error *error);
    void (*remove)(struct channel *channel);
    void (*close)(struct channel *channel); /* frees it; safe first */
};

struct channel {
    const struct channel_ops *ops;
    /* Set by the run that holds the channel: a late answer of read, drive or make_safe; and
     * something worth a warning on record. Either may be NULL. */
    void (*notify)(void *owner, const struct reading *reading, const struct error *failure);
    void (*warn)(void *owner, const char *text);
    void *owner; /* NULL when the channel is free */

    /* Also set by it: whether the next reading is to have the resistance, which costs time; only
     * where it is measured. */
    bool asks_resistance;

    char name[32];
    struct limits limits;
    double tick_least; /* s, as fast as it can be read */
    double tick_most;  /* s, the longest it may go unread while energised */
    double rest_most;  /* s, the same while nothing is driven */
    bool physical;     /* real energy flows: an intent is committed before it is energised */
    bool simulated;    /* its cell is a calculation: there by itself, and nobody can look at it */
    bool placed;       /* cells are put in ahead: nobody is asked for them */
    bool measures_resistance; /* by alternating current, of a cell that nothing drives */
    double void_after; /* s of gap after which an interrupted step is void; NAN: always resumed */

    struct channel_accuracy {
        struct stated_accuracy voltage, current, temperature;
        struct stated_accuracy time;                       /* of a duration */
        struct stated_accuracy charge, energy, resistance; /* of a display that shows them */
        double shared; /* correlation of the errors in voltage and current; NAN: not known */
        double steady; /* of two readings moments apart; NAN: not known */
    } accuracy;
};

#endif
