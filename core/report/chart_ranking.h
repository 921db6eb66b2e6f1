/* A ranking within one size class: each model's value as a dot with a thick interval, its cells
 * beneath, a mark for what was promised, and the ranks that it may hold. */
#ifndef PERDURE_REPORT_CHART_RANKING_H
#define PERDURE_REPORT_CHART_RANKING_H

#include <stdbool.h>

#include "base/text.h"
#include "report/chart.h"

/* Values in SI; not-a-number where there is none. Arrays are not owned. */
struct ranking_model {
    const char *name;
    int style; /* STYLE_OTHERS puts it into the background; else no matter */
    double value;
    double low, high; /* its interval */
    double rated;     /* what was promised */
    const double *cells;
    size_t cell_count;
    int rank_low, rank_high; /* 2 and 5 for "2 to 5"; 0: not ranked */
};

struct ranking_chart {
    struct chart_head head;
    const struct ranking_model *models; /* in any order */
    size_t count;
    const char *quantity; /* "Charge at 0.2 It" */
    const char *unit;     /* "mAh" */
    double unit_si;       /* its size in SI: 3.6 */
    bool least_is_best;   /* as for resistance */
    const char *interval; /* says which: "95 % interval of the mean" */
};

void chart_ranking(struct text *out, const struct ranking_chart *chart);

#endif
