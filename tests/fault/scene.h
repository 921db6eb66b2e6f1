/* The scene: one logbook in a folder of its own, a bench of simulated channels, cells, and the
 * program under test as a person would use it.
 *
 * All lengths of time follow from `span`, a quarter of a second on this machine, so that a step
 * lasts about as long as an engine does, whatever the scale of the clock. */
#ifndef PERDURE_TESTS_FAULT_SCENE_H
#define PERDURE_TESTS_FAULT_SCENE_H

#include <stdint.h>

#include "base/calendar.h"
#include "findings.h"
#include "process.h"

#define EXACT_CELLS    6 /* X-01 ...: they store all that flows in, and give all of it back */
#define NICKEL_CELLS   2 /* N-01 ...: typical nickel cells */
#define CELLS          (EXACT_CELLS + NICKEL_CELLS)
#define EXACT_CHANNELS 4 /* E1 ... */
#define CHANNELS       (EXACT_CHANNELS + 1)

struct scene {
    const char *perdure, *protocols; /* borrowed */
    struct findings *findings;
    char folder[200];
    char logbook[256], world[256], bench[256], check[256], check_world[256], log[256];
    uint64_t seed;
    double scale; /* 0: a virtual clock */
    double span;  /* s, on the logbook's clock */
    char commit_every[24];
    utc_us utc_origin, real_origin;
};

/* Makes everything: folder, bench file, logbook, cells; each cell is looked at once, which settles
 * what kind of cell it is. */
void scene_make(struct scene *scene);

/* "X-01" ... "N-02", by number from 0. */
const char *scene_label(int cell);

/* Now, on the logbook's clock. */
utc_us scene_now(const struct scene *scene);

void scene_engine(const struct scene *scene, struct process *process, bool until_idle);

/* Waits until the engine has the logbook, so that it and nobody else follows commands; false when
 * it has ended before. */
bool scene_wait_engine(const struct scene *scene, struct process *process);

/* perdure --logbook ... WORDS; words ended by NULL. */
void scene_begin(const struct scene *scene, struct process *process, const char *const *words);

/* The same, to its end, which must be exit status 0. What it said is owned by the caller. */
char *scene_do(const struct scene *scene, const char *const *words);

/* How a command or an engine ended that nobody killed: a finding unless it is exit status 0, or,
 * where `may_refuse`, one line that says what, why and what to do. */
void scene_judge(const struct scene *scene, const struct process *process, const char *what,
                 bool may_refuse);

/* Copies the logbook with its log, and the world, to check and check_world. Nobody may write. */
void scene_copy(const struct scene *scene);
void copy_logbook(const char *from, const char *to);
void copy_file(const char *from, const char *to);

/* Removes the folder and what is in it. */
void scene_remove(const struct scene *scene);

#endif
