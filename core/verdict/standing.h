/* The ranking as worked out: who finishes where over the criteria, how sure that is, who can be
 * told apart. Shared by rank, plot and report. */
#ifndef PERDURE_VERDICT_STANDING_H
#define PERDURE_VERDICT_STANDING_H

#include <stdint.h>

#include "analysis/summary.h"
#include "verdict/comparison.h"

#define STANDING_CONFIDENCE 0.95
#define STANDING_DRAWS      4000

struct standing {
    struct comparison comparison;
    struct summary summary[MODELS_MOST * CRITERIA_MOST]; /* [model * criteria + criterion] */
    group_letters letters[CRITERIA_MOST][MODELS_MOST];
    struct finish finish[MODELS_MOST];
    struct place_range range[MODELS_MOST];
    double probability[MODELS_MOST * MODELS_MOST];
    struct agreement agreement;
    enum analysis_status sure; /* whether the bootstrap could be had */
    enum analysis_status agree;
    size_t order[MODELS_MOST]; /* best first */
};

/* Allocated: it is large. `wanted` and `by` as for comparison_of; the same seed gives the
 * same draws. */
int standing_of(const struct history *history, const bool *wanted, const char *by, uint64_t seed,
                struct standing **out, struct error *error);
void standing_free(struct standing *standing);

/* The unit a criterion is shown in ("mohm" where the values are in ohm). */
const char *standing_unit(const struct standing *standing, size_t criterion);
/* "96.5 ± 1.2 a (4)", in that unit: mean, half of its interval, the letters of those it cannot be
 * told from, cells. Returns buffer. */
char *standing_mean(const struct standing *standing, size_t model, size_t criterion, char *buffer,
                    size_t size);

/* True when the best place is one model's alone, as far as these cells can say. */
bool standing_settled(const struct standing *standing);

#endif
