/* Accounts: the sums of each step recomputed from its samples, and its gaps held against what
 * really interrupted it. */
#ifndef PERDURE_TESTS_FAULT_ACCOUNT_H
#define PERDURE_TESTS_FAULT_ACCOUNT_H

#include "base/calendar.h"
#include "query.h"

/* One interruption, on the logbook's own clock: it came at some moment from `from` to `to`. */
struct interruption {
    utc_us from, to;
    int64_t run; /* that it was meant for; 0 for the whole bench */
    bool sure;   /* it surely came: a kill, or a pause that was acknowledged */
};

struct interruptions {
    struct interruption *list;
    int count, room;
};

void interruption_add(struct interruptions *interruptions, const struct interruption *one);

struct account_report {
    int64_t steps, interrupted, samples, gaps;
    double gap_time;     /* s, all of them */
    double worst_charge; /* largest relative difference of a step's charge from its samples */
};

/* Charge of every step, over its samples and outside its gaps. */
void account_samples(sqlite3 *book, struct findings *findings, struct account_report *report);

/* Every interruption of a step is inside a gap of it, and every gap has its interruption. `slack`
 * is what two processes may differ by in reading this clock, us. */
void account_gaps(sqlite3 *book, const struct interruptions *interruptions, utc_us slack,
                  struct findings *findings);

#endif
