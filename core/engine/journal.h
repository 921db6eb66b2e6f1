/* The journal of one run's segment: what the script asked for, by number, and what came of it.
 * While entries are left from earlier, the run replays; then it is live.
 *
 * 1. Every primitive takes the next number.
 * 2. Name and canonical arguments must equal what is on record; else the journal has diverged, for
 *    good, and the script is not resumed. */
#ifndef PERDURE_ENGINE_JOURNAL_H
#define PERDURE_ENGINE_JOURNAL_H

#include "engine/script.h"
#include "logbook/runs.h"

struct journal {
    int64_t n;     /* of the entry last asked for */
    utc_us cursor; /* time of the last outcome: what now() says */
    /* Entries on record, while any are left to replay. */
    struct journal_page *page;
};

enum journal_step {
    JOURNAL_REPLAYED, /* has an outcome */
    JOURNAL_OPEN,     /* was begun earlier and has no outcome: take it up again */
    JOURNAL_NEW,      /* nothing on record */
    JOURNAL_DIVERGED
};

/* Reads what is on record. `began` is the run's start: the cursor before the first outcome. */
int journal_load(struct journal *journal, struct logbook *logbook, int64_t run, int segment,
                 utc_us began, struct error *error);
void journal_free(struct journal *journal);

/* Entries on record that the script has not come to. */
int64_t journal_left(const struct journal *journal);

/* Takes the next number for `request`. REPLAYED: *outcome (alive until journal_free) and the cursor
 * moved. DIVERGED: *error says what was expected and what came, and where the script stood. */
enum journal_step journal_next(struct journal *journal, const struct script_request *request,
                               const char **outcome, struct error *error);

/* For a correction: what comes next on record, strings alive until the next journal_put; false when
 * nothing is left. Another outcome in place of the one that was read, of an entry still to come.
 * Takes the next number whatever was asked for, as journal_next would if it were the same. */
bool journal_peek(const struct journal *journal, struct journal_entry *out);
void journal_put(struct journal *journal, int64_t n, const char *outcome);
enum journal_step journal_pass(struct journal *journal, const char **outcome);

#endif
