/* From results on record to groups of cells that can be compared: for each criterion and model, the
 * last value of each cell. Shared by `rank` and by `results --by-model`. */
#ifndef PERDURE_CLI_COMPARISON_H
#define PERDURE_CLI_COMPARISON_H

#include <jansson.h>

#include "analysis/ranking.h"

#define CRITERIA_MOST 16
#define MODELS_MOST   64

struct comparison {
    size_t criteria, models;
    struct criterion criterion[CRITERIA_MOST];
    char unit[CRITERIA_MOST][16];
    char name[CRITERIA_MOST][64];
    char model[MODELS_MOST][128];
    double price[MODELS_MOST]; /* of one cell; NAN when not known */
    /* [model * criteria + criterion]; values owned */
    struct group group[MODELS_MOST * CRITERIA_MOST];
};

/* `results` and `cells` as listed by the logbook. `by`: "capacity,resistance=2" names the criteria
 * and their weights; NULL takes every result that all models have and that is known to be better
 * high or low. Capacities are in percent of rating; what was left after storage is in percent of
 * the same cell's capacity before it. */
int comparison_of(const json_t *results, const json_t *cells, const char *by,
                  struct comparison *out, struct error *error);
void comparison_free(struct comparison *comparison);

const struct group *comparison_group(const struct comparison *comparison, size_t model,
                                     size_t criterion);

#endif
