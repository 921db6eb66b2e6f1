/* Draws resistance before and after. */
#include "report/chart_resistance.h"

#include <math.h>
#include <stdlib.h>

#include "report/rows.h"

#define MILLI 1000.0
#define ARROW "\xe2\x86\x92"
#define MOHM  "m\xce\xa9"

struct sorted {
    const struct resistance_model *model;
    size_t number;
    double key; /* what it is sorted by: after, else before */
};

static int by_resistance(const void *a, const void *b)
{
    const struct sorted *first = a, *second = b;
    bool first_drawn = drawable(first->key), second_drawn = drawable(second->key);
    if (first_drawn != second_drawn)
        return first_drawn ? -1 : 1;
    if (first_drawn && first->key != second->key)
        return first->key < second->key ? -1 : 1;
    return (first->number > second->number) - (first->number < second->number);
}

static struct sorted *sort_models(const struct resistance_chart *chart)
{
    struct sorted *sorted = xcalloc(chart->count + 1, sizeof *sorted);
    for (size_t i = 0; i < chart->count; i++) {
        const struct resistance_model *model = &chart->models[i];
        sorted[i] =
            (struct sorted){model, i, drawable(model->after) ? model->after : model->before};
    }
    qsort(sorted, chart->count, sizeof *sorted, by_resistance);
    return sorted;
}

/* Milliohm: whole ones, tenths below 10. */
static char *milliohm(double ohm, char *buffer, size_t size)
{
    return tick_format(MILLI * ohm, fabs(MILLI * ohm) < 9.95 ? 1 : 0, buffer, size);
}

static void add_value(struct text *text, const struct resistance_model *model)
{
    char before[40], after[40];
    bool has_before = drawable(model->before), has_after = drawable(model->after);
    milliohm(model->before, before, sizeof before);
    milliohm(model->after, after, sizeof after);
    if (has_before && has_after) {
        text_addf(text, "%s " ARROW " %s " MOHM, before, after);
        double percent = model->before > 0 ? 100 * (model->after / model->before - 1) : NAN;
        if (drawable(percent) && fabs(percent) < 1e4)
            text_addf(text, " (%s%.0f %%)",
                      percent >= 0.5    ? "+"
                      : percent <= -0.5 ? "\xe2\x88\x92"
                                        : "",
                      fabs(percent));
    } else if (has_after) {
        text_addf(text, "%s " MOHM, after);
    } else if (has_before) {
        text_addf(text, "%s " MOHM " before", before);
    } else {
        text_add(text, "no result");
    }
}

static void make_rows(struct rows *rows, const struct sorted *sorted, size_t count)
{
    rows->count = count;
    rows->all = xcalloc(count + 1, sizeof *rows->all);
    for (size_t i = 0; i < count; i++) {
        struct row *row = &rows->all[i];
        row->number = sorted[i].number;
        row->others = sorted[i].model->style < 0;
        text_add(&row->name, sorted[i].model->name != NULL ? sorted[i].model->name : "");
        add_value(&row->value, sorted[i].model);
    }
}

static struct range range_of(const struct sorted *sorted, size_t count)
{
    struct range range = RANGE_EMPTY;
    for (size_t i = 0; i < count; i++) {
        const struct resistance_model *model = sorted[i].model;
        range_add(&range, MILLI * model->before);
        range_add(&range, MILLI * model->after);
        for (size_t j = 0; j < model->before_count; j++)
            range_add(&range, MILLI * model->cells_before[j]);
        for (size_t j = 0; j < model->after_count; j++)
            range_add(&range, MILLI * model->cells_after[j]);
    }
    if (range.high > 0 || range_is_empty(&range))
        range_add(&range, 0); /* from zero, so that lengths can be compared */
    return range;
}

static void add_cells(struct frame *frame, const struct scale *x, double y, const double *cells,
                      size_t count, const char *colour, bool hollow)
{
    for (size_t i = 0; i < count; i++)
        if (drawable(cells[i]))
            mark_point(frame->out, scale_at(x, MILLI * cells[i]), y,
                       &(struct mark){.shape = MARK_DISC,
                                      .class = "cell",
                                      .colour = colour,
                                      .radius = 0.5 * frame->mark,
                                      .hollow = hollow,
                                      .opacity = 0.7});
}

static struct mark big_mark(const struct frame *frame, const char *colour, bool hollow)
{
    return (struct mark){.shape = MARK_DISC,
                         .colour = colour,
                         .radius = 1.2 * frame->mark,
                         .hollow = hollow,
                         .bare = true};
}

static void add_pair(struct frame *frame, const struct rows *rows, const struct scale *x, size_t i,
                     const struct sorted *sorted)
{
    const struct resistance_model *model = sorted->model;
    const char *colour = model->style < 0 ? OTHERS : series_style(0).colour;
    double y = rows_y(rows, i), beneath = y + 0.3 * rows->step;
    text_addf(frame->out, "<g class=\"%s\" data-series=\"%zu\">\n",
              model->style < 0 ? "series others" : "series", sorted->number);
    add_cells(frame, x, beneath, model->cells_before, model->before_count, colour, true);
    add_cells(frame, x, beneath, model->cells_after, model->after_count, colour, false);
    struct point before = {scale_at(x, MILLI * model->before), y};
    struct point after = {scale_at(x, MILLI * model->after), y};
    struct svg_stroke bar = {.class = "change", .colour = colour, .width = 1.2 * frame->line};
    if (drawable(model->before) && drawable(model->after))
        svg_line(frame->out, before.x, y, after.x, y, &bar);
    struct mark mark = big_mark(frame, colour, true);
    if (drawable(model->before))
        mark_point(frame->out, before.x, y, &mark);
    mark.hollow = false;
    if (drawable(model->after))
        mark_point(frame->out, after.x, y, &mark);
    text_add(frame->out, "</g>\n");
}

static void describe(struct text *text, const struct rows *rows)
{
    text_addf(text, "Resistance before and after, of %zu models.", rows->count);
    for (size_t i = 0; i < rows->count; i++)
        text_addf(text, " %s: %s.", rows->all[i].name.bytes, rows->all[i].value.bytes);
}

void chart_resistance(struct text *out, const struct resistance_chart *chart)
{
    struct frame frame;
    struct rows rows = {0};
    struct sorted *sorted = sort_models(chart);
    make_rows(&rows, sorted, chart->count);
    rows_plan(&rows, &frame, &chart->head, "Small dots: single cells.");
    struct range range = range_of(sorted, rows.shown);
    struct axis x = {.title = "Resistance (" MOHM ")"};
    x.ticks = ticks_round(&range, 5);
    x.scale = (struct scale){range.low, range.high, rows.plot.left, rows.plot.right};
    struct scale none = {0, 1, rows.plot.bottom, rows.plot.top};

    struct text description = TEXT_EMPTY;
    describe(&description, &rows);
    frame_open(&frame, out, description.bytes);
    const char *colour = series_style(0).colour;
    struct legend_entry legend[] = {
        {.mark = big_mark(&frame, colour, true),
         .text = chart->before_name != NULL ? chart->before_name : "before"},
        {.mark = big_mark(&frame, colour, false),
         .text = chart->after_name != NULL ? chart->after_name : "after"}};
    rows_add(&rows, &frame, &x, legend, 2);
    frame_open_plot(&frame, &rows.plot, &x.scale, &none, 2 * frame.mark, 0);
    for (size_t i = 0; i < rows.shown; i++)
        add_pair(&frame, &rows, &x.scale, i, &sorted[i]);
    frame_close_plot(&frame);
    frame_close(&frame);
    text_free(&description);
    rows_free(&rows);
    free(sorted);
}
