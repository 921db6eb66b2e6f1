/* Retention: what was left after storage, by age, with the course that fits it. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "cli/drawing.h"
#include "cli/shelf.h"
#include "report/chart_retention.h"

#define DAY_S 86400.0
/* How far the curves go on beyond the last check: a quarter, marked as a forecast. */
#define AHEAD 1.25

static void convert(const struct shelf_model *from, struct retention_model *to)
{
    struct retention_check *checks = xcalloc(from->count, sizeof *checks);
    struct retention_fit *fit = xcalloc(from->fit_count + 1, sizeof *fit);
    for (size_t i = 0; i < from->count; i++)
        checks[i] = (struct retention_check){from->checks[i].days * DAY_S,
                                             from->checks[i].left / from->checks[i].fresh,
                                             from->checks[i].cell};
    for (size_t i = 0; i < from->fit_count; i++)
        fit[i] = (struct retention_fit){from->fit[i].days * DAY_S, from->fit[i].value,
                                        from->fit[i].low, from->fit[i].high};
    *to = (struct retention_model){.name = from->model->name,
                                   .style = from->model->style,
                                   .checks = checks,
                                   .check_count = from->count,
                                   .fit = fit,
                                   .fit_count = from->fit_count};
}

/* The oldest age that all models were checked at, so that none is judged by a forecast. */
static double common_age(const struct shelf *shelf)
{
    double days = INFINITY;
    for (size_t m = 0; m < shelf->count; m++)
        days = fmin(days, shelf->models[m].days_most);
    return days;
}

/* Who has kept the most; where the bands overlap, nobody is named alone. */
static void find(const struct shelf *shelf, struct text *title)
{
    double days = common_age(shelf);
    struct shelf_point best = {0, NAN, NAN, NAN}, second = best, here;
    const char *first = NULL;
    for (size_t m = 0; m < shelf->count; m++) {
        if (!shelf_at(&shelf->models[m], days, &here))
            continue;
        if (!first || here.value > best.value) {
            second = best;
            best = here;
            first = shelf->models[m].model->said;
        } else if (!isfinite(second.value) || here.value > second.value) {
            second = here;
        }
    }
    if (!first)
        text_add(title, "Charge left after storage");
    else if (shelf->count == 1)
        text_addf(title,
                  "%s keeps %.0f\xc2\xa0%% of its fresh charge for %.0f\xc2\xa0"
                  "days",
                  first, 100 * best.value, days);
    else if (best.low > second.high)
        text_addf(title,
                  "After %.0f\xc2\xa0"
                  "days %s has kept the most, %.0f\xc2\xa0%%; the next %.0f\xc2\xa0%%",
                  days, first, 100 * best.value, 100 * second.value);
    else
        text_addf(title,
                  "After %.0f\xc2\xa0"
                  "days %.0f\xc2\xa0%% is left at best, in %s; the next, "
                  "%.0f\xc2\xa0%%, %s",
                  days, 100 * best.value, first, 100 * second.value,
                  isfinite(best.low) && isfinite(second.high)
                      ? "is too close to tell"
                      : "may be as good: how sure this is cannot be said");
}

static void say(const struct shelf *shelf, const struct evidence *evidence, struct text *conditions,
                struct text *note)
{
    size_t checks = 0;
    for (size_t m = 0; m < shelf->count; m++)
        checks += shelf->models[m].count;
    text_addf(conditions,
              "Discharged as found, compared with each cell's own capacity before; %zu check%s.",
              checks, checks == 1 ? "" : "s");
    /* Said once where it is the same for all. */
    const struct shelf_model *first = &shelf->models[0];
    bool alike = true, none = true;
    for (size_t m = 0; m < shelf->count; m++) {
        const struct shelf_model *model = &shelf->models[m];
        alike = alike && model->form && first->form && strcmp(model->form, first->form) == 0;
        none = none && model->why_no_fit && first->why_no_fit &&
               strcmp(model->why_no_fit, first->why_no_fit) == 0;
    }
    if (alike)
        text_addf(note, "Curves: %s. ", first->form);
    else if (none)
        text_addf(note, "No curves: %s. ", first->why_no_fit);
    for (size_t m = 0; m < shelf->count && !alike && !none; m++)
        text_addf(note, "%s: %s%s. ", shelf->models[m].model->said,
                  shelf->models[m].form ? "" : "no curve, ",
                  shelf->models[m].form ? shelf->models[m].form : shelf->models[m].why_no_fit);
    if (shelf->left_out)
        text_addf(note, "%zu check%s left out: no charge or capacity before. ", shelf->left_out,
                  shelf->left_out == 1 ? "" : "s");
    evidence_source(evidence, note);
}

int draw_retention(struct text *out, const struct drawing *drawing, struct error *error)
{
    struct shelf shelf;
    if (shelf_of(&shelf, drawing->evidence, AHEAD, error))
        return error->code;
    struct retention_model *models = xcalloc(shelf.count, sizeof *models);
    struct text title = TEXT_EMPTY, conditions = TEXT_EMPTY, note = TEXT_EMPTY;
    for (size_t m = 0; m < shelf.count; m++)
        convert(&shelf.models[m], &models[m]);
    find(&shelf, &title);
    say(&shelf, drawing->evidence, &conditions, &note);
    struct retention_chart chart = {.head = {.preset = drawing->preset,
                                             .id = drawing->id ? drawing->id : "retention",
                                             .title = title.bytes,
                                             .conditions = conditions.bytes,
                                             .note = note.bytes},
                                    .models = models,
                                    .count = shelf.count,
                                    .band = "95 % interval of the mean curve"};
    chart_retention(out, &chart);
    for (size_t m = 0; m < shelf.count; m++) {
        free((struct retention_check *)models[m].checks);
        free((struct retention_fit *)models[m].fit);
    }
    free(models);
    if (drawing->finding)
        text_add(drawing->finding, title.bytes);
    text_free(&title);
    text_free(&conditions);
    text_free(&note);
    shelf_free(&shelf);
    return 0;
}
