/* Runs, the scripts pinned to them, and their journals. */
#ifndef PERDURE_LOGBOOK_RUNS_H
#define PERDURE_LOGBOOK_RUNS_H

#include "base/text.h"
#include "logbook/logbook.h"

/* --- scripts: texts by their hash; a text is kept once -------------------------------------- */

int logbook_add_script(struct logbook *logbook, const char *name, const char *text, size_t length,
                       char hash[SHA256_HEX], struct error *error);
/* *text is owned by the caller. */
int logbook_script(struct logbook *logbook, const char *hash, char **text, size_t *length,
                   struct error *error);

/* --- runs ----------------------------------------------------------------------------------- */

/* queued -> running <-> paused, running -> done | failed | stopped | attention (needs a person:
 * a journal that no longer matches). attention -> running by an explicit act. */
#define RUN_STATES(X)                                                                              \
    X(RUN_QUEUED, "queued")                                                                        \
    X(RUN_RUNNING, "running")                                                                      \
    X(RUN_PAUSED, "paused")                                                                        \
    X(RUN_ATTENTION, "attention")                                                                  \
    X(RUN_DONE, "done")                                                                            \
    X(RUN_FAILED, "failed")                                                                        \
    X(RUN_STOPPED, "stopped")

enum run_state {
#define X(name, text) name,
    RUN_STATES(X)
#undef X
};
const char *run_state_name(enum run_state state);
bool run_state_is_over(enum run_state state); /* done, failed or stopped: it never changes again */

struct run_record {
    int64_t id;
    int64_t parent;     /* the study's run that started it; 0 */
    int parent_segment; /* by this entry of its journal */
    int64_t parent_n;
    char kind[16];         /* "protocol", "study" */
    char script_name[128]; /* the file's name, for people */
    char script_hash[SHA256_HEX];
    char *params; /* JSON object of the values set, owned by the record */
    int64_t cell; /* 0 for a study */
    char cell_label[64];
    char channel[32]; /* asked for, or given; "" while none */
    uint64_t seed;
    enum run_state state;
    int segment;         /* journal segment now written; 0 at first */
    char *segment_state; /* JSON state that the segment began with, or NULL; owned */
    utc_us segment_at;   /* when the segment began: the run's start for segment 0; 0 while not */
    utc_us queued_at, started_at, ended_at; /* 0 while not */
    utc_us due_at;                          /* not to begin before; 0: at once */
    /* The same as a wall clock shows it (see civil_format), and the zone of that clock. Adding a
     * run writes the form down; a zone of "" is then the logbook's. */
    char due_civil[40], due_zone[ZONE_NAME];
    char *why; /* why it failed, stopped or needs attention, or NULL; owned */
    char engine_version[32], lua_version[32];
};

/* Fills record->id. Refuses a cell that another open run has. */
int logbook_add_run(struct logbook *logbook, struct run_record *record, struct error *error);
int logbook_run(struct logbook *logbook, int64_t id, struct run_record *out, struct error *error);
void run_record_free(struct run_record *record);

/* Ids of runs that are not over, in order of queueing; *ids is owned by the caller. */
int logbook_open_runs(struct logbook *logbook, int64_t **ids, int *count, struct error *error);

/* `why` may be NULL. Sets started_at or ended_at by the state. */
int logbook_set_run_state(struct logbook *logbook, int64_t id, enum run_state state, utc_us at,
                          const char *why, struct error *error);
int logbook_set_run_channel(struct logbook *logbook, int64_t id, const char *channel,
                            struct error *error);
/* Queued again, and without a channel: what it was given cannot do what it asks for. `anew`:
 * nothing of it is in the journal, and its start is still to come. */
int logbook_requeue_run(struct logbook *logbook, int64_t id, bool anew, struct error *error);
/* The civil time on record is another instant by now: the rules of its zone were changed. */
int logbook_set_run_due(struct logbook *logbook, int64_t id, utc_us due_at, struct error *error);
/* A fresh journal segment that begins with plain-data state. */
int logbook_set_run_segment(struct logbook *logbook, int64_t id, int segment, const char *state,
                            utc_us at, struct error *error);
/* Moves a run to another text of its script (an explicit act, on record as an event). */
int logbook_set_run_script(struct logbook *logbook, int64_t id, const char *hash,
                           struct error *error);

/* A module that the run's script required, pinned by hash; one of this name is replaced. */
int logbook_add_run_module(struct logbook *logbook, int64_t run, const char *name, const char *hash,
                           struct error *error);
/* Pins to run `to` what is pinned to run `from`. */
int logbook_copy_modules(struct logbook *logbook, int64_t from, int64_t to, struct error *error);
/* Hash of a pinned module; ERROR_FAILED when this run has none of that name. */
int logbook_run_module(struct logbook *logbook, int64_t run, const char *name,
                       char hash[SHA256_HEX], struct error *error);

/* The run that took the file of this SHA-256 in for this cell; 0 for none. */
int logbook_find_import(struct logbook *logbook, int64_t cell, const char *sha256, int64_t *run,
                        struct error *error);

/* --- the journal: every primitive of a script, numbered ------------------------------------- */

struct journal_entry {
    int64_t n;        /* from 1 within the segment; 0 and below: the engine's own, see below */
    const char *name; /* "charge", "record" */
    const char *args; /* canonical JSON */
    utc_us intent_at;
    const char *outcome; /* JSON; NULL while not done */
    utc_us outcome_at;
};

int logbook_journal_intent(struct logbook *logbook, int64_t run, int segment,
                           const struct journal_entry *entry, struct error *error);
int logbook_journal_outcome(struct logbook *logbook, int64_t run, int segment, int64_t n,
                            const char *outcome, utc_us at, struct error *error);

/* What the engine itself had to ask of a person (to put a cell in, to look at it) stands in the
 * journal too, under numbers that no script can come to: 0, -1, -2 ... A replay passes over them.
 * One at most is open in a run. *n is 0 or less; 1 for "none is open". */
int logbook_journal_own(struct logbook *logbook, int64_t run, int segment,
                        const struct journal_entry *entry, int64_t *n, struct error *error);
int logbook_journal_own_open(struct logbook *logbook, int64_t run, int segment, int64_t *n,
                             struct error *error);

/* The channel that the run's cell is known to be in: that of the cell's latest run, if nothing else
 * has been put there since and no study has put the cell elsewhere. "" when it is not known. */
int logbook_where_is_cell(struct logbook *logbook, int64_t run, char channel[32],
                          struct error *error);
/* Whether the study that started the run says that its cells are put in ahead. */
int logbook_cell_is_placed(struct logbook *logbook, int64_t run, bool *placed, struct error *error);

/* Calls back each of the script's entries in order of n; strings live during the call. A nonzero
 * return stops. */
typedef int journal_visit(void *context, const struct journal_entry *entry);
int logbook_journal_read(struct logbook *logbook, int64_t run, int segment, journal_visit *visit,
                         void *context, struct error *error);

#endif
