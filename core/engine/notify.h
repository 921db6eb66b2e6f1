/* Telling the outside that something is due: that a study's cells are to be looked at, that the
 * window for it has passed, that a question is put or an instrument is gone. Off unless the engine
 * was given a command.
 *
 *   put on record --committed--> its turn --command started--> what came of it on record
 *
 * 1. Every thing is told at least once: a person who misses the 42nd day is worse off than one who
 *    hears of it twice. So a notice is on record before its command starts, in the transaction of
 *    what it tells of, and one of which nothing has come is told again by the next engine, as long
 *    as what it tells of is still open. One of which something has come, well or not, is not.
 * 2. One command at a time; nobody waits for it. So many wait at most; one too many is not told,
 *    and a warning says so.
 * 3. Nothing is told of what a journal replays. */
#ifndef PERDURE_ENGINE_NOTIFY_H
#define PERDURE_ENGINE_NOTIFY_H

#include <stdbool.h>

#include "engine/engine_internal.h"

/* By the engine's options; leaves engine->notifier NULL where nobody is to be told. */
int notify_open(struct engine *engine, struct error *error);
void notify_close(struct engine *engine);

/* The runs of a study's entry have been queued, now or by an earlier engine: due, or overdue. */
void notify_due(struct live_run *study);
/* A question of the entry being performed is open. */
void notify_question(struct live_run *run, int64_t question);
/* The run has been waiting for an instrument for a while: run->record.why says which. */
void notify_lost(struct live_run *run);

/* Looks what has become overdue, and starts the next command. Part of every pass. */
void notify_look(struct engine *engine);
/* Something waits to be told, and is worth waiting for: the command does not hang every time. */
bool notify_waits(const struct engine *engine);
/* What is in memory was rolled back: it comes again with the runs. */
void notify_drop(struct engine *engine);
/* Before the engine ends: a command that runs may end within a few seconds. */
void notify_finish(struct engine *engine);

#endif
