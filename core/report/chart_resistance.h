/* Resistance before and after: one row a model, sorted by what it is after, a hollow mark and a
 * filled one joined, cells as small dots, from zero. */
#ifndef PERDURE_REPORT_CHART_RESISTANCE_H
#define PERDURE_REPORT_CHART_RESISTANCE_H

#include "base/text.h"
#include "report/chart.h"

/* Resistances in ohm; not-a-number where there is none. Arrays are not owned. */
struct resistance_model {
    const char *name;
    int style;            /* STYLE_OTHERS puts it into the background; else no matter */
    double before, after; /* of the model, as the analysis gives it */
    const double *cells_before, *cells_after;
    size_t before_count, after_count;
};

struct resistance_chart {
    struct chart_head head; /* conditions: method, charge level, temperature */
    const struct resistance_model *models;
    size_t count;
    const char *before_name, *after_name; /* "fresh", "after 300 cycles" */
};

void chart_resistance(struct text *out, const struct resistance_chart *chart);

#endif
