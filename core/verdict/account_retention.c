/* Retention in tables: what was left by age, which courses fit, what they forecast. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "verdict/account.h"
#include "verdict/shelf.h"

/* A form that is less than this behind in AICc is as good: see fit.h. */
#define AS_GOOD 2.0

static const struct column age_columns[] = {
    {"group", "model", 'n'},           {"days", "age / d", 'r'},
    {"cells", "cells", 'r'},           {"left", "left / %", 'r'},
    {"interval", "95 % of mean", 'l'}, {"sd", "sd / %", 'r'},
    {"loss", "loss / % a day", 'r'},   {"loss_interval", "95 %", 'l'},
    {"fresh", "compared with", 'l'},   {"temperature", "stored at / degC", 'l'},
    {"note", "to note", 'l'},          {NULL, NULL, 0},
};

static const struct column course_columns[] = {
    {"group", "model", 'n'},  {"form", "course", 'l'},   {"parameters", "parameters", 'l'},
    {"aicc", "AICc", 'r'},    {"behind", "behind", 'r'}, {"best", "taken", 'l'},
    {"note", "to note", 'l'}, {NULL, NULL, 0},
};

static const struct column forecast_columns[] = {
    {"group", "model", 'n'},
    {"at", "after", 'l'},
    {"form", "by", 'l'},
    {"left", "left / %", 'r'},
    {"interval", "95 % of mean", 'l'},
    {"one", "95 % of one more cell", 'l'},
    {"cells", "cells", 'r'},
    {"beyond", "data end at / d", 'r'},
    {"note", "to note", 'l'},
    {NULL, NULL, 0},
};

/* --- by age ----------------------------------------------------------------------------------- */

static void put_temperature(json_t *row, const struct shelf_group *group)
{
    if (isnan(group->temperature_least))
        return;
    if (group->temperature_least < group->temperature_most)
        put_range(row, "temperature", group->temperature_least, group->temperature_most, 1);
    else
        put_text(row, "temperature", "%.3g%s", group->temperature_least,
                 group->some_temperatures ? ", where on record" : "");
}

static json_t *tell_age(struct sheet *sheet, const struct shelf_group *group,
                        const struct shelf_age *age)
{
    const struct summary *left = &age->left;
    json_t *row = sheet_row(sheet), *facts = json_object();
    put_text(row, "group", "%s", group->name.bytes);
    put_text(row, "days", "%.1f", age->days);
    put_text(row, "cells", "%zu", left->count);
    if (isfinite(left->mean))
        put_text(row, "left", "%.2f", 100 * left->mean);
    if (isfinite(left->sd))
        put_text(row, "sd", "%.2f", 100 * left->sd);
    put_range(row, "interval", 100 * left->low, 100 * left->high, 2);
    if (isfinite(age->loss))
        put_text(row, "loss", "%.4f", 100 * age->loss);
    put_range(row, "loss_interval", 100 * age->loss_low, 100 * age->loss_high, 4);
    put_temperature(row, group);
    put_status(row, "note", age->status);
    if (age->status == ANALYSIS_OK && isnan(age->loss))
        put_text(row, "note", "opened at once: there is no loss a day");
    put_number(facts, "days", age->days);
    put_number(facts, "days_least", age->days_least);
    put_number(facts, "days_most", age->days_most);
    json_object_set_new(facts, "cells", json_integer((json_int_t)left->count));
    put_number(facts, "left_percent", 100 * left->mean);
    put_number(facts, "low", 100 * left->low);
    put_number(facts, "high", 100 * left->high);
    put_number(facts, "sd", 100 * left->sd);
    put_number(facts, "loss_percent_a_day", 100 * age->loss);
    put_number(facts, "loss_low", 100 * age->loss_low);
    put_number(facts, "loss_high", 100 * age->loss_high);
    put_status(facts, "statement", age->status);
    if (isfinite(left->mean))
        put_text(row, "fresh", "%s",
                 !group->of_set                  ? "own fresh capacity"
                 : group->of_set == group->count ? "mean of fresh set"
                                                 : "own, or mean of set");
    return facts;
}

