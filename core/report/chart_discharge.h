/* Discharge curves: voltage over the charge delivered, one bold line a model (its median cell), its
 * other cells thin, a key at the right sorted by that cell's charge. */
#ifndef PERDURE_REPORT_CHART_DISCHARGE_H
#define PERDURE_REPORT_CHART_DISCHARGE_H

#include "base/text.h"
#include "report/chart.h"

/* Arrays are not owned. Points that are no numbers are gaps. */
struct discharge_curve {
    const char *label;     /* of the cell */
    const double *charge;  /* A.s, ascending from 0 */
    const double *voltage; /* V */
    size_t count;
};

struct discharge_model {
    const char *name;
    int style;
    const struct discharge_curve *cells;
    size_t count;
};

struct discharge_chart {
    struct chart_head head;
    const struct discharge_model *models;
    size_t count;
    double end_voltage; /* V; not-a-number: no line */
};

/* Of an even number of cells the lower of the middle two counts as the median. With more models
 * than may stand out, those with the least charge go into the background. */
void chart_discharge(struct text *out, const struct discharge_chart *chart);

#endif
