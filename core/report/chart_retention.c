/* Draws retention. */
#include "report/chart_retention.h"

#include <math.h>
#include <stdlib.h>

#include "report/axis.h"
#include "report/end_label.h"
#include "report/mark.h"

#define DAY 86400.0

/* Checks of one age: within a tenth, or half a day, as the tables have it. */
static double alike(double days)
{
    return fmax(0.5, 0.1 * days);
}

/* A model as it is drawn. */
struct shown {
    const struct retention_model *model;
    size_t number;
    double last_check;    /* days; -1 without any */
    double end, end_left; /* days and percent where its line, or without one its checks, end */
    bool stands_out;
};

struct view {
    struct frame frame;
    struct shown *shown;
    size_t count;
    struct range days, percent;
    double *dates; /* days on which there were checks, and the end of the forecast */
    struct axis x, y;
    struct box plot;
    bool has_forecast, has_band;
};

static bool check_is_drawn(const struct retention_mark *check)
{
    return drawable(check->time) && drawable(check->ratio);
}

static bool fit_is_drawn(const struct retention_fit *fit)
{
    return drawable(fit->time) && drawable(fit->ratio);
}

static bool band_is_drawn(const struct retention_fit *fit)
{
    return fit_is_drawn(fit) && drawable(fit->low) && drawable(fit->high);
}

/* Where the checks end: the mean of those of the last age. */
static void end_at_checks(struct shown *shown)
{
    double sum = 0;
    size_t count = 0;
    for (size_t i = 0; i < shown->model->check_count; i++) {
        const struct retention_mark *check = &shown->model->checks[i];
        if (check_is_drawn(check) &&
            check->time / DAY >= shown->last_check - alike(shown->last_check)) {
            sum += 100 * check->ratio;
            count++;
        }
    }
    shown->end = shown->last_check;
    shown->end_left = count != 0 ? sum / (double)count : -1;
}

static void measure(struct view *view, struct shown *shown)
{
    const struct retention_model *model = shown->model;
    shown->last_check = shown->end = -1;
    shown->end_left = -1;
    for (size_t i = 0; i < model->check_count; i++)
        if (check_is_drawn(&model->checks[i])) {
            range_add(&view->days, model->checks[i].time / DAY);
            range_add(&view->percent, 100 * model->checks[i].ratio);
            shown->last_check = fmax(shown->last_check, model->checks[i].time / DAY);
        }
    end_at_checks(shown);
    bool has_line = false;
    for (size_t i = 0; i < model->fit_count; i++) {
        const struct retention_fit *fit = &model->fit[i];
        if (!fit_is_drawn(fit))
            continue;
        range_add(&view->days, fit->time / DAY);
        range_add(&view->percent, 100 * fit->ratio);
        if (!has_line || fit->time / DAY >= shown->end) {
            shown->end = fit->time / DAY;
            shown->end_left = 100 * fit->ratio;
        }
        has_line = true;
    }
    view->has_forecast |= has_line && shown->end > shown->last_check + 0.5;
}

static int by_rank(const void *a, const void *b)
{
    const struct shown *first = a, *second = b;
    if (first->end_left != second->end_left)
        return first->end_left < second->end_left ? 1 : -1;
    return (first->number > second->number) - (first->number < second->number);
}

static int by_value(const void *a, const void *b)
{
    double first = *(const double *)a, second = *(const double *)b;
    return (first > second) - (first < second);
}

static double mean_of(const double *values, size_t count)
{
    double sum = 0;
    for (size_t i = 0; i < count; i++)
        sum += values[i];
    return sum / (double)count;
}

/* From 10 days on they are whole on the axis. */
static double on_axis(double days)
{
    return days < 10 ? round(days * 10) / 10 : round(days);
}

/* The first day, the ages of the checks, each once, and the end. */
static size_t find_dates(struct view *view)
{
    size_t all = 3, made = 0, kept = 0;
    for (size_t i = 0; i < view->count; i++)
        all += view->shown[i].model->check_count;
    view->dates = xcalloc(all, sizeof *view->dates);
    for (size_t i = 0; i < view->count; i++)
        for (size_t j = 0; j < view->shown[i].model->check_count; j++)
            if (check_is_drawn(&view->shown[i].model->checks[j]))
                view->dates[made++] = view->shown[i].model->checks[j].time / DAY;
    view->dates[made++] = 0;
    qsort(view->dates, made, sizeof *view->dates, by_value);
    for (size_t from = 0, to; from < made; from = to) {
        double first = view->dates[from];
        for (to = from + 1; to < made && view->dates[to] <= first + alike(first); to++)
            ;
        view->dates[kept++] = on_axis(mean_of(view->dates + from, to - from));
    }
    double end = on_axis(view->days.high);
    if (end > view->dates[kept - 1] + alike(view->dates[kept - 1]))
        view->dates[kept++] = end;
    range_add(&view->days, view->dates[kept - 1]); /* rounded, it may lie beyond */
    return kept;
}

