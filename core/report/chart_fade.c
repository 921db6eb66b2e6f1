/* Draws small panels of fade. */
#include "report/chart_fade.h"

#include <math.h>
#include <stdlib.h>

#include "report/axis.h"
#include "report/lettering.h"
#include "report/mark.h"
#include "report/thin.h"

#define CELL_KEEP   80
#define LINE_KEEP   120
#define OTHERS_KEEP 20
#define TITLE       1.8 /* of the axis above the panels, in heights of small type */

struct sorted {
    const struct fade_model *model;
    size_t number;
    double last_cycle, last_ratio; /* of its line, else of its cells; -1 without any */
};

struct view {
    struct frame frame;
    const struct fade_chart *chart;
    struct sorted *sorted;
    size_t count, shown, columns, rows;
    struct range cycles, percent;
    double width, height, head; /* of a panel with its texts; of the texts above the plot */
    double axis_left_room;
    struct ticks x_ticks, y_ticks;
};

static void find_end(struct sorted *sorted, const double *cycles, const double *ratio, size_t count)
{
    for (size_t i = 0; i < count; i++)
        if (drawable(cycles[i]) && drawable(ratio[i]) && cycles[i] > sorted->last_cycle) {
            sorted->last_cycle = cycles[i];
            sorted->last_ratio = ratio[i];
        }
}

static void extend(struct view *view, const double *cycles, const double *ratio, size_t count)
{
    for (size_t i = 0; i < count; i++)
        if (drawable(cycles[i]) && drawable(ratio[i])) {
            range_add(&view->cycles, cycles[i]);
            range_add(&view->percent, 100 * ratio[i]);
        }
}

/* Best first: who stays above the threshold, then who did so longest; ties by what is left. */
static int by_life(const void *a, const void *b)
{
    const struct sorted *first = a, *second = b;
    bool first_data = first->last_cycle >= 0, second_data = second->last_cycle >= 0;
    if (first_data != second_data)
        return first_data ? -1 : 1;
    double first_life = first->model->cycles_to_threshold;
    double second_life = second->model->cycles_to_threshold;
    if (drawable(first_life) != drawable(second_life))
        return drawable(first_life) ? 1 : -1;
    if (drawable(first_life) && first_life != second_life)
        return first_life < second_life ? 1 : -1;
    if (first->last_ratio != second->last_ratio)
        return first->last_ratio < second->last_ratio ? 1 : -1;
    return (first->number > second->number) - (first->number < second->number);
}

static void gather(struct view *view)
{
    const struct fade_chart *chart = view->chart;
    view->count = chart->count;
    view->sorted = xcalloc(chart->count + 1, sizeof *view->sorted);
    view->cycles = view->percent = RANGE_EMPTY;
    for (size_t i = 0; i < chart->count; i++) {
        const struct fade_model *model = &chart->models[i];
        struct sorted *sorted = &view->sorted[i];
        *sorted = (struct sorted){model, i, -1, -1};
        find_end(sorted, model->cycles, model->ratio, model->line_count);
        extend(view, model->cycles, model->ratio, model->line_count);
        bool has_line = sorted->last_cycle >= 0;
        for (size_t j = 0; j < model->count; j++) {
            const struct fade_cell *cell = &model->cells[j];
            extend(view, cell->cycles, cell->ratio, cell->count);
            if (!has_line)
                find_end(sorted, cell->cycles, cell->ratio, cell->count);
        }
    }
    qsort(view->sorted, view->count, sizeof *view->sorted, by_life);
}

/* From 40 %, so that fade is seen, or from lower where a cell fell that far. */
static void plan_axes(struct view *view)
{
    if (range_is_empty(&view->percent))
        view->percent = (struct range){40, 100};
    range_add(&view->percent, 100);
    if (drawable(view->chart->threshold))
        range_add(&view->percent, 100 * view->chart->threshold);
    view->percent.low = fmin(40, 20 * floor(view->percent.low / 20));
    view->percent.high = view->percent.high > 101 ? 10 * ceil(view->percent.high / 10) : 101;
    view->y_ticks = ticks_inside(&view->percent, 3);
    range_add(&view->cycles, 0);
    if (view->cycles.high <= 0)
        view->cycles.high = 1;
    view->x_ticks = ticks_inside(&view->cycles, 3);
}

static void plan_panels(struct view *view, const char *aid)
{
    struct frame *frame = &view->frame;
    size_t many = frame->grows                ? view->count
                  : view->count < frame->most ? view->count
                                              : frame->most;
    view->columns = many <= 1 ? 1 : many == 2 || many == 4 || frame->width < 500 ? 2 : 3;
    if (!frame->grows && many > 6)
        view->columns = 4;
    view->shown = many;
    view->rows = many == 0 ? 1 : (many + view->columns - 1) / view->columns;
    view->head = 2.6 * frame->body;
    struct axis y = {.ticks = view->y_ticks};
    view->axis_left_room = axis_left_room(frame, &y);
    double axes =
        1.8 * frame->small + TITLE * frame->small; /* below the last row; above the first */
    double plot = view->columns == 1 ? 16 : view->columns == 2 ? 9 : 7; /* heights of type */
    if (frame->grows)
        frame_plan(frame, &view->chart->head, aid,
                   axes + (double)view->rows * (view->head + plot * frame->body));
    view->width =
        (frame->room.right - frame->room.left - view->axis_left_room) / (double)view->columns;
    view->height = (frame->room.bottom - frame->room.top - axes) / (double)view->rows;
}

