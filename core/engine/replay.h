/* Dry replay: a run's journal held against a text of its script, with nothing performed and nothing
 * written. Proves that a run can go on (audit), that an edited script may take its place, and what
 * follows from a corrected answer. */
#ifndef PERDURE_ENGINE_REPLAY_H
#define PERDURE_ENGINE_REPLAY_H

#include "engine/pinned.h"

/* How the script stood when its record was replayed to the end. */
enum replay_end {
    REPLAY_WAITS, /* for the last entry, which has no outcome yet */
    REPLAY_ASKS,  /* for something that is not on record */
    REPLAY_DONE,
    REPLAY_FAILED
};

struct replay_report {
    int64_t entries;  /* on record in the segment */
    int64_t replayed; /* as far as the script agreed */
    enum replay_end end;
    char last[200]; /* what it then asks for, or why it failed; "" */
};

/* `with` NULL: the text and modules that are pinned to the run. An error says where the script
 * first differs from the record, or how it failed; then *report tells how far it came. */
int replay_dry(struct logbook *logbook, const struct script_ops *scripts, int64_t run,
               const struct replay_text *with, struct replay_report *report, struct error *error);

/* One entry with another outcome. */
struct replay_change {
    int64_t n;
    const char *outcome; /* JSON */
    /* What the script puts on record otherwise than it did: a `record` of the same name, a `note`.
     * `before`: the arguments on record. A nonzero return ends the replay with *error. */
    int (*restated)(void *owner, const struct journal_entry *before,
                    const struct script_request *now, struct error *error);
    void *owner;
};

/* The same of any segment of the run (record: the run's), with what is pinned; `change` may be
 * NULL. Any other difference than those that `restated` is told of is an error. */
int replay_changed(struct logbook *logbook, const struct script_ops *scripts,
                   const struct run_record *record, int segment, const struct replay_change *change,
                   struct replay_report *report, struct error *error);

#endif
