/* Gathering storage checks and fitting their course. */
#include "cli/shelf.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "analysis/retention.h"
#include "cli/drawing.h"
#include "logbook/studies.h"

#define DAY (86400.0 * US_PER_S)

/* --- checks
 * ------------------------------------------------------------------------------------ */

static double fresh_before(const json_t *capacities, utc_us at)
{
    double fresh = NAN;
    size_t i;
    json_t *row;
    json_array_foreach(capacities, i, row)
    {
        if (row_instant(row, "at") < at)
            fresh = 3600 * row_number(row, "value");
    }
    return fresh;
}

static int take_check(struct shelf *shelf, struct shelf_model *model,
                      const struct evidence *evidence, const json_t *cell, const json_t *result,
                      const json_t *capacities, struct error *error)
{
    const char *label = row_text(cell, "label");
    const json_t *step =
        step_of(evidence, label, json_integer_value(json_object_get(result, "step")));
    utc_us began = step ? row_instant(step, "started_at") : 0, charged = 0;
    double fresh = fresh_before(capacities, began);
    if (began &&
        logbook_last_charge(evidence->logbook, json_integer_value(json_object_get(cell, "id")),
                            began, &charged, error))
        return error->code;
    if (!charged || !(fresh > 0) || strcmp(row_text(result, "unit"), "Ah") != 0) {
        shelf->left_out++;
        return 0;
    }
    model->checks = xrealloc(model->checks, (model->count + 1) * sizeof *model->checks);
    struct shelf_check *check = &model->checks[model->count++];
    *check = (struct shelf_check){.cell = label,
                                  .days = (double)(began - charged) / DAY,
                                  .left = 3600 * row_number(result, "value"),
                                  .fresh = fresh,
                                  .temperature = NAN};
    model->days_least = fmin(model->days_least, check->days);
    model->days_most = fmax(model->days_most, check->days);
    return 0;
}

static int gather(struct shelf *shelf, struct shelf_model *out, const struct evidence *evidence,
                  const struct evidence_model *model, struct error *error)
{
    size_t i, j;
    json_t *cell, *row;
    *out = (struct shelf_model){.model = model, .days_least = INFINITY, .days_most = 0};
    json_array_foreach(model->cells, i, cell)
    {
        const char *label = row_text(cell, "label");
        json_t *left = results_of(evidence, label, "remaining");
        json_t *capacities = results_of(evidence, label, "capacity");
        json_array_foreach(left, j, row)
        {
            if (!error->code)
                take_check(shelf, out, evidence, cell, row, capacities, error);
        }
        json_decref(left);
        json_decref(capacities);
    }
    return error->code;
}

/* --- course
 * ------------------------------------------------------------------------------------ */

static void fit(struct shelf_model *model, double ahead)
{
    static const struct fit_form *const forms[FIT_CHOICES] = {&fit_line, &fit_exponential,
                                                              &fit_power};
    struct retention_check *checks = xcalloc(model->count, sizeof *checks);
    struct retention_forecast *forecast = xcalloc(SHELF_FIT, sizeof *forecast);
    struct retention_fits fits;
    double days[SHELF_FIT];
    for (size_t i = 0; i < model->count; i++) {
        size_t cell = 0; /* the first check of the same cell numbers it */
        while (strcmp(model->checks[cell].cell, model->checks[i].cell) != 0)
            cell++;
        checks[i] = (struct retention_check){.cell = cell,
                                             .days = model->checks[i].days,
                                             .left = model->checks[i].left,
                                             .fresh = model->checks[i].fresh,
                                             .rated = model->model->rated,
                                             .temperature = model->checks[i].temperature};
    }
    struct retention_arm arm = {.checks = checks, .count = model->count};
    double from = model->days_least, to = ceil(ahead * model->days_most);
    for (size_t i = 0; i < SHELF_FIT; i++)
        days[i] = from + (to - from) * (double)i / (SHELF_FIT - 1);
    enum analysis_status status = retention_fit(&arm, &fits);
    if (status == ANALYSIS_OK && fits.best < 0)
        status = ANALYSIS_NO_FIT;
    if (status == ANALYSIS_OK)
        status =
            retention_forecast(&arm, forms[fits.best], days, SHELF_FIT, SHELF_CONFIDENCE, forecast);
    if (status == ANALYSIS_OK) {
        model->fit = xcalloc(SHELF_FIT, sizeof *model->fit);
        model->fit_count = SHELF_FIT;
        model->form = forms[fits.best]->name;
        for (size_t i = 0; i < SHELF_FIT; i++)
            model->fit[i] =
                (struct shelf_point){days[i], forecast[i].value, forecast[i].low, forecast[i].high};
    } else {
        model->why_no_fit = analysis_status_text(status);
    }
    free(checks);
    free(forecast);
}

int shelf_of(struct shelf *out, const struct evidence *evidence, double ahead, struct error *error)
{
    *out = (struct shelf){.models = xcalloc(evidence->model_count + 1, sizeof *out->models)};
    for (size_t m = 0; m < evidence->model_count && !error->code; m++) {
        struct shelf_model *model = &out->models[out->count];
        gather(out, model, evidence, &evidence->models[m], error);
        if (model->count)
            out->count++;
    }
    if (!error->code && !out->count)
        error_set(error, ERROR_FAILED, "retention",
                  "measure capacity, charge, store, then run drain: see study-shelf",
                  "no cell on record was measured fresh, charged, stored and then drained");
    for (size_t m = 0; m < out->count && !error->code; m++)
        fit(&out->models[m], ahead);
    if (error->code)
        shelf_free(out);
    return error->code;
}

void shelf_free(struct shelf *shelf)
{
    for (size_t m = 0; m < shelf->count; m++) {
        free(shelf->models[m].checks);
        free(shelf->models[m].fit);
    }
    free(shelf->models);
    *shelf = (struct shelf){0};
}

/* Checks count as of an age within a twentieth of it. */
static bool mean_near(const struct shelf_model *model, double days, double *mean)
{
    double sum = 0;
    size_t count = 0;
    for (size_t i = 0; i < model->count; i++) {
        if (fabs(model->checks[i].days - days) <= 0.05 * days) {
            sum += model->checks[i].left / model->checks[i].fresh;
            count++;
        }
    }
    *mean = sum / (double)count;
    return count > 0;
}

bool shelf_at(const struct shelf_model *model, double days, struct shelf_point *out)
{
    *out = (struct shelf_point){days, NAN, NAN, NAN};
    for (size_t i = 1; i < model->fit_count; i++) {
        const struct shelf_point *a = &model->fit[i - 1], *b = &model->fit[i];
        if (days < a->days || days > b->days)
            continue;
        double part = (days - a->days) / (b->days - a->days);
        out->value = a->value + part * (b->value - a->value);
        out->low = a->low + part * (b->low - a->low);
        out->high = a->high + part * (b->high - a->high);
        return true;
    }
    return mean_near(model, days, &out->value);
}