static json_t *checks_of(const struct shelf_group *group)
{
    json_t *list = json_array();
    for (size_t i = 0; i < group->count; i++) {
        const struct shelf_check *check = &group->checks[i];
        json_t *one = json_pack("{s:s, s:s}", "cell", check->cell, "compared_with",
                                isnan(check->fresh) ? "nothing"
                                : check->of_set     ? "set"
                                                    : "cell");
        put_number(one, "days", check->days);
        put_number(one, "left_Ah", check->left / 3600);
        put_number(one, "fresh_Ah", check->fresh / 3600);
        put_number(one, "left_percent", 100 * check->left / check->fresh);
        put_number(one, "temperature_degC", check->temperature);
        json_object_set_new(one, "gap", json_boolean(check->gap));
        json_array_append_new(list, one);
    }
    return list;
}

/* --- courses ---------------------------------------------------------------------------------- */

static void put_parameters(json_t *row, const struct fit *fit)
{
    char text[160] = "";
    size_t length = 0;
    static const char *const names[FIT_CHOICES][FIT_PARAMETERS_MOST] = {
        {"a", "b"}, {"a", "k"}, {"a", "b", "p"}};
    int form = 0;
    while (form < FIT_CHOICES && shelf_forms[form] != fit->form)
        form++;
    for (size_t p = 0; form < FIT_CHOICES && p < fit->form->parameters; p++)
        length +=
            (size_t)snprintf(text + length, sizeof text - length, "%s%s %.4g +/- %.2g",
                             p ? ", " : "", names[form][p], fit->value[p], fit->standard_error[p]);
    put_text(row, "parameters", "%s", text);
}

/* Why the form has no criterion. */
static enum analysis_status lack_of(const struct shelf_group *group, int form)
{
    const struct retention_fits *fits = &group->fits;
    enum analysis_status one = fits->by_cell ? ANALYSIS_OK : fits->pooled.status[form];
    if (group->fitted != ANALYSIS_OK)
        return group->fitted;
    return one != ANALYSIS_OK ? one : ANALYSIS_TOO_FEW;
}

/* One line where no form at all could be had. */
static void tell_no_course(struct sheet *sheet, const struct shelf_group *group)
{
    json_t *row = sheet_row(sheet);
    put_text(row, "group", "%s", group->name.bytes);
    put_text(row, "form", "none");
    put_status(row, "note", group->fitted);
}

static json_t *tell_form(struct sheet *sheet, const struct shelf_group *group, int form)
{
    const struct retention_fits *fits = &group->fits;
    const struct fit *fit = &fits->pooled.fits[form];
    bool had = isfinite(fits->aicc[form]);
    bool pooled =
        !fits->by_cell && group->fitted == ANALYSIS_OK && fits->pooled.status[form] == ANALYSIS_OK;
    bool shown = group->fitted == ANALYSIS_OK; /* else one line stands for all */
    json_t *row = shown ? sheet_row(sheet) : json_object();
    json_t *facts = json_pack("{s:s, s:s, s:b}", "form", shelf_forms[form]->name, "formula",
                              shelf_forms[form]->formula, "taken", form == fits->best);
    put_text(row, "group", "%s", group->name.bytes);
    put_text(row, "form", "%s: %s", shelf_forms[form]->name, shelf_forms[form]->formula);
    if (had) {
        put_text(row, "aicc", "%.2f", fits->aicc[form]);
        put_text(row, "behind", "%.2f", fits->aicc[form] - fits->aicc[fits->best]);
        put_text(row, "best", "%s", form == fits->best ? "yes" : "");
    }
    put_number(facts, "aicc", fits->aicc[form]);
    if (pooled) {
        put_parameters(row, fit);
        put_number(facts, "residual_sd", fit->residual_sd);
        put_number(facts, "r_squared", fit->r_squared);
        json_t *values = json_array(), *errors = json_array();
        for (size_t p = 0; p < fit->form->parameters; p++) {
            json_array_append_new(values, json_real(fit->value[p]));
            json_array_append_new(errors, isfinite(fit->standard_error[p])
                                              ? json_real(fit->standard_error[p])
                                              : json_null());
        }
        json_object_set_new(facts, "parameters", values);
        json_object_set_new(facts, "standard_errors", errors);
    }
    if (!had) {
        put_status(row, "note", lack_of(group, form));
        put_status(facts, "statement", lack_of(group, form));
    }
    if (!shown)
        json_decref(row);
    return facts;
}

