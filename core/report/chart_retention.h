/* Retention: what is left of each model's charge over true-scale days on the shelf; checks of cells
 * as points, the fit as a line that becomes dashed after the last check, its band, names at the
 * ends. */
#ifndef PERDURE_REPORT_CHART_RETENTION_H
#define PERDURE_REPORT_CHART_RETENTION_H

#include "base/text.h"
#include "report/chart.h"

struct retention_mark {
    double time;      /* s since the cell was filled */
    double ratio;     /* of its charge when fresh: 0.85 for 85 % */
    const char *cell; /* its label */
};

struct retention_fit {
    double time;      /* s, ascending */
    double ratio;     /* the fit */
    double low, high; /* its band; not-a-number: none */
};

/* Arrays are not owned. */
struct retention_model {
    const char *name;
    int style;
    const struct retention_mark *checks;
    size_t check_count;
    const struct retention_fit *fit;
    size_t fit_count;
};

struct retention_chart {
    struct chart_head head;
    const struct retention_model *models;
    size_t count;
    const char *band; /* says which band it is: "95 % of the mean, resampled by cell"; NULL: none */
};

/* With more models than may stand out, those with the least left go into the background. */
void chart_retention(struct text *out, const struct retention_chart *chart);

#endif
