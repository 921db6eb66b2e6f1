/* Labels at the right of a plot, each beside the end of its line, pushed apart where they would
 * overlap and then tied to it. Inside report. */
#ifndef PERDURE_REPORT_END_LABEL_H
#define PERDURE_REPORT_END_LABEL_H

#include "report/frame.h"
#include "report/palette.h"

/* Texts are owned. */
struct end_label {
    size_t number; /* data-series */
    struct series_style style;
    struct text value, name;
    double x, y; /* the end of the line */
};

/* Width that they take at the right of the plot, at most the frame's `side`. */
double end_label_room(const struct frame *frame, const struct end_label *labels, size_t count);
/* Sorts the labels by height. */
void end_label_add(struct frame *frame, const struct box *plot, struct end_label *labels,
                   size_t count);
/* Frees the texts and the array. */
void end_label_free(struct end_label *labels, size_t count);

#endif