/* --- forecast --------------------------------------------------------------------------------- */

static const struct {
    const char *name;
    double days;
} ahead[] = {{"1 year", 365.25}, {"2 years", 730.5}};
#define AHEAD_COUNT (sizeof ahead / sizeof *ahead)

/* By one form; with nothing to forecast by, one line says why. */
static void forecast_by(struct sheet *sheet, json_t *list, const struct shelf *shelf,
                        const struct shelf_group *group, int form)
{
    double days[AHEAD_COUNT];
    struct retention_forecast forecast[AHEAD_COUNT] = {{0}};
    for (size_t i = 0; i < AHEAD_COUNT; i++)
        days[i] = ahead[i].days;
    enum analysis_status status = shelf_forecast(shelf, group, form, days, AHEAD_COUNT, forecast);
    for (size_t i = 0; i < AHEAD_COUNT; i++) {
        const struct retention_forecast *f = &forecast[i];
        json_t *facts = json_pack("{s:f}", "days", days[i]);
        json_array_append_new(list, facts);
        put_status(facts, "statement", status);
        if (status != ANALYSIS_OK && i > 0)
            continue;
        json_t *row = sheet_row(sheet);
        put_text(row, "group", "%s", group->name.bytes);
        put_text(row, "at", "%s", status == ANALYSIS_OK ? ahead[i].name : "none");
        put_status(row, "note", status);
        if (status != ANALYSIS_OK)
            continue;
        put_text(row, "form", "%s", shelf_forms[form]->name);
        put_text(row, "left", "%.1f", 100 * f->value);
        put_range(row, "interval", 100 * f->low, 100 * f->high, 1);
        put_range(row, "one", 100 * f->predicted_low, 100 * f->predicted_high, 1);
        put_text(row, "cells", "%zu", f->cells);
        put_text(row, "beyond", "%.0f", group->days_most);
        if (f->extrapolated)
            put_text(row, "note", "forecast: beyond the data%s",
                     f->value > 0 ? "" : "; the course has come to nothing before");
        put_text(facts, "form", "%s", shelf_forms[form]->name);
        put_number(facts, "left_percent", 100 * f->value);
        put_number(facts, "low", 100 * f->low);
        put_number(facts, "high", 100 * f->high);
        put_number(facts, "one_low", 100 * f->predicted_low);
        put_number(facts, "one_high", 100 * f->predicted_high);
        json_object_set_new(facts, "cells", json_integer((json_int_t)f->cells));
        json_object_set_new(facts, "extrapolated", json_boolean(f->extrapolated));
    }
}

/* By the form taken, and by those that the data cannot tell from it: beyond the data they part. */
static json_t *tell_forecast(struct sheet *sheet, const struct shelf *shelf,
                             const struct shelf_group *group)
{
    const struct retention_fits *fits = &group->fits;
    json_t *list = json_array();
    forecast_by(sheet, list, shelf, group, fits->best);
    for (int form = 0; form < FIT_CHOICES && group->fitted == ANALYSIS_OK; form++)
        if (form != fits->best && fits->aicc[form] - fits->aicc[fits->best] < AS_GOOD)
            forecast_by(sheet, list, shelf, group, form);
    return list;
}

/* --- all -------------------------------------------------------------------------------------- */

