/* The frame round a chart: size and type of its preset, title, conditions, foot. Inside report.
 *
 * Planned first, so that a chart knows its room before it draws; then opened, drawn into,
 * closed. */
#ifndef PERDURE_REPORT_FRAME_H
#define PERDURE_REPORT_FRAME_H

#include "base/text.h"
#include "report/chart.h"
#include "report/svg.h"

struct box {
    double left, top, right, bottom;
};

struct frame {
    const struct chart_head *head;
    struct text *out;
    const char *aid; /* how to read the marks: stands at the foot, before the note */
    double width, height;
    double title, body, small; /* heights of type */
    double line;               /* width of a line that stands out */
    double mark;               /* half the size of a mark that stands out */
    size_t most;               /* models that may stand out */
    double side;               /* part of the width that names at the right may take */
    bool grows;                /* the height follows the content */
    struct box room;           /* for the chart itself */
};

/* `content` is the height that the chart wants for itself, 0 for the usual; where the preset's size
 * is fixed it gets what is left. */
void frame_plan(struct frame *frame, const struct chart_head *head, const char *aid,
                double content);
void frame_open(struct frame *frame, struct text *out, const char *description);
void frame_close(struct frame *frame);

/* Opens the group "plot" with the scales in its data, clipped to the box and `spill` pixels round
 * it. Marks go inside. `number` tells apart the plots of one chart. */
struct scale;
void frame_open_plot(struct frame *frame, const struct box *box, const struct scale *x,
                     const struct scale *y, double spill, size_t number);
void frame_close_plot(struct frame *frame);

/* What a chart without data says in its middle. */
void frame_say(struct frame *frame, const struct box *box, const char *message);

/* Types of the frame. */
struct svg_type frame_ink(const struct frame *frame);
struct svg_type frame_quiet(const struct frame *frame);

#endif
