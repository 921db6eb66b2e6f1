/* A round: one scene, worked on by many engines, each of which is killed. What the round's parts
 * share. */
#ifndef PERDURE_TESTS_FAULT_ROUND_H
#define PERDURE_TESTS_FAULT_ROUND_H

#include "account.h"
#include "base/random.h"
#include "ledger.h"
#include "promise.h"
#include "scene.h"
#include "truth.h"
#include "twin.h"

struct settings {
    const char *perdure, *protocols, *folder;
    uint64_t seed;
    int kills, kills_a_round;
    double slow; /* how much slower the program under test is than usual: 1, more when sanitized */
    bool keep;   /* leave the folders */
    bool controls; /* also show that each kind of damage is found */
};

/* How an engine dies. */
#define DEATHS(X)                                                                                  \
    X(DEATH_EARLY, "in start-up or replay")                                                        \
    X(DEATH_AT_WORK, "at work")                                                                    \
    X(DEATH_AMID_COMMAND, "amid a command")                                                        \
    X(DEATH_AFTER_REPLY, "right after a reply")                                                    \
    X(DEATH_AMID_BACKUP, "amid a backup")                                                          \
    X(DEATH_AMID_SHUTDOWN, "amid a shutdown")

enum death {
#define X(name, text) name,
    DEATHS(X)
#undef X
        DEATH_COUNT
};

struct open_run {
    int64_t id;
    int cell; /* number of scene_label */
    bool paused;
};

struct round {
    const struct settings *settings;
    struct findings *findings;
    struct scene scene;
    struct random random;
    struct ledger *ledger;
    struct promises promises;
    struct interruptions interruptions;

    /* As of the last death. */
    struct open_run open[CELLS + 4];
    int open_count;
    bool busy[CELLS];
    bool supply; /* go on starting runs */
    int started; /* scripts of the list that were started in turn */

    int kills[DEATH_COUNT], commands_killed, clean_ends, commands, refused, backups, enrolled;
    int log_cuts;       /* the control that cuts the log: 0 not yet tried, -1 reported */
    double worst_check; /* s */
};

/* --- life.c ----------------------------------------------------------------------------------- */

/* One engine's life and death, and what is looked at after it. */
void life(struct round *round, enum death death);

/* Copies the files and checks all that must hold at any instant. */
void check_now(struct round *round, bool whole);

/* --- orders.c: what a person does meanwhile --------------------------------------------------- */

enum order_kind {
    ORDER_PAUSE,
    ORDER_RESUME,
    ORDER_STOP,
    ORDER_START,
    ORDER_ENROL,
    ORDER_ANSWER,
    ORDER_BACKUP,
    ORDER_LOOK,
    ORDER_COUNT
};

struct order {
    struct process process;
    enum order_kind kind;
    int64_t id; /* of its run or question */
    int cell;
    char text[120]; /* labels, answer or file */
    utc_us begun;
    bool by_engine; /* surely done by one */
};

/* Begins it; false when there is nothing to do of this kind. */
bool order_begin(struct round *round, struct order *order, enum order_kind kind);

/* Once its process has ended: what it was promised, and whether it ended well. `disturbed`: the
 * engine or the order itself was killed meanwhile. True when it was acknowledged. */
bool order_end(struct round *round, struct order *order, bool disturbed);

/* Begins one and waits for its end; `by_engine`: one is at work, and surely has the logbook. */
bool order_do(struct round *round, enum order_kind kind, bool by_engine);

/* --- doctored.c: the controls ----------------------------------------------------------------- */

struct controls {
    int tried, reported;
};

/* Cuts the last commits from a copy of the log, as if they had been lost; true when that is
 * found. */
bool control_cut_log(struct round *round);

/* Each damages a copy of the finished logbook in one way, and must be found by the right check. */
void controls_run(struct round *round, sqlite3 *twin, const int64_t *map,
                  struct controls *controls);

/* --- round.c ---------------------------------------------------------------------------------- */

struct totals {
    int kills, commands_killed;
    int64_t facts, runs, steps, interrupted, samples;
    double used, worst_charge, closest;
    struct controls controls;
};

/* Plays round `number` to so many kills, and adds to the totals. */
void play_round(const struct settings *settings, struct findings *findings, int number, int kills,
                struct totals *totals);

#endif
