/* Retention: what was left after storage, by age, with the course that fits it. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "report/chart_retention.h"
#include "verdict/drawing.h"
#include "verdict/shelf.h"

#define DAY_S 86400.0
/* How far the curves go on beyond the last check: a quarter, marked as a forecast. */
#define AHEAD  1.25
#define POINTS 60 /* of a curve */

/* One group as it is drawn. */
struct course {
    const struct shelf_group *group;
    struct retention_forecast fit[POINTS];
    enum analysis_status status; /* OK: there is a curve */
    char *said;                  /* its name for sentences */
};

static void follow(const struct shelf *shelf, const struct shelf_group *group,
                   const struct evidence *evidence, struct course *out)
{
    double days[POINTS], from = group->days_least, to = ceil(AHEAD * group->days_most);
    for (size_t i = 0; i < POINTS; i++)
        days[i] = from + (to - from) * (double)i / (POINTS - 1);
    *out = (struct course){.group = group};
    out->status = shelf_forecast(shelf, group, group->fits.best, days, POINTS, out->fit);
    struct text said = TEXT_EMPTY;
    evidence_say(&said, evidence, group->name.bytes);
    out->said = said.bytes;
}

static int style_of(const struct evidence *evidence, const char *model)
{
    for (size_t m = 0; m < evidence->model_count; m++)
        if (strcmp(evidence->models[m].name, model) == 0)
            return evidence->models[m].style;
    return 0;
}

static void convert(const struct course *from, const struct history *history,
                    const struct evidence *evidence, struct retention_model *to)
{
    const struct shelf_group *group = from->group;
    struct retention_mark *checks = xcalloc(group->count, sizeof *checks);
    struct retention_fit *fit = xcalloc(POINTS, sizeof *fit);
    size_t count = 0;
    for (size_t i = 0; i < group->count; i++)
        if (isfinite(group->checks[i].fresh))
            checks[count++] = (struct retention_mark){
                group->checks[i].days * DAY_S, group->checks[i].left / group->checks[i].fresh,
                group->checks[i].cell};
    for (size_t i = 0; i < POINTS; i++)
        fit[i] = (struct retention_fit){from->fit[i].days * DAY_S, from->fit[i].value,
                                        from->fit[i].low, from->fit[i].high};
    /* A model's further arms have styles of their own, beyond those of the models. */
    *to = (struct retention_model){.name = group->name.bytes,
                                   .style = style_of(evidence, history->models[group->model].name) +
                                            group->number * (int)evidence->model_count,
                                   .checks = checks,
                                   .check_count = count,
                                   .fit = fit,
                                   .fit_count = from->status == ANALYSIS_OK ? POINTS : 0};
}

/* What the curve, or without one the checks of that age, say is left at an age; low and high NAN
 * where not known. False when nothing is known there. */
static bool left_at(const struct course *course, double days, struct retention_forecast *out)
{
    const struct shelf_group *group = course->group;
    *out = (struct retention_forecast){days, NAN, NAN, NAN, NAN, NAN, false, 0};
    for (size_t i = 1; i < POINTS && course->status == ANALYSIS_OK; i++) {
        const struct retention_forecast *a = &course->fit[i - 1], *b = &course->fit[i];
        if (days < a->days || days > b->days)
            continue;
        double part = (days - a->days) / (b->days - a->days);
        out->value = a->value + part * (b->value - a->value);
        out->low = a->low + part * (b->low - a->low);
        out->high = a->high + part * (b->high - a->high);
        return true;
    }
    for (size_t i = 0; i < group->age_count; i++)
        if (history_same_age(group->ages[i].days, days) && isfinite(group->ages[i].left.mean)) {
            out->value = group->ages[i].left.mean;
            out->low = group->ages[i].left.low;
            out->high = group->ages[i].left.high;
        }
    return isfinite(out->value);
}

/* The oldest age that all were checked at, so that none is judged by a forecast. */
static double common_age(const struct shelf *shelf)
{
    double days = INFINITY;
    for (size_t g = 0; g < shelf->count; g++)
        days = fmin(days, shelf->groups[g].days_most);
    return days;
}

/* Who has kept the most; where its band overlaps that of another, which may well not be the next,
 * it is said of the best of these that they cannot be told apart. */