static void gather(struct view *view, const struct retention_chart *chart)
{
    view->count = chart->count;
    view->shown = xcalloc(chart->count + 1, sizeof *view->shown);
    view->days = view->percent = RANGE_EMPTY;
    for (size_t i = 0; i < chart->count; i++) {
        view->shown[i] = (struct shown){.model = &chart->models[i], .number = i};
        measure(view, &view->shown[i]);
        for (size_t j = 0; j < chart->models[i].fit_count; j++)
            view->has_band |= band_is_drawn(&chart->models[i].fit[j]);
    }
    qsort(view->shown, view->count, sizeof *view->shown, by_rank);
    size_t places = view->frame.most;
    for (size_t i = 0; i < view->count; i++) {
        struct shown *shown = &view->shown[i];
        shown->stands_out = shown->end >= 0 && shown->model->style >= 0 && places > 0;
        places -= shown->stands_out;
    }
}

/* 0 to 100 %, more where a cell gave more than when fresh. */
static void plan_axes(struct view *view, double label_room)
{
    struct frame *frame = &view->frame;
    struct range percent = {0, 100};
    if (!range_is_empty(&view->percent) && view->percent.high > 100)
        percent.high = fmin(200, view->percent.high);
    range_add(&view->days, 0);
    view->days.low = 0;
    if (view->days.high <= 0)
        view->days.high = 1;
    view->x = (struct axis){.title = "Days since filled"};
    view->x.own_count = find_dates(view);
    view->x.own = view->dates;
    view->y = (struct axis){.title = "Charge left (% of fresh)"};
    view->y.ticks = ticks_inside(&percent, 5);
    view->plot = (struct box){frame->room.left + axis_left_room(frame, &view->y),
                              frame->room.top + axis_top_room(frame, &view->y),
                              frame->room.right - label_room,
                              frame->room.bottom - axis_bottom_room(frame, &view->x)};
    view->x.scale = (struct scale){0, view->days.high, view->plot.left, view->plot.right};
    view->y.scale = (struct scale){percent.low, percent.high, view->plot.bottom, view->plot.top};
}

static struct point place_of(const struct view *view, double time, double ratio)
{
    return point_at(&view->x.scale, &view->y.scale, time / DAY, 100 * ratio);
}

static void add_fit_band(struct view *view, const struct shown *shown, const char *colour)
{
    size_t count = shown->model->fit_count;
    struct point *upper = xcalloc(2 * count + 1, sizeof *upper), *lower = upper + count;
    for (size_t i = 0; i < count; i++) {
        const struct retention_fit *fit = &shown->model->fit[i];
        upper[i] = place_of(view, fit->time, band_is_drawn(fit) ? fit->high : NAN);
        lower[i] = place_of(view, fit->time, band_is_drawn(fit) ? fit->low : NAN);
    }
    mark_band(view->frame.out, upper, lower, count, colour, 0.14);
    free(upper);
}

/* Solid as far as there are checks, dashed from there; the two share a point. */
static void add_fit(struct view *view, const struct shown *shown, const char *colour, double width)
{
    size_t count = shown->model->fit_count, seen = 0, made = 0;
    struct point *points = xcalloc(count + 2, sizeof *points);
    double turn = scale_at(&view->x.scale, shown->last_check);
    for (size_t i = 0; i < count; i++) {
        struct point next = place_of(view, shown->model->fit[i].time, shown->model->fit[i].ratio);
        bool beyond = point_is_drawn(&next) && next.x > turn + 0.01;
        if (beyond && seen == 0 && made != 0 && point_is_drawn(&points[made - 1])) {
            const struct point *before = &points[made - 1];
            double part = (turn - before->x) / (next.x - before->x);
            double y = before->y + fmax(0, part) * (next.y - before->y);
            points[made++] = (struct point){fmax(turn, before->x), y};
            seen = made;
        } else if (beyond && seen == 0) {
            seen = made + 1; /* all of it is forecast */
        }
        points[made++] = next;
    }
    struct svg_stroke stroke = {.class = "fit", .colour = colour, .width = width};
    if (seen != 1)
        mark_line(view->frame.out, points, seen != 0 ? seen : made, &stroke);
    stroke.dash = "5 4";
    stroke.dash_scale = view->frame.line / 2.5;
    stroke.class = "forecast";
    if (seen != 0)
        mark_line(view->frame.out, points + seen - 1, made - seen + 1, &stroke);
    free(points);
}

static void add_checks(struct view *view, const struct shown *shown, struct series_style style)
{
    for (size_t i = 0; i < shown->model->check_count; i++) {
        const struct retention_mark *check = &shown->model->checks[i];
        struct point place = place_of(view, check->time, check->ratio);
        if (!point_is_drawn(&place))
            continue;
        struct text tip = TEXT_EMPTY;
        text_addf(&tip, "%s, day %.0f: %.1f %%", check->cell != NULL ? check->cell : "a cell",
                  check->time / DAY, 100 * check->ratio);
        struct mark mark = {.shape = style.shape,
                            .class = "check",
                            .colour = style.colour,
                            .radius = 0.8 * view->frame.mark,
                            .opacity = 0.75,
                            .tip = tip.bytes};
        mark_point(view->frame.out, place.x, place.y, &mark);
        text_free(&tip);
    }
}

