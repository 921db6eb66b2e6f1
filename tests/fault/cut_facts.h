/* Facts: what the engine wrote and saw committed, told to another process at once, so that it can
 * be held against what a file says after the writer is gone.
 *
 * The writer's side stands between the engine and the logbook (the linker's --wrap): what is handed
 * to the logbook is kept aside, and goes out only after logbook_commit has said that it is done. A
 * fact is a place (which row) and a hash of what belongs there. */
#ifndef PERDURE_TESTS_FAULT_CUT_FACTS_H
#define PERDURE_TESTS_FAULT_CUT_FACTS_H

#include <stddef.h>
#include <stdint.h>

enum fact_kind {
    FACT_SAMPLE,     /* step, k */
    FACT_INTENT,     /* run, segment, n */
    FACT_OUTCOME,    /* run, segment, n */
    FACT_RESULT,     /* run, segment, n */
    FACT_STEP,       /* step */
    FACT_CHECKPOINT, /* step, as of; a later one may have taken its place */
    FACT_END,        /* step */
    FACT_GAP,        /* step, from */
    FACT_EVENT,      /* at, run */
    FACT_OVER,       /* run: done, failed or stopped */
    FACT_SEGMENT,    /* run, segment: a later one may have taken its place */
    FACT_COMMIT      /* all before this one are acknowledged */
};

struct fact {
    int64_t kind;
    int64_t a, b, c;
    uint64_t hash;
};

struct facts {
    struct fact *fact;
    size_t count, room;
};

/* Writer: from now on, acknowledged facts go to this pipe. */
void facts_tell(int fd);

/* Reader: adds what was acknowledged until the pipe's other end is closed; what came after the last
 * commit is left out. Returns how many commits there were. */
long facts_hear(struct facts *facts, int fd);

/* How many of them the file does not hold; `first` says which, "" when all are there. Opens the
 * file to read. -1: it cannot be read. */
long facts_missing(const struct facts *facts, const char *logbook, char *first, size_t size);

/* Steps that were open in `found` and whose gap since is not on record in `finished`; -1: one of
 * the files cannot be read. */
long facts_open_steps_without_gap(const char *found, const char *finished);

void facts_free(struct facts *facts);

#endif
