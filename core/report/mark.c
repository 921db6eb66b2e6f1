/* Draws marks; pushes labels apart. */
#include "report/mark.h"

#include <math.h>
#include <stdlib.h>

struct point point_at(const struct scale *x, const struct scale *y, double x_value, double y_value)
{
    if (!drawable(x_value) || !drawable(y_value))
        return (struct point){NAN, NAN};
    return (struct point){scale_at(x, x_value), scale_at(y, y_value)};
}

bool point_is_drawn(const struct point *point)
{
    return isfinite(point->x) && isfinite(point->y);
}

static void add_point(struct text *out, char command, const struct point *point)
{
    text_add_bytes(out, &command, 1);
    svg_number(out, point->x);
    text_add(out, " ");
    svg_number(out, point->y);
}

void mark_line(struct text *out, const struct point *points, size_t count,
               const struct svg_stroke *stroke)
{
    struct text path = TEXT_EMPTY;
    bool drawing = false;
    for (size_t i = 0; i < count; i++) {
        if (!point_is_drawn(&points[i])) {
            drawing = false;
            continue;
        }
        add_point(&path, drawing ? 'L' : 'M', &points[i]);
        bool alone = !drawing && (i + 1 == count || !point_is_drawn(&points[i + 1]));
        if (alone) /* a line of no length shows as its round cap */
            text_add(&path, "h0");
        drawing = true;
    }
    if (path.length != 0) {
        /* round caps would close the gaps of a dash */
        text_addf(out, "<path fill=\"none\" stroke-linejoin=\"round\" stroke-linecap=\"%s\"",
                  stroke->dash != NULL ? "butt" : "round");
        svg_stroke(out, stroke);
        text_addf(out, " d=\"%s\"/>\n", path.bytes);
    }
    text_free(&path);
}

void mark_band(struct text *out, const struct point *upper, const struct point *lower, size_t count,
               const char *colour, double opacity)
{
    struct text path = TEXT_EMPTY;
    for (size_t from = 0, to; from < count; from = to + 1) {
        for (to = from; to < count && point_is_drawn(&upper[to]) && point_is_drawn(&lower[to]);)
            to++;
        if (to - from < 2)
            continue;
        for (size_t i = from; i < to; i++)
            add_point(&path, i == from ? 'M' : 'L', &upper[i]);
        for (size_t i = to; i-- > from;)
            add_point(&path, 'L', &lower[i]);
        text_add(&path, "z");
    }
    if (path.length != 0) {
        text_add(out, "<path class=\"band\"");
        svg_attribute_text(out, "fill", colour);
        svg_attribute(out, "fill-opacity", opacity);
        text_addf(out, " d=\"%s\"/>\n", path.bytes);
    }
    text_free(&path);
}

/* Outlines on a square from -1 to 1, made about equal in area. */
static const char *const outlines[MARK_SHAPES] = {
    [MARK_DISC] = "M-1 0a1 1 0 1 0 2 0a1 1 0 1 0 -2 0z",
    [MARK_SQUARE] = "M-.9 -.9h1.8v1.8h-1.8z",
    [MARK_TRIANGLE] = "M0 -1.25L1.15 .8h-2.3z",
    [MARK_DIAMOND] = "M0 -1.3L1.3 0L0 1.3L-1.3 0z",
    [MARK_PLUS] = "M-.45 -1.2h.9v.75h.75v.9h-.75v.75h-.9v-.75h-.75v-.9h.75z",
    [MARK_TRIANGLE_DOWN] = "M0 1.25L1.15 -.8h-2.3z",
};

void mark_point(struct text *out, double x, double y, const struct mark *mark)
{
    if (!isfinite(x) || !isfinite(y))
        return;
    text_add(out, "<path");
    if (mark->class != NULL)
        svg_attribute_text(out, "class", mark->class);
    text_add(out, " transform=\"translate(");
    svg_number(out, x);
    text_add(out, " ");
    svg_number(out, y);
    text_add(out, ") scale(");
    /* outlines lie half outside: a hollow mark is to look as large as a filled one */
    svg_number(out, mark->hollow ? 0.8 * mark->radius
                    : mark->bare ? 0.9 * mark->radius
                                 : mark->radius);
    text_add(out, ")\"");
    svg_attribute_text(out, "fill", mark->hollow ? GROUND : mark->colour);
    if (mark->hollow || !mark->bare) {
        svg_attribute_text(out, "stroke", mark->hollow ? mark->colour : GROUND);
        svg_attribute(out, "stroke-width", mark->hollow ? 0.45 : 0.3);
    }
    if (mark->opacity > 0 && mark->opacity < 1)
        svg_attribute(out, "opacity", mark->opacity);
    text_addf(out, " d=\"%s\"", outlines[mark->shape]);
    if (mark->tip == NULL) {
        text_add(out, "/>\n");
        return;
    }
    text_add(out, ">");
    svg_title(out, mark->tip);
    text_add(out, "</path>\n");
}

void mark_cross(struct text *out, double x, double y, double radius, const char *colour,
                const char *tip)
{
    if (!isfinite(x) || !isfinite(y))
        return;
    text_add(out, "<path class=\"cross\" fill=\"none\" stroke-linecap=\"round\"");
    svg_attribute_text(out, "stroke", colour);
    svg_attribute(out, "stroke-width", radius * 0.5);
    struct point at = {x - radius, y - radius};
    text_add(out, " d=\"");
    add_point(out, 'M', &at);
    add_point(out, 'L', &(struct point){x + radius, y + radius});
    add_point(out, 'M', &(struct point){x - radius, y + radius});
    add_point(out, 'L', &(struct point){x + radius, y - radius});
    text_add(out, "\">");
    svg_title(out, tip != NULL ? tip : "stopped early");
    text_add(out, "</path>\n");
}

double line_y_at(const struct point *points, size_t count, double x)
{
    for (size_t i = 1; i < count; i++) {
        const struct point *a = &points[i - 1], *b = &points[i];
        if (!point_is_drawn(a) || !point_is_drawn(b) || x < a->x || x > b->x)
            continue;
        return b->x > a->x ? a->y + (b->y - a->y) * (x - a->x) / (b->x - a->x) : a->y;
    }
    return NAN;
}

/* A run of labels that touch: the mean of where they want to begin, and how many. */
struct run {
    double start;
    size_t count;
};

void push_apart(double *places, size_t count, double gap, double low, double high)
{
    if (count == 0)
        return;
    if (count > 1 && gap * (double)(count - 1) > high - low)
        gap = fmax(0, high - low) / (double)(count - 1);
    struct run *runs = xcalloc(count, sizeof *runs);
    size_t top = 0;
    for (size_t i = 0; i < count; i++) {
        runs[top++] = (struct run){places[i], 1};
        /* joins runs that overlap: together they lie where each would move least */
        for (;;) {
            struct run *run = &runs[top - 1];
            run->start = fmax(low, fmin(run->start, high - gap * (double)(run->count - 1)));
            if (top < 2 || runs[top - 2].start + gap * (double)runs[top - 2].count <= run->start)
                break;
            struct run *before = run - 1;
            double all = (double)(before->count + run->count);
            double shift = gap * (double)before->count;
            before->start = (before->start * (double)before->count +
                             (run->start - shift) * (double)run->count) /
                            all;
            before->count += run->count;
            top--;
        }
    }
    for (size_t i = 0, at = 0; i < top; i++)
        for (size_t j = 0; j < runs[i].count; j++)
            places[at++] = runs[i].start + gap * (double)j;
    free(runs);
}