static void add_model(struct view *view, const struct shown *shown)
{
    struct text *out = view->frame.out;
    struct series_style style = {.colour = OTHERS};
    if (shown->stands_out)
        style = series_style((unsigned)shown->model->style);
    text_addf(out, "<g class=\"%s\" data-series=\"%zu\">\n",
              shown->stands_out ? "series" : "series others", shown->number);
    if (shown->stands_out)
        add_fit_band(view, shown, style.colour);
    add_fit(view, shown, style.colour, (shown->stands_out ? 1 : 0.5) * view->frame.line);
    if (shown->stands_out || shown->model->fit_count == 0)
        add_checks(view, shown, style);
    text_add(out, "</g>\n");
}

/* Labels at the ends; those of the background are left out. */
static size_t make_labels(const struct view *view, struct end_label *labels)
{
    size_t made = 0;
    for (size_t i = 0; i < view->count; i++) {
        const struct shown *shown = &view->shown[i];
        if (!shown->stands_out)
            continue;
        struct end_label *label = &labels[made++];
        *label = (struct end_label){.number = shown->number,
                                    .style = series_style((unsigned)shown->model->style)};
        text_addf(&label->value, "%.0f %%", fabs(shown->end_left) < 0.5 ? 0 : shown->end_left);
        text_add(&label->name, shown->model->name != NULL ? shown->model->name : "");
    }
    return made;
}

static void place_labels(const struct view *view, struct end_label *labels, size_t count)
{
    size_t at = 0;
    for (size_t i = 0; i < view->count && at < count; i++) {
        const struct shown *shown = &view->shown[i];
        if (!shown->stands_out)
            continue;
        labels[at].x = scale_at(&view->x.scale, shown->end);
        labels[at++].y = scale_at(&view->y.scale, shown->end_left);
    }
}

static void describe(struct text *text, const struct view *view)
{
    text_addf(text, "Charge left over days on the shelf, of %zu models.", view->count);
    for (size_t i = 0; i < view->count; i++) {
        const struct shown *shown = &view->shown[i];
        if (shown->end >= 0)
            text_addf(text, " %s: %.0f %% after %.0f days%s.",
                      shown->model->name != NULL ? shown->model->name : "?", shown->end_left,
                      shown->end, shown->end > shown->last_check + 0.5 ? " (forecast)" : "");
    }
}

static void make_aid(struct text *aid, const struct view *view, const char *band)
{
    text_add(aid, "Points: single cells.");
    size_t others = 0;
    for (size_t i = 0; i < view->count; i++)
        others += view->shown[i].end >= 0 && !view->shown[i].stands_out;
    if (others != 0)
        text_addf(aid, " Grey: %zu other model%s.", others, others == 1 ? "" : "s");
    if (view->has_forecast)
        text_add(aid, " Dashed: forecast, to the figures at the right.");
    if (view->has_band)
        text_addf(aid, " Band: %s.", band != NULL && band[0] != '\0' ? band : "not said which");
}

void chart_retention(struct text *out, const struct retention_chart *chart)
{
    struct view view = {0};
    frame_plan(&view.frame, &chart->head, "", 0);
    gather(&view, chart);
    struct text aid = TEXT_EMPTY, description = TEXT_EMPTY;
    make_aid(&aid, &view, chart->band);
    frame_plan(&view.frame, &chart->head, aid.bytes, 0);
    struct end_label *labels = xcalloc(view.count + 1, sizeof *labels);
    size_t label_count = make_labels(&view, labels);
    plan_axes(&view, end_label_room(&view.frame, labels, label_count));
    place_labels(&view, labels, label_count);

    describe(&description, &view);
    frame_open(&view.frame, out, description.bytes);
    axis_left(&view.frame, &view.y, &view.plot);
    axis_bottom(&view.frame, &view.x, &view.plot, false);
    frame_open_plot(&view.frame, &view.plot, &view.x.scale, &view.y.scale, view.frame.mark, 0);
    for (size_t i = view.count; i-- > 0;)
        if (!view.shown[i].stands_out)
            add_model(&view, &view.shown[i]);
    for (size_t i = view.count; i-- > 0;)
        if (view.shown[i].stands_out)
            add_model(&view, &view.shown[i]);
    frame_close_plot(&view.frame);
    end_label_add(&view.frame, &view.plot, labels, label_count);
    if (range_is_empty(&view.percent))
        frame_say(&view.frame, &view.plot, "no checks");
    frame_close(&view.frame);
    end_label_free(labels, label_count);
    text_free(&aid);
    text_free(&description);
    free(view.dates);
    free(view.shown);
}
