/* Dry replay: a run's journal held against a text of its script, with nothing performed and nothing
 * written. Proves that a run can go on (audit), and that an edited script may take its place. */
#ifndef PERDURE_ENGINE_REPLAY_H
#define PERDURE_ENGINE_REPLAY_H

#include "engine/pinned.h"

struct replay_report {
    int64_t entries;  /* on record in the current segment */
    int64_t replayed; /* as far as the script agreed */
};

/* `with` NULL: the text and modules that are pinned to the run. An error says where the script
 * first differs from the record, or how it failed; then *report tells how far it came. */
int replay_dry(struct logbook *logbook, const struct script_ops *scripts, int64_t run,
               const struct replay_text *with, struct replay_report *report, struct error *error);

#endif
