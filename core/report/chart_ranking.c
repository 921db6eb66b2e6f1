/* Draws a ranking. */
#include "report/chart_ranking.h"

#include <math.h>
#include <stdlib.h>

#include "report/rows.h"

struct sorted {
    const struct ranking_model *model;
    size_t number;
    double key; /* ascending: best first */
};

static int by_key(const void *a, const void *b)
{
    const struct sorted *first = a, *second = b;
    bool first_drawn = drawable(first->key), second_drawn = drawable(second->key);
    if (first_drawn != second_drawn)
        return first_drawn ? -1 : 1;
    if (first_drawn && first->key != second->key)
        return first->key < second->key ? -1 : 1;
    return (first->number > second->number) - (first->number < second->number);
}

static struct sorted *sort_models(const struct ranking_chart *chart)
{
    struct sorted *sorted = xcalloc(chart->count + 1, sizeof *sorted);
    for (size_t i = 0; i < chart->count; i++) {
        double value = chart->models[i].value;
        sorted[i] = (struct sorted){&chart->models[i], i, chart->least_is_best ? value : -value};
    }
    qsort(sorted, chart->count, sizeof *sorted, by_key);
    return sorted;
}

static double in_unit(const struct ranking_chart *chart, double si)
{
    return si / (chart->unit_si > 0 ? chart->unit_si : 1);
}

/* Of the values, the intervals, the cells and what was promised. */
static struct range range_of(const struct ranking_chart *chart, const struct sorted *sorted,
                             size_t count)
{
    struct range range = RANGE_EMPTY;
    for (size_t i = 0; i < count; i++) {
        const struct ranking_model *model = sorted[i].model;
        range_add(&range, in_unit(chart, model->value));
        range_add(&range, in_unit(chart, model->low));
        range_add(&range, in_unit(chart, model->high));
        range_add(&range, in_unit(chart, model->rated));
        for (size_t j = 0; j < model->cell_count; j++)
            range_add(&range, in_unit(chart, model->cells[j]));
    }
    return range;
}

/* Decimals that show four digits of the largest value. */
static int decimals_for(const struct range *range)
{
    double size = fmax(fabs(range->low), fabs(range->high));
    if (range_is_empty(range) || !(size > 0))
        return 0;
    int decimals = 3 - (int)floor(log10(size));
    return decimals < 0 ? 0 : decimals > 6 ? 6 : decimals;
}

static void add_value(struct text *text, const struct ranking_chart *chart,
                      const struct ranking_model *model, int decimals)
{
    char value[40], low[40], high[40];
    if (!drawable(model->value)) {
        text_add(text, "no result");
        return;
    }
    text_addf(text, "%s %s",
              tick_format(in_unit(chart, model->value), decimals, value, sizeof value),
              chart->unit != NULL ? chart->unit : "");
    if (drawable(model->low) && drawable(model->high))
        text_addf(text, " (%s to %s)",
                  tick_format(in_unit(chart, model->low), decimals, low, sizeof low),
                  tick_format(in_unit(chart, model->high), decimals, high, sizeof high));
}

static void make_rows(struct rows *rows, const struct ranking_chart *chart,
                      const struct sorted *sorted, int decimals)
{
    rows->count = chart->count;
    rows->all = xcalloc(chart->count + 1, sizeof *rows->all);
    for (size_t i = 0; i < chart->count; i++) {
        const struct ranking_model *model = sorted[i].model;
        struct row *row = &rows->all[i];
        row->number = sorted[i].number;
        row->others = model->style < 0;
        if (model->rank_low > 0 && model->rank_high > model->rank_low)
            text_addf(&row->rank, "%d to %d", model->rank_low, model->rank_high);
        else if (model->rank_low > 0)
            text_addf(&row->rank, "%d", model->rank_low);
        text_add(&row->name, model->name != NULL ? model->name : "");
        add_value(&row->value, chart, model, decimals);
    }
}