static struct box panel_box(const struct view *view, size_t i)
{
    const struct frame *frame = &view->frame;
    double left =
        frame->room.left + view->axis_left_room + (double)(i % view->columns) * view->width;
    double top =
        frame->room.top + TITLE * frame->small + (double)(i / view->columns) * view->height;
    double gap = (i % view->columns + 1 < view->columns ? 2.6 : 1) * frame->small;
    return (struct box){left, top + view->head, left + view->width - gap,
                        top + view->height - 1.1 * frame->small};
}

/* A curve in a panel. */
static void add_curve(struct view *view, const struct scale *x, const struct scale *y,
                      const double *cycles, const double *ratio, size_t count, size_t keep,
                      const struct svg_stroke *stroke)
{
    double *xs, *ys;
    size_t made = thin_curve(cycles, ratio, count, keep, &xs, &ys);
    struct point *points = xcalloc(made + 1, sizeof *points);
    for (size_t i = 0; i < made; i++)
        points[i] = point_at(x, y, xs[i], 100 * ys[i]);
    mark_line(view->frame.out, points, made, stroke);
    free(points);
    free(xs);
    free(ys);
}

static void add_cells(struct view *view, const struct fade_model *model, const struct scale *x,
                      const struct scale *y)
{
    const char *colour = series_style(0).colour;
    struct svg_stroke thin = {
        .class = "sibling", .colour = colour, .width = 0.4 * view->frame.line, .opacity = 0.5};
    for (size_t i = 0; i < model->count; i++) {
        const struct fade_cell *cell = &model->cells[i];
        add_curve(view, x, y, cell->cycles, cell->ratio, cell->count, CELL_KEEP, &thin);
    }
}

/* A cross where the line of each cell that stopped early ends. */
static void add_crosses(struct view *view, const struct fade_model *model, const struct scale *x,
                        const struct scale *y)
{
    for (size_t i = 0; i < model->count; i++) {
        const struct fade_cell *cell = &model->cells[i];
        struct point end = {NAN, NAN}, next;
        for (size_t j = 0; j < cell->count; j++) {
            next = point_at(x, y, cell->cycles[j], 100 * cell->ratio[j]);
            end = point_is_drawn(&next) ? next : end;
        }
        if (!cell->stopped_early)
            continue;
        struct text tip = TEXT_EMPTY;
        text_addf(&tip, "%s: stopped early", cell->label != NULL ? cell->label : "a cell");
        mark_cross(view->frame.out, end.x, end.y, 0.8 * view->frame.mark, LIMIT, tip.bytes);
        text_free(&tip);
    }
}

/* "80 % at 320 cycles", or what is left at the end. */
static void add_verdict(struct text *text, const struct view *view, const struct sorted *sorted)
{
    char percent[40];
    double threshold = view->chart->threshold, life = sorted->model->cycles_to_threshold;
    if (drawable(threshold) && drawable(life))
        text_addf(text, "%s %% at %.0f cycles",
                  tick_format(100 * threshold, 0, percent, sizeof percent), life);
    else if (sorted->last_cycle >= 0)
        text_addf(text, "%s %% after %.0f cycles",
                  tick_format(100 * sorted->last_ratio, 0, percent, sizeof percent),
                  sorted->last_cycle);
    else
        text_add(text, "no data");
}

static const char *name_of(const struct sorted *sorted)
{
    return sorted->model->name != NULL ? sorted->model->name : "";
}

/* The names above the panels, all in the room of the narrowest; freed by lettering_free. */
static struct text *short_names(const struct view *view)
{
    const char **names = xcalloc(view->shown + 1, sizeof *names);
    double room = INFINITY;
    for (size_t i = 0; i < view->shown; i++) {
        struct box box = panel_box(view, i);
        room = fmin(room, box.right - box.left);
        names[i] = name_of(&view->sorted[i]);
    }
    struct text *forms = lettering_names(names, view->shown, view->frame.body, true, room);
    free(names);
    return forms;
}

static void add_texts(struct view *view, const struct box *box, const struct sorted *sorted,
                      const char *name)
{
    struct frame *frame = &view->frame;
    double room = box->right - box->left;
    struct svg_type type = frame_ink(frame);
    type.size = frame->body;
    type.bold = true;
    struct text verdict = TEXT_EMPTY;
    add_verdict(&verdict, view, sorted);
    svg_text_short(frame->out, box->left, box->top - 1.55 * frame->body, name, name_of(sorted),
                   &type);
    type.bold = false;
    type.size = frame->small;
    svg_text_fit(frame->out, box->left, box->top - 0.45 * frame->body, verdict.bytes, room, &type);
    text_free(&verdict);
}

