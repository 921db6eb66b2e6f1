/* Fade: charge left over cycles, one small panel a model, all on the same axes, best to worst, the
 * other models grey behind it. */
#ifndef PERDURE_REPORT_CHART_FADE_H
#define PERDURE_REPORT_CHART_FADE_H

#include <stdbool.h>

#include "base/text.h"
#include "report/chart.h"

/* Points that are no numbers are gaps. Arrays are not owned. */
struct fade_cell {
    const char *label;
    const double *cycles;
    const double *ratio; /* of the charge when fresh */
    size_t count;
    bool stopped_early; /* marked with a cross where its line ends */
};

struct fade_model {
    const char *name;
    const struct fade_cell *cells;
    size_t count;
    const double *cycles, *ratio; /* the model's own line, as the analysis gives it */
    size_t line_count;
    double cycles_to_threshold; /* not-a-number: not reached */
};

struct fade_chart {
    struct chart_head head;
    const struct fade_model *models; /* in any order */
    size_t count;
    double threshold; /* 0.8 for 80 %; not-a-number: no line */
};

/* Panels that the preset has no room for are left out, the worst first, and the chart says so. */
void chart_fade(struct text *out, const struct fade_chart *chart);

#endif
