/* Draws discharge curves. */
#include "report/chart_discharge.h"

#include <math.h>
#include <stdlib.h>

#include "base/quantity.h"
#include "report/axis.h"
#include "report/key.h"
#include "report/lettering.h"
#include "report/mark.h"
#include "report/thin.h"

#define MAH           3.6 /* A.s */
#define SIBLING_KEEP  100
#define PLATEAU_MARKS 3

/* A model as it is drawn. */
struct shown {
    const struct discharge_model *model;
    size_t number; /* in the caller's array */
    const struct discharge_curve *median;
    double charge; /* mAh, of the median cell; -1 without any curve */
    bool stands_out;
};

struct view {
    struct frame frame;
    struct shown *shown;
    size_t count;
    struct range charge, voltage; /* mAh, V */
    struct axis x, y;
    struct box plot;
};

/* mAh; -1 when nothing can be drawn. */
static double charge_of(const struct discharge_curve *curve)
{
    double most = -1;
    for (size_t i = 0; i < curve->count; i++)
        if (drawable(curve->charge[i]) && drawable(curve->voltage[i]))
            most = fmax(most, curve->charge[i] / MAH);
    return most;
}

struct sized_curve {
    const struct discharge_curve *curve;
    double charge;
};

static int by_charge(const void *a, const void *b)
{
    double first = ((const struct sized_curve *)a)->charge;
    double second = ((const struct sized_curve *)b)->charge;
    return (first > second) - (first < second);
}

static void find_median(struct shown *shown)
{
    const struct discharge_model *model = shown->model;
    struct sized_curve *curves = xcalloc(model->count + 1, sizeof *curves);
    size_t drawn = 0;
    for (size_t i = 0; i < model->count; i++) {
        double charge = charge_of(&model->cells[i]);
        if (charge >= 0)
            curves[drawn++] = (struct sized_curve){&model->cells[i], charge};
    }
    shown->charge = -1;
    if (drawn != 0) {
        qsort(curves, drawn, sizeof *curves, by_charge);
        shown->median = curves[(drawn - 1) / 2].curve;
        shown->charge = curves[(drawn - 1) / 2].charge;
    }
    free(curves);
}

/* Most charge first; equal ones as the caller had them. */
static int by_rank(const void *a, const void *b)
{
    const struct shown *first = a, *second = b;
    if (first->charge != second->charge)
        return first->charge < second->charge ? 1 : -1;
    return (first->number > second->number) - (first->number < second->number);
}

static void gather(struct view *view, const struct discharge_chart *chart)
{
    view->count = chart->count;
    view->shown = xcalloc(chart->count + 1, sizeof *view->shown);
    view->charge = view->voltage = RANGE_EMPTY;
    for (size_t i = 0; i < chart->count; i++) {
        const struct discharge_model *model = &chart->models[i];
        view->shown[i] = (struct shown){.model = model, .number = i};
        find_median(&view->shown[i]);
        for (size_t j = 0; j < model->count; j++)
            for (size_t k = 0; k < model->cells[j].count; k++) {
                double charge = model->cells[j].charge[k], voltage = model->cells[j].voltage[k];
                if (!drawable(charge) || !drawable(voltage))
                    continue;
                range_add(&view->charge, charge / MAH);
                range_add(&view->voltage, voltage);
            }
    }
    qsort(view->shown, view->count, sizeof *view->shown, by_rank);
    size_t free_places = view->frame.most;
    for (size_t i = 0; i < view->count; i++) {
        struct shown *shown = &view->shown[i];
        shown->stands_out = shown->charge >= 0 && shown->model->style >= 0 && free_places > 0;
        free_places -= shown->stands_out;
    }
}

/* The working range: down to just below the end voltage, where there is one. */
static void plan_axes(struct view *view, double end_voltage, double key_width)
{
    struct frame *frame = &view->frame;
    range_add(&view->charge, 0);
    view->charge.low = 0;
    if (view->charge.high <= 0)
        view->charge.high = 1;
    struct range voltage = view->voltage;
    if (drawable(end_voltage)) {
        range_add(&voltage, end_voltage);
        voltage.low = end_voltage - 0.06 * (voltage.high - end_voltage);
    }
    view->x = (struct axis){.title = "Delivered charge (mAh)"};
    view->y = (struct axis){.title = "Cell voltage (V)"};
    voltage.high += 0.02 * (voltage.high - voltage.low);
    view->y.ticks = ticks_inside(&voltage, 6);
    if (range_is_empty(&view->voltage) || voltage.high - voltage.low < 1e-6)
        view->y.ticks = ticks_round(&voltage, 4);
    view->x.ticks = ticks_inside(&view->charge, 6);
    view->plot = (struct box){frame->room.left + axis_left_room(frame, &view->y),
                              frame->room.top + axis_top_room(frame, &view->y),
                              frame->room.right - key_width,
                              frame->room.bottom - axis_bottom_room(frame, &view->x)};
    view->x.scale =
        (struct scale){view->charge.low, view->charge.high, view->plot.left, view->plot.right};
    view->y.scale = (struct scale){voltage.low, voltage.high, view->plot.bottom, view->plot.top};
}

