/* Lays out rows. */
#include "report/rows.h"

#include <math.h>
#include <stdlib.h>

#include "report/lettering.h"

/* In heights of type. */
#define STEP       2.9
#define CLOSE_STEP 2.0
#define LEGEND     2.2
#define GAP        0.9

static double column(const struct frame *frame, const struct rows *rows, size_t offset, bool bold)
{
    double widest = 0;
    for (size_t i = 0; i < rows->count; i++) {
        const struct text *text = (const struct text *)((const char *)&rows->all[i] + offset);
        if (text->length != 0)
            widest = fmax(widest, lettering_width(text->bytes, frame->body, bold));
    }
    return widest > 0 ? widest + GAP * frame->body : 0;
}

void rows_plan(struct rows *rows, struct frame *frame, const struct chart_head *head,
               const char *aid)
{
    frame_plan(frame, head, aid, 0);
    double around = LEGEND * frame->body + 3 * frame->small; /* legend above, axis below */
    double count = (double)(rows->count > 0 ? rows->count : 1);
    if (frame->grows)
        frame_plan(frame, head, aid, around + fmax(count, 2) * STEP * frame->body);
    double height = frame->room.bottom - frame->room.top - around;
    size_t fit = (size_t)fmax(1, height / (CLOSE_STEP * frame->body));
    if (!frame->grows && fit > frame->most)
        fit = frame->most;
    rows->shown = rows->count < fit ? rows->count : fit;
    rows->step = height / (double)(rows->shown > 0 ? rows->shown : 1);
    rows->step = fmin(rows->step, 1.6 * STEP * frame->body);
    rows->rank_room = column(frame, rows, offsetof(struct row, rank), false);
    rows->name_room =
        fmin(column(frame, rows, offsetof(struct row, name), true), 0.28 * frame->width);
    rows->value_room = fmin(column(frame, rows, offsetof(struct row, value), false),
                            fmax(0.36, frame->side) * frame->width);
    double top = frame->room.top + LEGEND * frame->body;
    rows->plot = (struct box){frame->room.left + rows->rank_room + rows->name_room, top,
                              frame->room.right - rows->value_room,
                              top + rows->step * (double)(rows->shown > 0 ? rows->shown : 2)};
}

double rows_y(const struct rows *rows, size_t i)
{
    return rows->plot.top + ((double)i + 0.5) * rows->step;
}

static void add_legend(struct rows *rows, struct frame *frame, const struct legend_entry *legend,
                       size_t count)
{
    struct svg_type type = frame_quiet(frame);
    double x = rows->plot.left, y = frame->room.top + 0.8 * frame->body;
    for (size_t i = 0; i < count; i++) {
        double middle = y - 0.35 * frame->small;
        if (legend[i].bar) {
            struct svg_stroke bar = {.class = "limit", .colour = LIMIT, .width = 0.8 * frame->line};
            svg_line(frame->out, x, middle - frame->mark, x, middle + frame->mark, &bar);
        } else {
            mark_point(frame->out, x, middle, &legend[i].mark);
        }
        svg_text(frame->out, x + 0.8 * frame->body, y, legend[i].text, &type);
        x += 2.2 * frame->body + lettering_width(legend[i].text, type.size, false);
    }
    if (rows->shown == rows->count)
        return;
    struct text left_out = TEXT_EMPTY;
    text_addf(&left_out, "%zu of %zu models shown", rows->shown, rows->count);
    type.anchor = SVG_END;
    svg_text(frame->out, frame->room.right, y, left_out.bytes, &type);
    text_free(&left_out);
}

static void add_row(struct rows *rows, struct frame *frame, size_t i, const char *name)
{
    const struct row *row = &rows->all[i];
    struct svg_type type = {.class = row->others ? "quiet" : "ink",
                            .colour = row->others ? QUIET : INK,
                            .size = frame->body};
    double baseline = rows_y(rows, i) + 0.35 * frame->body, left = frame->room.left;
    if (row->rank.length != 0)
        svg_text(frame->out, left, baseline, row->rank.bytes, &type);
    type.bold = !row->others;
    svg_text_short(frame->out, left + rows->rank_room, baseline, name, row->name.bytes, &type);
    type.bold = false;
    if (row->value.length != 0)
        svg_text_fit(frame->out, rows->plot.right + GAP * frame->body, baseline, row->value.bytes,
                     rows->value_room - GAP * frame->body + 1, &type);
}

void rows_add(struct rows *rows, struct frame *frame, const struct axis *x,
              const struct legend_entry *legend, size_t legend_count)
{
    axis_bottom(frame, x, &rows->plot, true);
    add_legend(rows, frame, legend, legend_count);
    const char **names = xcalloc(rows->shown + 1, sizeof *names);
    for (size_t i = 0; i < rows->shown; i++)
        names[i] = rows->all[i].name.bytes;
    struct text *forms = lettering_names(names, rows->shown, frame->body, true,
                                         rows->name_room - 0.5 * GAP * frame->body);
    for (size_t i = 0; i < rows->shown; i++)
        add_row(rows, frame, i, forms[i].bytes);
    lettering_free(forms, rows->shown);
    free(names);
    if (rows->count == 0)
        frame_say(frame, &rows->plot, "no results");
}

void rows_free(struct rows *rows)
{
    for (size_t i = 0; i < rows->count; i++) {
        text_free(&rows->all[i].rank);
        text_free(&rows->all[i].name);
        text_free(&rows->all[i].value);
    }
    free(rows->all);
}
