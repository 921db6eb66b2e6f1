/* Axes: ticks, grid, labels, and a title that names the unit. Inside report. */
#ifndef PERDURE_REPORT_AXIS_H
#define PERDURE_REPORT_AXIS_H

#include "report/frame.h"
#include "report/scale.h"

struct axis {
    struct scale scale;
    struct ticks ticks;
    const double *own; /* ticks at these values, ascending, in place of round ones; NULL: none */
    size_t own_count;
    const char *title; /* "Voltage (V)"; NULL: none */
    bool unlabelled;   /* grid and ticks alone: another plot beside it has the labels */
};

/* Room that the labels of a left axis take, the gap to the plot included; that of a bottom axis
 * with its title; that of a left axis' title, which lies above it. */
double axis_left_room(const struct frame *frame, const struct axis *axis);
double axis_bottom_room(const struct frame *frame, const struct axis *axis);
double axis_top_room(const struct frame *frame, const struct axis *axis);

/* Grid and labels. Of a bottom axis' labels as many are left out as would run into each other:
 * round ones evenly, own ones here and there, but never the last of those. */
void axis_left(struct frame *frame, const struct axis *axis, const struct box *box);
void axis_bottom(struct frame *frame, const struct axis *axis, const struct box *box, bool grid);

#endif