/* Points of a curve on the picture; the caller frees them. */
static struct point *points_of(const struct view *view, const struct discharge_curve *curve,
                               size_t keep, size_t *count)
{
    double *charge, *voltage;
    *count = thin_curve(curve->charge, curve->voltage, curve->count, keep, &charge, &voltage);
    struct point *points = xcalloc(*count + 1, sizeof *points);
    for (size_t i = 0; i < *count; i++)
        points[i] = point_at(&view->x.scale, &view->y.scale, charge[i] / MAH, voltage[i]);
    free(charge);
    free(voltage);
    return points;
}

static void add_curve(struct view *view, const struct discharge_curve *curve, size_t keep,
                      const struct svg_stroke *stroke)
{
    size_t count;
    struct point *points = points_of(view, curve, keep, &count);
    mark_line(view->frame.out, points, count, stroke);
    free(points);
}

/* Where the line last falls through the height y; not-a-number when it does not. */
static double fall_through(const struct point *points, size_t count, double y)
{
    for (size_t i = count; i-- > 1;) {
        const struct point *a = &points[i - 1], *b = &points[i];
        if (point_is_drawn(a) && point_is_drawn(b) && a->y <= y && b->y > y)
            return a->x + (b->x - a->x) * (y - a->y) / (b->y - a->y);
    }
    return NAN;
}

/* Shapes along the bold line: on the plateau each model's at places of its own, and one on the
 * knee, where the models lie apart, at one of two heights. */
static void add_shapes(struct view *view, const struct shown *shown, size_t place)
{
    struct series_style style = series_style((unsigned)shown->model->style);
    struct mark mark = {.shape = style.shape, .colour = style.colour, .radius = view->frame.mark};
    size_t count;
    struct point *points = points_of(view, shown->median, THIN_KEEP, &count);
    if (count == 1)
        mark_point(view->frame.out, points->x, points->y, &mark);
    double width = view->plot.right - view->plot.left;
    double height = view->plot.bottom - view->plot.top;
    double knee = view->plot.bottom - (place % 2 == 0 ? 0.3 : 0.4) * height;
    double knee_x = fall_through(points, count, knee);
    mark_point(view->frame.out, knee_x, knee, &mark);
    for (int i = 0; i < PLATEAU_MARKS; i++) {
        double part = (i + 0.25 + 0.5 * (double)place / (double)view->frame.most) / PLATEAU_MARKS;
        double x = view->plot.left + part * width, y = line_y_at(points, count, x);
        bool crowded = fabs(x - knee_x) < 6 * mark.radius; /* false when there is no knee */
        if (y < view->plot.bottom - mark.radius && !crowded)
            mark_point(view->frame.out, x, y, &mark);
    }
    free(points);
}

static void add_model(struct view *view, const struct shown *shown, size_t place)
{
    struct text *out = view->frame.out;
    const struct discharge_model *model = shown->model;
    struct series_style style = {.colour = OTHERS};
    if (shown->stands_out)
        style = series_style((unsigned)model->style);
    text_addf(out, "<g class=\"%s\" data-series=\"%zu\">\n",
              shown->stands_out ? "series" : "series others", shown->number);
    svg_title(out, model->name != NULL ? model->name : "");
    text_add(out, "\n");
    struct svg_stroke thin = {.class = "sibling",
                              .colour = style.colour,
                              .width = 0.35 * view->frame.line,
                              .opacity = shown->stands_out ? 0.55 : 1};
    for (size_t i = 0; i < model->count; i++)
        if (&model->cells[i] != shown->median)
            add_curve(view, &model->cells[i], SIBLING_KEEP, &thin);
    struct svg_stroke bold = {.class = "median",
                              .colour = style.colour,
                              .width = (shown->stands_out ? 1 : 0.5) * view->frame.line,
                              .dash = style.dash,
                              .dash_scale = view->frame.line / 2.5};
    if (shown->median != NULL)
        add_curve(view, shown->median, THIN_KEEP, &bold);
    if (shown->median != NULL && shown->stands_out)
        add_shapes(view, shown, place);
    text_add(out, "</g>\n");
}

