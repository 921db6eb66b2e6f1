/* Charts of one row a model: name at the left, marks on a common axis, numbers at the right.
 * Inside report. */
#ifndef PERDURE_REPORT_ROWS_H
#define PERDURE_REPORT_ROWS_H

#include "report/axis.h"
#include "report/frame.h"
#include "report/mark.h"

/* Texts are owned. */
struct row {
    size_t number;    /* data-series */
    bool others;      /* in the background */
    struct text rank; /* before the name; may be empty */
    struct text name;
    struct text value; /* at the right */
};

struct rows {
    struct row *all; /* in the order in which they stand; freed by rows_free */
    size_t count;    /* all */
    size_t shown;    /* those that have room */
    double step;
    double rank_room, name_room, value_room;
    struct box plot;
};

/* What stands in the legend above the rows. */
struct legend_entry {
    struct mark mark;
    bool bar; /* an upright line in place of the mark */
    const char *text;
};

/* Plans the frame too: rows have their usual height where it grows, else what fits is shown. The
 * plot's left and right are known once the texts are. */
void rows_plan(struct rows *rows, struct frame *frame, const struct chart_head *head,
               const char *aid);
/* Baseline of marks in the i-th row. */
double rows_y(const struct rows *rows, size_t i);
/* Axis, legend, names and numbers. */
void rows_add(struct rows *rows, struct frame *frame, const struct axis *x,
              const struct legend_entry *legend, size_t legend_count);
void rows_free(struct rows *rows);

#endif
