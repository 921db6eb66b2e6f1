/* Draws axes. */
#include "report/axis.h"

#include <math.h>

#include "report/lettering.h"
#include "report/palette.h"

static size_t tick_count(const struct axis *axis)
{
    return axis->own != NULL ? axis->own_count : axis->ticks.count;
}

static double tick_at(const struct axis *axis, size_t i)
{
    return axis->own != NULL ? axis->own[i] : tick_value(&axis->ticks, i);
}

/* Own ticks show what they are to a tenth. */
static char *tick_label(const struct axis *axis, size_t i, char *buffer, size_t size)
{
    double value = tick_at(axis, i);
    int decimals = axis->own == NULL ? axis->ticks.decimals : fabs(value - round(value)) > 0.049;
    return tick_format(value, decimals, buffer, size);
}

double axis_left_room(const struct frame *frame, const struct axis *axis)
{
    double widest = 0;
    char label[40];
    for (size_t i = 0; i < tick_count(axis); i++)
        widest = fmax(
            widest, lettering_width(tick_label(axis, i, label, sizeof label), frame->small, false));
    return widest + 0.6 * frame->small;
}

double axis_bottom_room(const struct frame *frame, const struct axis *axis)
{
    return frame->small * (axis->title != NULL ? 3.0 : 1.6);
}

double axis_top_room(const struct frame *frame, const struct axis *axis)
{
    return frame->small * (axis->title != NULL ? 1.9 : 0.5);
}

static struct svg_stroke grid_stroke(const struct frame *frame)
{
    return (struct svg_stroke){.class = "grid", .colour = GRID, .width = 0.3 * frame->line};
}

void axis_left(struct frame *frame, const struct axis *axis, const struct box *box)
{
    struct svg_type type = frame_quiet(frame);
    struct svg_stroke stroke = grid_stroke(frame);
    if (axis->title != NULL)
        svg_text(frame->out, box->left - axis_left_room(frame, axis), box->top - 0.9 * frame->small,
                 axis->title, &type);
    type.anchor = SVG_END;
    char label[40];
    for (size_t i = 0; i < tick_count(axis); i++) {
        double y = scale_at(&axis->scale, tick_at(axis, i));
        svg_line(frame->out, box->left, y, box->right, y, &stroke);
        if (!axis->unlabelled)
            svg_text(frame->out, box->left - 0.5 * frame->small, y + 0.35 * frame->small,
                     tick_label(axis, i, label, sizeof label), &type);
    }
}

/* Half the width of the i-th label. */
static double half_width(const struct frame *frame, const struct axis *axis, size_t i)
{
    char label[40];
    return lettering_width(tick_label(axis, i, label, sizeof label), frame->small, false) / 2;
}

static bool collide(const struct frame *frame, const struct axis *axis, size_t a, size_t b)
{
    double apart =
        fabs(scale_at(&axis->scale, tick_at(axis, b)) - scale_at(&axis->scale, tick_at(axis, a)));
    return apart < half_width(frame, axis, a) + half_width(frame, axis, b) + 0.6 * frame->small;
}

/* Every how many-th round tick has a label. */
static size_t stride_of(const struct frame *frame, const struct axis *axis)
{
    size_t count = tick_count(axis), stride = 1;
    for (size_t i = 0; axis->own == NULL && i + stride < count;) {
        if (collide(frame, axis, i, i + stride)) {
            stride++;
            i = 0;
        } else {
            i += stride;
        }
    }
    return stride;
}

static bool is_labelled(const struct frame *frame, const struct axis *axis, size_t i, size_t last,
                        size_t stride)
{
    size_t count = tick_count(axis);
    if (axis->unlabelled)
        return false;
    if (axis->own == NULL)
        return i % stride == 0;
    if (i + 1 < count && collide(frame, axis, i, count - 1))
        return false;
    return last == count || !collide(frame, axis, last, i);
}

void axis_bottom(struct frame *frame, const struct axis *axis, const struct box *box, bool grid)
{
    struct svg_type type = frame_quiet(frame);
    type.anchor = SVG_MIDDLE;
    struct svg_stroke stroke = grid_stroke(frame);
    struct svg_stroke tick = {.class = "quiet", .colour = QUIET, .width = 0.4 * frame->line};
    size_t count = tick_count(axis), last = count, stride = stride_of(frame, axis);
    char label[40];
    for (size_t i = 0; i < count; i++) {
        double x = scale_at(&axis->scale, tick_at(axis, i));
        if (grid)
            svg_line(frame->out, x, box->top, x, box->bottom, &stroke);
        svg_line(frame->out, x, box->bottom, x, box->bottom + 0.3 * frame->small, &tick);
        if (!is_labelled(frame, axis, i, last, stride))
            continue;
        last = i;
        svg_text(frame->out, x, box->bottom + 1.4 * frame->small,
                 tick_label(axis, i, label, sizeof label), &type);
    }
    svg_line(frame->out, box->left, box->bottom, box->right, box->bottom, &tick);
    if (axis->title != NULL)
        svg_text(frame->out, (box->left + box->right) / 2, box->bottom + 2.75 * frame->small,
                 axis->title, &type);
}