static void add_model(struct frame *frame, const struct ranking_chart *chart,
                      const struct rows *rows, const struct scale *x, size_t i,
                      const struct sorted *sorted)
{
    const struct ranking_model *model = sorted->model;
    const char *colour = model->style < 0 ? OTHERS : series_style(0).colour;
    double y = rows_y(rows, i), beneath = y + 0.3 * rows->step;
    text_addf(frame->out, "<g class=\"%s\" data-series=\"%zu\">\n",
              model->style < 0 ? "series others" : "series", sorted->number);
    for (size_t j = 0; j < model->cell_count; j++)
        if (drawable(model->cells[j]))
            mark_point(frame->out, scale_at(x, in_unit(chart, model->cells[j])), beneath,
                       &(struct mark){.shape = MARK_DISC,
                                      .class = "cell",
                                      .colour = colour,
                                      .radius = 0.5 * frame->mark,
                                      .opacity = 0.7});
    struct svg_stroke thick = {
        .class = "interval", .colour = colour, .width = 1.1 * frame->mark, .opacity = 0.4};
    if (drawable(model->low) && drawable(model->high))
        svg_line(frame->out, scale_at(x, in_unit(chart, model->low)), y,
                 scale_at(x, in_unit(chart, model->high)), y, &thick);
    struct svg_stroke bar = {.class = "limit", .colour = LIMIT, .width = 0.8 * frame->line};
    double rated = scale_at(x, in_unit(chart, model->rated));
    if (drawable(model->rated))
        svg_line(frame->out, rated, y - 0.32 * rows->step, rated, y + 0.32 * rows->step, &bar);
    struct mark dot = {
        .shape = MARK_DISC, .colour = colour, .radius = 0.95 * frame->mark, .bare = true};
    if (drawable(model->value))
        mark_point(frame->out, scale_at(x, in_unit(chart, model->value)), y, &dot);
    text_add(frame->out, "</g>\n");
}

static void describe(struct text *text, const struct rows *rows)
{
    text_addf(text, "Ranking of %zu models, best first.", rows->count);
    for (size_t i = 0; i < rows->count; i++) {
        const struct row *row = &rows->all[i];
        text_addf(text, " %s%s%s: %s.", row->rank.length != 0 ? row->rank.bytes : "",
                  row->rank.length != 0 ? ", " : "", row->name.bytes, row->value.bytes);
    }
}

static bool any_rated(const struct ranking_chart *chart)
{
    for (size_t i = 0; i < chart->count; i++)
        if (drawable(chart->models[i].rated))
            return true;
    return false;
}

void chart_ranking(struct text *out, const struct ranking_chart *chart)
{
    struct frame frame;
    struct rows rows = {0};
    struct sorted *sorted = sort_models(chart);
    struct range range = range_of(chart, sorted, chart->count);
    struct text aid = TEXT_EMPTY, description = TEXT_EMPTY, title = TEXT_EMPTY;
    make_rows(&rows, chart, sorted, decimals_for(&range));
    text_addf(&aid, "Thick: %s. Small dots: single cells. A range of ranks: not to be told apart.",
              chart->interval != NULL ? chart->interval : "interval, not said which");
    rows_plan(&rows, &frame, &chart->head, aid.bytes);
    text_addf(&title, "%s (%s)", chart->quantity != NULL ? chart->quantity : "Value",
              chart->unit != NULL ? chart->unit : "");
    range = range_of(chart, sorted, rows.shown);
    struct axis x = {.title = title.bytes};
    x.ticks = ticks_round(&range, 5);
    x.scale = (struct scale){range.low, range.high, rows.plot.left, rows.plot.right};
    struct scale none = {0, 1, rows.plot.bottom, rows.plot.top};

    describe(&description, &rows);
    frame_open(&frame, out, description.bytes);
    struct legend_entry legend[] = {{.mark = {.shape = MARK_DISC,
                                              .colour = series_style(0).colour,
                                              .radius = 0.95 * frame.mark},
                                     .text = "measured"},
                                    {.bar = true, .text = "rated"}};
    rows_add(&rows, &frame, &x, legend, any_rated(chart) ? 2 : 1);
    frame_open_plot(&frame, &rows.plot, &x.scale, &none, 2 * frame.mark, 0);
    for (size_t i = 0; i < rows.shown; i++)
        add_model(&frame, chart, &rows, &x.scale, i, &sorted[i]);
    frame_close_plot(&frame);
    frame_close(&frame);
    text_free(&aid);
    text_free(&description);
    text_free(&title);
    rows_free(&rows);
    free(sorted);
}