static void find(const struct shelf *shelf, const struct course *courses, struct text *title)
{
    double days = common_age(shelf);
    const struct retention_forecast none = {.value = NAN, .low = NAN, .high = NAN};
    struct retention_forecast best = none, second = none, rival = none, here;
    size_t leader = 0, close = 0;
    for (size_t g = 0; g < shelf->count; g++)
        if (left_at(&courses[g], days, &here) && !(here.value <= best.value)) {
            best = here;
            leader = g;
        }
    for (size_t g = 0; g < shelf->count; g++) {
        if (g == leader || !left_at(&courses[g], days, &here))
            continue;
        if (!(here.value <= second.value))
            second = here;
        if (!(best.low > here.high) && !(here.value <= rival.value)) {
            rival = here;
            close = g;
        }
    }
    if (!isfinite(best.value))
        text_add(title, "Charge left after storage");
    else if (!isfinite(second.value))
        text_addf(title,
                  "%s keeps %.0f\xc2\xa0%% of its fresh charge for %.0f\xc2\xa0"
                  "days",
                  courses[leader].said, 100 * best.value, days);
    else if (!isfinite(rival.value))
        text_addf(title,
                  "After %.0f\xc2\xa0"
                  "days %s has kept the most, %.0f\xc2\xa0%%; the next %.0f\xc2\xa0%%",
                  days, courses[leader].said, 100 * best.value, 100 * second.value);
    else
        text_addf(title,
                  "After %.0f\xc2\xa0"
                  "days %.0f\xc2\xa0%% is left at best, in %s; %s, %.0f\xc2\xa0%%, %s",
                  days, 100 * best.value, courses[leader].said, courses[close].said,
                  100 * rival.value,
                  isfinite(best.low) && isfinite(rival.high)
                      ? "cannot be told apart from it"
                      : "may be as good: how sure this is cannot be said");
}

static const char *form_of(const struct course *course)
{
    return course->status == ANALYSIS_OK ? shelf_forms[course->group->fits.best]->name
                                         : analysis_status_text(course->status);
}

/* Each form of curve once, with those that have it. */
static void say_forms(const struct shelf *shelf, const struct course *courses, struct text *note)
{
    for (size_t g = 0; g < shelf->count; g++) {
        const char *form = form_of(&courses[g]);
        size_t first = 0;
        while (strcmp(form_of(&courses[first]), form) != 0)
            first++;
        if (first < g)
            continue;
        text_addf(note, "%s%s: %s", courses[g].status == ANALYSIS_OK ? "" : "no curve, ", form,
                  courses[g].said);
        for (size_t k = g + 1; k < shelf->count; k++)
            if (strcmp(form_of(&courses[k]), form) == 0)
                text_addf(note, "; %s", courses[k].said);
        text_add(note, ". ");
    }
}

static void say(const struct shelf *shelf, const struct course *courses,
                const struct evidence *evidence, struct text *conditions, struct text *note)
{
    size_t checks = 0, of_set = 0;
    bool alike = true;
    for (size_t g = 0; g < shelf->count; g++) {
        checks += shelf->groups[g].count;
        of_set += shelf->groups[g].of_set;
        alike = alike && (courses[g].status == ANALYSIS_OK) == (courses[0].status == ANALYSIS_OK) &&
                strcmp(form_of(&courses[g]), form_of(&courses[0])) == 0;
    }
    text_addf(conditions,
              "Discharged as found, compared with each cell's own capacity before; %zu check%s.",
              checks, checks == 1 ? "" : "s");
    /* Said once where it is the same for all. */
    if (alike)
        text_addf(note, "%s: %s. ", courses[0].status == ANALYSIS_OK ? "Curves" : "No curves",
                  form_of(&courses[0]));
    else
        say_forms(shelf, courses, note);
    if (of_set)
        text_addf(note,
                  "%zu check%s compared with the mean of the model's fresh cells, for lack of an "
                  "own capacity. ",
                  of_set, of_set == 1 ? "" : "s");
    size_t left_out = shelf->no_charge + shelf->no_fresh;
    if (left_out)
        text_addf(note, "%zu check%s left out: no charge or capacity before. ", left_out,
                  left_out == 1 ? "" : "s");
    evidence_source(evidence, note);
}

int draw_retention(struct text *out, const struct drawing *drawing, struct error *error)
{
    const struct history *history = &drawing->evidence->history;
    struct shelf shelf;
    if (shelf_of(&shelf, history, NULL, error))
        return error->code;
    struct course *courses = xcalloc(shelf.count, sizeof *courses);
    struct retention_model *models = xcalloc(shelf.count, sizeof *models);
    struct chart_words words = CHART_WORDS_NONE;
    for (size_t m = 0; m < shelf.count; m++) {
        follow(&shelf, &shelf.groups[m], drawing->evidence, &courses[m]);
        convert(&courses[m], history, drawing->evidence, &models[m]);
    }
    find(&shelf, courses, &words.title);
    say(&shelf, courses, drawing->evidence, &words.conditions, &words.note);
    struct retention_chart chart = {.head = chart_words_head(drawing, "retention", &words),
                                    .models = models,
                                    .count = shelf.count,
                                    .band = "95 % interval of the mean curve"};
    chart_retention(out, &chart);
    for (size_t m = 0; m < shelf.count; m++) {
        free((struct retention_mark *)models[m].checks);
        free((struct retention_fit *)models[m].fit);
        free(courses[m].said);
    }
    free(models);
    free(courses);
    chart_words_done(drawing, &words);
    shelf_free(&shelf);
    return 0;
}