static void add_end_voltage(struct view *view, double end_voltage)
{
    if (!drawable(end_voltage))
        return;
    struct frame *frame = &view->frame;
    double y = scale_at(&view->y.scale, end_voltage);
    char text[80], volts[40];
    snprintf(text, sizeof text, "end voltage %s V",
             tick_format(end_voltage, 2, volts, sizeof volts));
    struct svg_stroke stroke = {
        .class = "limit", .colour = LIMIT, .width = 0.6 * frame->line, .dash = "1.5 3"};
    struct svg_type type = {.class = "limit", .colour = LIMIT, .size = frame->small};
    svg_line(frame->out, view->plot.left, y, view->plot.right, y, &stroke);
    svg_text(frame->out, view->plot.left + 0.5 * frame->small, y - 0.45 * frame->small, text,
             &type);
}

static void describe(struct text *text, const struct view *view)
{
    text_addf(text, "Discharge curves, cell voltage over delivered charge, of %zu models.",
              view->count);
    for (size_t i = 0; i < view->count; i++) {
        const struct shown *shown = &view->shown[i];
        if (shown->charge >= 0)
            text_addf(text, " %s: %.0f mAh (median of %zu cells).",
                      shown->model->name != NULL ? shown->model->name : "?", shown->charge,
                      shown->model->count);
    }
}

/* Entries of the key; the texts are owned by the entries and freed with them. */
static size_t make_key(const struct view *view, struct key_entry *entries)
{
    size_t made = 0, others = 0;
    for (size_t i = 0; i < view->count; i++) {
        const struct shown *shown = &view->shown[i];
        others += !shown->stands_out && shown->charge >= 0;
        if (!shown->stands_out)
            continue;
        struct key_entry *entry = &entries[made++];
        *entry = (struct key_entry){.number = shown->number,
                                    .style = series_style((unsigned)shown->model->style)};
        text_add(&entry->name, shown->model->name != NULL ? shown->model->name : "");
        text_addf(&entry->value, "%.0f mAh", shown->charge);
    }
    if (others != 0) {
        struct key_entry *entry = &entries[made++];
        *entry = (struct key_entry){.number = KEY_OTHERS, .style = {.colour = OTHERS}};
        text_addf(&entry->name, "%zu other model%s", others, others == 1 ? "" : "s");
    }
    return made;
}

void chart_discharge(struct text *out, const struct discharge_chart *chart)
{
    struct view view = {0};
    frame_plan(&view.frame, &chart->head, "Bold: the median cell of each model; thin: its others.",
               0);
    gather(&view, chart);
    struct key_entry *entries = xcalloc(view.count + 1, sizeof *entries);
    size_t entry_count = make_key(&view, entries);
    double key_width = key_room(&view.frame, entries, entry_count);
    plan_axes(&view, chart->end_voltage, key_width);

    struct text description = TEXT_EMPTY;
    describe(&description, &view);
    frame_open(&view.frame, out, description.bytes);
    text_free(&description);
    axis_left(&view.frame, &view.y, &view.plot);
    axis_bottom(&view.frame, &view.x, &view.plot, false);
    frame_open_plot(&view.frame, &view.plot, &view.x.scale, &view.y.scale, 0, 0);
    for (size_t i = view.count; i-- > 0;) /* those that stand out come last, on top */
        if (!view.shown[i].stands_out)
            add_model(&view, &view.shown[i], i);
    for (size_t i = view.count; i-- > 0;)
        if (view.shown[i].stands_out)
            add_model(&view, &view.shown[i], i % view.frame.most);
    frame_close_plot(&view.frame);
    add_end_voltage(&view, chart->end_voltage);
    if (range_is_empty(&view.voltage))
        frame_say(&view.frame, &view.plot, "no readings");
    struct box place = view.frame.room;
    place.left = place.right - key_width;
    key_add(&view.frame, &place, view.plot.top, entries, entry_count);
    frame_close(&view.frame);
    key_free(entries, entry_count);
    free(view.shown);
}
