/* From the cells' histories to groups that can be compared: for each criterion and model, one value
 * a cell. */
#ifndef PERDURE_VERDICT_COMPARISON_H
#define PERDURE_VERDICT_COMPARISON_H

#include "analysis/ranking.h"
#include "base/text.h"
#include "verdict/criteria.h"

#define CRITERIA_MOST 16
#define MODELS_MOST   64

struct comparison {
    size_t criteria, models;
    struct criterion criterion[CRITERIA_MOST];
    const struct criterion_kind *kind[CRITERIA_MOST];
    double age[CRITERIA_MOST]; /* days, of a criterion of one age; else NAN */
    char unit[CRITERIA_MOST][16];
    char name[CRITERIA_MOST][64];   /* "remaining@42d" */
    const char *model[MODELS_MOST]; /* the history's */
    double price[MODELS_MOST];      /* of one cell; NAN when not known */
    /* [model * criteria + criterion]; values owned */
    struct group group[MODELS_MOST * CRITERIA_MOST];
    struct text takes[CRITERIA_MOST]; /* what it took: results, cells, cycles, ages */
    struct text left_out;             /* of the usual criteria and of the models, and why; "" */
};

/* Models without a result are left out. `by`: "capacity,resistance=2,remaining@42d" names the
 * criteria and their weights; NULL takes the usual ones that all models have. `wanted`: by the
 * history's model; NULL for all. Reference cells compete with none. */
int comparison_of(const struct history *history, const bool *wanted, const char *by,
                  struct comparison *out, struct error *error);
void comparison_free(struct comparison *comparison);

const struct group *comparison_group(const struct comparison *comparison, size_t model,
                                     size_t criterion);

#endif
