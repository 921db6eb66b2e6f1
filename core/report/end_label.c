/* Draws labels at line ends. */
#include "report/end_label.h"

#include <math.h>
#include <stdlib.h>

#include "report/lettering.h"
#include "report/mark.h"

#define LINE 1.25 /* from label to label, in heights of type */

static double tie(const struct frame *frame)
{
    return 1.5 * frame->body;
}

/* Values stand in a column of their own: shape, value, name. */
static double value_room(const struct frame *frame, const struct end_label *labels, size_t count)
{
    double widest = 0;
    for (size_t i = 0; i < count; i++)
        widest = fmax(widest, lettering_width(labels[i].value.bytes, frame->body, true));
    return 1.1 * frame->body + widest + 0.5 * frame->body;
}

double end_label_room(const struct frame *frame, const struct end_label *labels, size_t count)
{
    if (count == 0)
        return 0;
    double widest = 0;
    for (size_t i = 0; i < count; i++)
        widest = fmax(widest, lettering_width(labels[i].name.bytes, frame->body, false));
    return fmin(tie(frame) + value_room(frame, labels, count) + widest + 2,
                frame->side * frame->width);
}

static int by_height(const void *a, const void *b)
{
    const struct end_label *first = a, *second = b;
    if (first->y != second->y)
        return first->y < second->y ? -1 : 1;
    return (first->number > second->number) - (first->number < second->number);
}

static void add_label(struct frame *frame, const struct box *plot, const struct end_label *label,
                      const char *name, double y, double value_width)
{
    struct text *out = frame->out;
    text_addf(out, "<g class=\"key\" data-series=\"%zu\">\n", label->number);
    struct svg_stroke stroke = {
        .class = "tie", .colour = label->style.colour, .width = 0.4 * frame->line};
    double left = plot->right + tie(frame);
    /* One that crossed the plot would look like a curve: there the shape alone tells whose it is.
     */
    if (plot->right - label->x < tie(frame))
        svg_line(out, fmin(label->x, plot->right) + frame->mark, label->y, left - 2, y, &stroke);
    mark_point(out, left + 0.5 * frame->body, y,
               &(struct mark){.shape = label->style.shape,
                              .colour = label->style.colour,
                              .radius = frame->mark});
    struct svg_type type = {
        .class = "ink", .colour = INK, .size = frame->body, .bold = true, .anchor = SVG_END};
    double baseline = y + 0.35 * frame->body;
    svg_text(out, left + value_width - 0.5 * frame->body, baseline, label->value.bytes, &type);
    type.bold = false;
    type.anchor = SVG_START;
    svg_text_short(out, left + value_width, baseline, name, label->name.bytes, &type);
    text_add(out, "</g>\n");
}

void end_label_add(struct frame *frame, const struct box *plot, struct end_label *labels,
                   size_t count)
{
    if (count == 0)
        return;
    qsort(labels, count, sizeof *labels, by_height);
    double *places = xcalloc(count, sizeof *places);
    for (size_t i = 0; i < count; i++)
        places[i] = labels[i].y;
    push_apart(places, count, LINE * frame->body, plot->top, plot->bottom);
    double width = value_room(frame, labels, count);
    double room = frame->room.right - (plot->right + tie(frame) + width) + 1;
    const char **names = xcalloc(count, sizeof *names);
    for (size_t i = 0; i < count; i++)
        names[i] = labels[i].name.bytes;
    struct text *forms = lettering_names(names, count, frame->body, false, room);
    for (size_t i = 0; i < count; i++)
        add_label(frame, plot, &labels[i], forms[i].bytes, places[i], width);
    lettering_free(forms, count);
    free(names);
    free(places);
}

void end_label_free(struct end_label *labels, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        text_free(&labels[i].value);
        text_free(&labels[i].name);
    }
    free(labels);
}