static void say(struct sheet *ages, struct sheet *courses, struct sheet *forecasts,
                const struct shelf *shelf)
{
    bool by_cell = false, of_set = false;
    size_t again = 0, gaps = 0;
    for (size_t g = 0; g < shelf->count; g++) {
        for (size_t i = 0; i < shelf->groups[g].age_count; i++)
            again += shelf->groups[g].ages[i].again;
        for (size_t i = 0; i < shelf->groups[g].count; i++)
            gaps += shelf->groups[g].checks[i].gap;
        by_cell = by_cell || shelf->groups[g].fits.by_cell;
        of_set = of_set || shelf->groups[g].of_set;
    }
    sheet_note(ages,
               "Age: from the end of the cell's own last charge to the start of the discharge "
               "that found what was left. Loss: the mean over the whole time, not the rate of "
               "any one day.");
    if (of_set)
        sheet_note(ages,
                   "Cells without a fresh capacity of their own are compared with the mean of "
                   "their model's cells that have one; what that mean is unsure of is in the "
                   "forecast, not in the intervals by age.");
    if (again)
        sheet_note(
            ages,
            "%zu check%s not in the table by age: the cell was opened at that age again, and "
            "counts once, by its last. The courses have all.",
            again, again == 1 ? "" : "s");
    note_gaps(ages, gaps);
    if (shelf->no_charge)
        sheet_note(ages, "%zu check%s left out: no charge of the cell is on record before.",
                   shelf->no_charge, shelf->no_charge == 1 ? "" : "s");
    if (shelf->no_fresh)
        sheet_note(ages,
                   "%zu check%s left out of the numbers: there is no fresh reference, neither "
                   "the cell's own nor its model's.",
                   shelf->no_fresh, shelf->no_fresh == 1 ? "" : "s");
    if (shelf->rule)
        sheet_note(courses,
                   "Days are brought to %.3g degC by the rule given: self-discharge %.3g "
                   "times as fast for every 10 K more.",
                   shelf->rule->reference, shelf->rule->q10);
    else
        sheet_note(courses, "Days count as they are: no rule for temperature was given.");
    sheet_note(courses,
               "Taken: the least AICc (Akaike's criterion, corrected for few points). Less "
               "than 2 behind is no reason to prefer one. x in days, as parts of the fresh "
               "charge.");
    if (by_cell)
        sheet_note(courses,
                   "Cells checked repeatedly: each has a fit of its own, and the criterion "
                   "is summed over cells.");
    sheet_note(forecasts,
               "By the course taken, and by those less than 2 behind it: between those the "
               "data do not decide, and an interval holds only if its course is the true "
               "one. Self-discharge starts fast and slows down: a "
               "forecast holds only if the cells go on as they began.");
}

int account_of_retention(struct account *out, const struct history *history,
                         const struct warming_rule *rule, struct error *error)
{
    struct shelf shelf;
    if (shelf_of(&shelf, history, rule, error))
        return error->code;
    account_begin(out);
    struct sheet *ages = account_sheet(out, "Charge left after storage", age_columns);
    struct sheet *courses = account_sheet(out, "Courses that were fitted to it", course_columns);
    struct sheet *forecasts = account_sheet(out, "Forecast", forecast_columns);
    for (size_t g = 0; g < shelf.count; g++) {
        const struct shelf_group *group = &shelf.groups[g];
        json_t *facts = json_pack("{s:s, s:s}", "model", history->models[group->model].name, "arm",
                                  group->arm.bytes);
        json_t *by_age = json_array(), *forms = json_array();
        for (size_t i = 0; i < group->age_count; i++)
            json_array_append_new(by_age, tell_age(ages, group, &group->ages[i]));
        for (int form = 0; form < FIT_CHOICES; form++)
            json_array_append_new(forms, tell_form(courses, group, form));
        if (group->fitted != ANALYSIS_OK)
            tell_no_course(courses, group);
        json_object_set_new(facts, "ages", by_age);
        json_object_set_new(facts, "courses", forms);
        json_object_set_new(facts, "fitted_by_cell", json_boolean(group->fits.by_cell));
        json_object_set_new(facts, "forecast", tell_forecast(forecasts, &shelf, group));
        json_object_set_new(facts, "checks", checks_of(group));
        json_array_append_new(out->document, facts);
    }
    say(ages, courses, forecasts, &shelf);
    shelf_free(&shelf);
    return 0;
}