static void add_threshold(struct view *view, const struct box *box, const struct scale *y)
{
    double at = scale_at(y, 100 * view->chart->threshold);
    struct svg_stroke stroke = {
        .class = "limit", .colour = LIMIT, .width = 0.5 * view->frame.line, .dash = "1.5 3"};
    if (drawable(view->chart->threshold))
        svg_line(view->frame.out, box->left, at, box->right, at, &stroke);
}

static void add_panel(struct view *view, size_t i, const char *name)
{
    struct frame *frame = &view->frame;
    const struct sorted *sorted = &view->sorted[i];
    struct box box = panel_box(view, i);
    struct axis x = {.ticks = view->x_ticks}, y = {.ticks = view->y_ticks};
    x.scale = (struct scale){0, view->cycles.high, box.left, box.right};
    y.scale = (struct scale){view->percent.low, view->percent.high, box.bottom, box.top};
    y.unlabelled = i % view->columns != 0;
    x.unlabelled = i + view->columns < view->shown;
    axis_left(frame, &y, &box);
    axis_bottom(frame, &x, &box, false);
    text_addf(frame->out, "<g class=\"series\" data-series=\"%zu\">\n", sorted->number);
    add_texts(view, &box, sorted, name);
    frame_open_plot(frame, &box, &x.scale, &y.scale, frame->mark, i);
    struct svg_stroke grey = {.class = "others", .colour = OTHERS, .width = 0.4 * frame->line};
    for (size_t j = 0; j < view->count; j++)
        if (j != i)
            add_curve(view, &x.scale, &y.scale, view->sorted[j].model->cycles,
                      view->sorted[j].model->ratio, view->sorted[j].model->line_count, OTHERS_KEEP,
                      &grey);
    add_threshold(view, &box, &y.scale);
    add_cells(view, sorted->model, &x.scale, &y.scale);
    struct svg_stroke bold = {
        .class = "median", .colour = series_style(0).colour, .width = frame->line};
    add_curve(view, &x.scale, &y.scale, sorted->model->cycles, sorted->model->ratio,
              sorted->model->line_count, LINE_KEEP, &bold);
    add_crosses(view, sorted->model, &x.scale, &y.scale);
    frame_close_plot(frame);
    text_add(frame->out, "</g>\n");
}

static void describe(struct text *text, const struct view *view)
{
    text_addf(text, "Charge left over cycles, %zu models, best first.", view->count);
    for (size_t i = 0; i < view->count; i++) {
        const struct fade_model *model = view->sorted[i].model;
        text_addf(text, " %s: ", model->name != NULL ? model->name : "?");
        add_verdict(text, view, &view->sorted[i]);
        text_add(text, ".");
    }
}

static bool any_stopped(const struct fade_chart *chart)
{
    for (size_t i = 0; i < chart->count; i++)
        for (size_t j = 0; j < chart->models[i].count; j++)
            if (chart->models[i].cells[j].stopped_early)
                return true;
    return false;
}

/* What belongs to all panels: titles of the axes, and how many models are missing. */
static void add_titles(struct view *view)
{
    struct frame *frame = &view->frame;
    struct svg_type type = frame_quiet(frame);
    svg_text(frame->out, frame->room.left, frame->room.top + 0.9 * frame->small,
             "Charge left (% of fresh)", &type);
    type.anchor = SVG_MIDDLE;
    svg_text(frame->out, (frame->room.left + frame->room.right) / 2,
             frame->room.bottom - 0.2 * frame->small, "Cycles", &type);
    if (view->shown == view->count)
        return;
    struct text left_out = TEXT_EMPTY;
    text_addf(&left_out, "%zu of %zu models shown", view->shown, view->count);
    type.anchor = SVG_END;
    svg_text(frame->out, frame->room.right, frame->room.top + 0.9 * frame->small, left_out.bytes,
             &type);
    text_free(&left_out);
}

void chart_fade(struct text *out, const struct fade_chart *chart)
{
    struct view view = {.chart = chart};
    struct text aid = TEXT_EMPTY, description = TEXT_EMPTY;
    text_addf(&aid, "Thin: single cells%s%s.", chart->count > 1 ? "; grey: the other models" : "",
              any_stopped(chart) ? "; \xc3\x97: stopped early" : "");
    frame_plan(&view.frame, &chart->head, aid.bytes, 0);
    gather(&view);
    plan_axes(&view);
    plan_panels(&view, aid.bytes);
    describe(&description, &view);
    frame_open(&view.frame, out, description.bytes);
    add_titles(&view);
    struct text *names = short_names(&view);
    for (size_t i = 0; i < view.shown; i++)
        add_panel(&view, i, names[i].bytes);
    lettering_free(names, view.shown);
    if (range_is_empty(&view.cycles) || view.count == 0)
        frame_say(&view.frame, &view.frame.room, "no data");
    frame_close(&view.frame);
    text_free(&aid);
    text_free(&description);
    free(view.sorted);
}
