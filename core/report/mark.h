/* Marks of data: lines, bands, shapes; and labels pushed apart. Inside report. Points that cannot
 * be drawn break a line and are left out elsewhere. */
#ifndef PERDURE_REPORT_MARK_H
#define PERDURE_REPORT_MARK_H

#include <stdbool.h>
#include <stddef.h>

#include "report/palette.h"
#include "report/scale.h"
#include "report/svg.h"

struct point {
    double x, y;
};

/* Where a value pair lies; not-a-number when either cannot be drawn. */
struct point point_at(const struct scale *x, const struct scale *y, double x_value, double y_value);
bool point_is_drawn(const struct point *point);

/* A lone point between two breaks is drawn as a dot of the line's width. */
void mark_line(struct text *out, const struct point *points, size_t count,
               const struct svg_stroke *stroke);
/* The area between two lines of `count` points each. */
void mark_band(struct text *out, const struct point *upper, const struct point *lower, size_t count,
               const char *colour, double opacity);

/* `radius` is half the size; `tip` is its tooltip, or NULL. Hollow ones are filled with the
 * ground. */
struct mark {
    enum mark_shape shape;
    const char *class;
    const char *colour;
    double radius;
    bool hollow;
    bool bare;      /* without the outline that sets it off from marks beneath */
    double opacity; /* 0 counts as 1 */
    const char *tip;
};
void mark_point(struct text *out, double x, double y, const struct mark *mark);
/* A slanting cross: where something ended before its time. */
void mark_cross(struct text *out, double x, double y, double radius, const char *colour,
                const char *tip);

/* y of a line whose points ascend in x; not-a-number outside it and in a gap. */
double line_y_at(const struct point *points, size_t count, double x);

/* Moves ascending places apart to at least `gap`, as little as can be, within low and high; with
 * too many for the room they are spread evenly over it. */
void push_apart(double *places, size_t count, double gap, double low, double high);

#endif
