/* The guardian: a small process of its own that turns the outputs off when the engine cannot. It
 * holds a duplicate of each instrument's open descriptor and the bytes that make it safe. When the
 * engine dies, or has not beaten for the patience (1.5 s), it writes them to all: outputs are off
 * within 2 s of the last sign of life, however many instruments there are and whichever are stuck.
 *
 *              the engine was late           all is written            guardian_settle
 *   WATCHING ----------------------> FIRING --------------> TRIPPED ------------------> WATCHING
 *   any: the guardian is gone, and no other starts --> LOST --one answers--> WATCHING or TRIPPED
 *
 * 1. A guardian that dies, stops or answers nonsense is noticed with the next beats, killed, and
 *    replaced at once; the new one is handed everything again.
 * 2. While LOST nothing watches: make everything safe and drive nothing.
 * 3. From FIRING on the instruments are not what the runs believe: fail or park the runs, drive
 *    nothing. Safe bytes are written several times, for 0.4 s, and to one that is stuck for up to
 *    four patiences. In TRIPPED make everything safe from here, too, then guardian_settle.
 * 4. With nothing held it never trips.
 *
 * What it cannot do: survive what kills both at once (a power cut, a SIGKILL to the whole service);
 * reach an instrument that does not read its line, or one of USBTMC before the engine's read of it
 * in progress ends (its patience, at most). Limits set in the instrument come first.
 *
 * All times are real. One thread only, no callbacks. The first hold waits for an answer (5 s at
 * most), close for the end (1 s); nothing else blocks for longer than 0.2 s. */
#ifndef PERDURE_BENCH_GUARDIAN_H
#define PERDURE_BENCH_GUARDIAN_H

#include <stdbool.h>
#include <stddef.h>
#include <sys/types.h>

#include "base/error.h"

#define GUARDIAN_PATIENCE  1.5 /* s */
#define GUARDIAN_SAFE_MOST 512 /* bytes that make one instrument safe */

struct guardian;

enum guardian_state { GUARDIAN_WATCHING, GUARDIAN_FIRING, GUARDIAN_TRIPPED, GUARDIAN_LOST };

/* `patience` in s, 0: the usual. The process is started with the first hold: a bench without
 * instruments has none. The program starts itself anew for it (see guardian_child.c): whatever
 * links this file can be a guardian. */
struct guardian *guardian_open(double patience);

/* The orderly end: all is safe already, and nothing is written. NULL is fine. */
void guardian_close(struct guardian *guardian);

/* From here on `safe` is what it writes to `fd`; both are duplicated. An id that is held already is
 * replaced. A terminator goes out before the bytes (the one that they end with, if any), in case
 * the line is in the middle of a command. Call it before anything is driven. An error: there are
 * too few or too many bytes, or no duplicate can be had. While LOST it is kept, and handed over
 * when there is a guardian again. */
int guardian_hold(struct guardian *guardian, int id, int fd, const char *safe, size_t length,
                  struct error *error);

/* When the line hung up or is closed, at once: until then the device stays open, and locked. An id
 * that is not held is fine. */
void guardian_release(struct guardian *guardian, int id);

/* A sign of life, at least four in a patience. Call it in every pass of the loop, which must not
 * sleep for longer than guardian_beat_in; when called more often it costs a look at the clock. */
enum guardian_state guardian_beat(struct guardian *guardian);
double guardian_beat_in(const struct guardian *guardian); /* s */

enum guardian_state guardian_state(const struct guardian *guardian);

/* Everything was made safe after TRIPPED. */
void guardian_settle(struct guardian *guardian);

/* Why the last one was lost, for the record; code 0 when none was. */
const struct error *guardian_trouble(const struct guardian *guardian);

struct guardian_counts {
    pid_t pid;  /* of the one at work; 0: none */
    int starts; /* the first included */
    int trips;
    int holds;
};
struct guardian_counts guardian_count(const struct guardian *guardian);

#endif
