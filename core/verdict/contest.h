/* Who competes with whom in a ranking: models of one size class with something on record. */
#ifndef PERDURE_VERDICT_CONTEST_H
#define PERDURE_VERDICT_CONTEST_H

#include "verdict/history.h"
#include "verdict/standing.h"

struct contest {
    char size[32];
    struct standing *standing; /* owned */
    size_t left_out;           /* models: of another size, or without a result */
};

/* Of the size that most cells with results are of. `by` as for comparison_of. */
int contest_of(struct contest *out, const struct history *history, uint64_t seed, const char *by,
               struct error *error);
void contest_free(struct contest *contest);

#endif
