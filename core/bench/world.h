/* Where simulated cells live: their state belongs to the cell and not to the channel, and goes on
 * while no engine runs. Kept in memory, or in a file beside the logbook that is mapped, so that
 * what happened to a cell stays happened when the engine is killed.
 *
 * The file is no part of the record: it holds what a shelf of real cells would. */
#ifndef PERDURE_BENCH_WORLD_H
#define PERDURE_BENCH_WORLD_H

#include "bench/simcell.h"

struct world;

/* `path` NULL: in memory. A file of another version or a damaged one is refused, untouched. */
int world_open(struct world **out, const char *path, struct error *error);
void world_close(struct world *world);

/* The cell with this label; made on first sight from `truth` (NULL: the typical truth of its
 * chemistry), new as of `now`. The pointer stays good until the world is closed. */
struct simcell *world_cell(struct world *world, const struct cell_facts *facts,
                           const struct simcell_truth *truth, utc_us now, struct error *error);

/* A bench that is switched on anew is safe: what the last engine left driven when it ended without
 * a word has gone on until `now`, and is driven no more. */
void world_make_safe(struct world *world, utc_us now);

/* The latest instant that any cell has lived to; 0 for an empty world. */
utc_us world_latest(const struct world *world);

#endif
