/* Gathering storage checks and fitting their course. */
#include "verdict/shelf.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

const struct fit_form *const shelf_forms[FIT_CHOICES] = {&fit_line, &fit_exponential, &fit_power};

/* --- checks ----------------------------------------------------------------------------------- */

static struct shelf_group *group_of(struct shelf *shelf, const struct history *history,
                                    const struct subject *subject)
{
    for (size_t g = 0; g < shelf->count; g++)
        if (shelf->groups[g].model == subject->model &&
            strcmp(shelf->groups[g].arm.bytes, subject->arm) == 0)
            return &shelf->groups[g];
    struct shelf_group *group = &shelf->groups[shelf->count++];
    *group = (struct shelf_group){.model = subject->model,
                                  .days_least = INFINITY,
                                  .days_most = -INFINITY,
                                  .temperature_least = NAN,
                                  .temperature_most = NAN};
    text_add(&group->arm, subject->arm);
    text_add(&group->name, history->models[subject->model].name);
    return group;
}

static void take_check(struct shelf *shelf, const struct history *history,
                       const struct subject *subject, const struct check *check)
{
    if (isnan(check->days) || strcmp(check->unit, "Ah") != 0) {
        shelf->no_charge++;
        return;
    }
    struct shelf_group *group = group_of(shelf, history, subject);
    struct fresh fresh = history_fresh(history, subject, check);
    shelf->no_fresh += isnan(fresh.charge);
    group->checks = xrealloc(group->checks, (group->count + 1) * sizeof *group->checks);
    group->checks[group->count] = (struct shelf_check){.cell = subject->label,
                                                       .turn = group->count,
                                                       .days = check->days,
                                                       .left = 3600 * check->value,
                                                       .fresh = fresh.charge,
                                                       .temperature = check->temperature,
                                                       .storage = check->storage,
                                                       .of_set = fresh.of_set,
                                                       .gap = check->gap || fresh.gap};
    group->count++;
    if (fresh.of_set && isfinite(fresh.charge)) {
        group->of_set++;
        group->set = (struct fresh_set){fresh.relative, (double)fresh.cells - 1};
    }
    group->days_least = fmin(group->days_least, check->days);
    group->days_most = fmax(group->days_most, check->days);
    group->temperature_least = fmin(group->temperature_least, check->temperature);
    group->temperature_most = fmax(group->temperature_most, check->temperature);
    group->some_temperatures = group->some_temperatures || isnan(check->temperature);
}

/* --- arms ------------------------------------------------------------------------------------ */

static void free_group(struct shelf_group *group)
{
    text_free(&group->arm);
    text_free(&group->name);
    free(group->checks);
    free(group->ages);
}

/* Sets that only differ in the age at which they are opened are one treatment, whatever the study
 * calls them: all that it says of their storage is the same, the temperature is among it, and no
 * age is common to both, so that nothing is there to compare them by. */
static bool are_one(const struct shelf_group *a, const struct shelf_group *b)
{
    bool one = a->model == b->model && isfinite(a->checks[0].temperature);
    for (size_t i = 0; i < a->count && one; i++)
        for (size_t k = 0; k < b->count && one; k++)
            one = strcmp(a->checks[i].storage, b->checks[k].storage) == 0 &&
                  !history_same_age(a->checks[i].days, b->checks[k].days);
    return one;
}

static void join(struct shelf_group *to, struct shelf_group *from)
{
    to->checks = xrealloc(to->checks, (to->count + from->count) * sizeof *to->checks);
    memcpy(&to->checks[to->count], from->checks, from->count * sizeof *from->checks);
    for (size_t i = 0; i < from->count; i++)
        to->checks[to->count + i].turn += to->count;
    to->count += from->count;
    if (from->of_set)
        to->set = from->set;
    to->of_set += from->of_set;
    to->days_least = fmin(to->days_least, from->days_least);
    to->days_most = fmax(to->days_most, from->days_most);
    text_addf(&to->arm, " and %s", from->arm.bytes[0] ? from->arm.bytes : "no arm");
    free_group(from);
}

static void join_groups(struct shelf *shelf)
{
    for (size_t g = 0; g < shelf->count; g++) {
        struct shelf_group *group = &shelf->groups[g];
        for (size_t k = g + 1; k < shelf->count;) {
            if (!are_one(group, &shelf->groups[k])) {
                k++;
                continue;
            }
            join(group, &shelf->groups[k]);
            shelf->count--;
            memmove(&shelf->groups[k], &shelf->groups[k + 1],
                    (shelf->count - k) * sizeof *shelf->groups);
        }
    }
}

/* A model with several arms is named with each. */
static void name_groups(struct shelf *shelf)
{
    for (size_t g = 0; g < shelf->count; g++) {
        struct shelf_group *group = &shelf->groups[g];
        size_t arms = 0;
        for (size_t k = 0; k < shelf->count; k++) {
            if (k == g)
                group->number = (int)arms;
            arms += shelf->groups[k].model == group->model;
        }
        if (arms > 1)
            history_add_arm(&group->name, group->arm.bytes);
    }
}

/* --- ages ------------------------------------------------------------------------------------- */

static int by_age(const void *a, const void *b)
{
    double x = ((const struct shelf_check *)a)->days, y = ((const struct shelf_check *)b)->days;
    return (x > y) - (x < y);
}

/* Whether a later check of the same cell is among them. A cell counts once, however often. */
static bool is_superseded(const struct shelf_check *checks, size_t count, size_t i)
{
    for (size_t k = 0; k < count; k++)
        if (checks[k].turn > checks[i].turn && strcmp(checks[k].cell, checks[i].cell) == 0)
            return true;
    return false;
}

static struct shelf_age age_of(const struct shelf_check *checks, size_t count, double *values)
{
    struct shelf_age age = {.days_least = checks[0].days, .days_most = checks[count - 1].days};
    size_t known = 0, cells = 0;
    for (size_t i = 0; i < count; i++) {
        if (is_superseded(checks, count, i))
            continue;
        age.days += checks[i].days;
        cells++;
        if (isfinite(checks[i].fresh))
            values[known++] = checks[i].left / checks[i].fresh;
    }
    age.again = count - cells;
    age.days /= (double)cells;
    age.status = summary_of(values, known, SHELF_CONFIDENCE, &age.left);
    age.loss = age.loss_low = age.loss_high = NAN;
    if (!known)
        age.status = ANALYSIS_NO_REFERENCE;
    if (age.days == 0) /* opened at once: what is left is known, a loss a day is not */
        return age;
    /* The band of the loss is that of what is left, turned round. */
    enum analysis_status status = retention_loss_a_day(age.left.mean, age.days, &age.loss);
    if (known && status != ANALYSIS_OK)
        age.status = status;
    if (isfinite(age.loss)) {
        age.loss_low = (1 - age.left.high) / age.days;
        age.loss_high = (1 - age.left.low) / age.days;
    }
    return age;
}

static void sort_into_ages(struct shelf_group *group)
{
    double *values = xcalloc(group->count, sizeof *values);
    qsort(group->checks, group->count, sizeof *group->checks, by_age);
    group->ages = xcalloc(group->count, sizeof *group->ages);
    for (size_t from = 0, to; from < group->count; from = to) {
        for (to = from + 1; to < group->count &&
                            history_same_age(group->checks[to].days, group->checks[from].days);)
            to++;
        group->ages[group->age_count++] = age_of(&group->checks[from], to - from, values);
    }
    free(values);
}

/* --- course ----------------------------------------------------------------------------------- */

/* The arm as the analysis wants it; .checks is the caller's to free. */
static struct retention_arm arm_of(const struct shelf *shelf, const struct shelf_group *group)
{
    struct retention_check *checks = xcalloc(group->count, sizeof *checks);
    size_t count = 0;
    for (size_t i = 0; i < group->count; i++) {
        size_t cell = 0; /* the first check of the same cell numbers it */
        if (isnan(group->checks[i].fresh))
            continue;
        while (strcmp(group->checks[cell].cell, group->checks[i].cell) != 0)
            cell++;
        checks[count++] = (struct retention_check){.cell = cell,
                                                   .days = group->checks[i].days,
                                                   .left = group->checks[i].left,
                                                   .fresh = group->checks[i].fresh,
                                                   .rated = 1, /* one model, one rating */
                                                   .temperature = group->checks[i].temperature};
    }
    return (struct retention_arm){.checks = checks,
                                  .count = count,
                                  .rule = shelf->rule,
                                  .fresh = group->of_set ? &group->set : NULL};
}

static void fit(const struct shelf *shelf, struct shelf_group *group)
{
    struct retention_arm arm = arm_of(shelf, group);
    group->fitted = retention_fit(&arm, &group->fits);
    if (!arm.count)
        group->fitted = ANALYSIS_NO_REFERENCE;
    if (group->fitted == ANALYSIS_OK && group->fits.best < 0)
        group->fitted = ANALYSIS_NO_FIT;
    free((struct retention_check *)arm.checks);
}

enum analysis_status shelf_forecast(const struct shelf *shelf, const struct shelf_group *group,
                                    int form, const double *days, size_t count,
                                    struct retention_forecast *out)
{
    struct retention_arm arm = arm_of(shelf, group);
    enum analysis_status status = group->fitted;
    if (status == ANALYSIS_OK)
        status = retention_forecast(&arm, shelf_forms[form], days, count, SHELF_CONFIDENCE, out);
    free((struct retention_check *)arm.checks);
    return status;
}

/* --- all -------------------------------------------------------------------------------------- */

int shelf_of(struct shelf *out, const struct history *history, const struct warming_rule *rule,
             struct error *error)
{
    *out = (struct shelf){.groups = xcalloc(history->count + 1, sizeof *out->groups), .rule = rule};
    for (size_t m = 0; m < history->model_count; m++) {
        for (size_t i = 0; i < history->count; i++) {
            const struct subject *subject = &history->subjects[i];
            if (subject->model != m || subject->aside)
                continue;
            for (size_t k = history_next(subject, "remaining", 0); k < subject->count;
                 k = history_next(subject, "remaining", k + 1))
                take_check(out, history, subject, &subject->checks[k]);
        }
    }
    if (!out->count)
        error_set(error, ERROR_FAILED, "retention",
                  "measure capacity, charge, store, then run drain: see study-shelf",
                  out->no_charge ? "what was left is on record, but no charge before it"
                                 : "no cell on record was measured fresh, charged, stored and "
                                   "then drained");
    join_groups(out);
    name_groups(out);
    for (size_t g = 0; g < out->count; g++) {
        sort_into_ages(&out->groups[g]);
        fit(out, &out->groups[g]);
    }
    if (error->code)
        shelf_free(out);
    return error->code;
}

void shelf_free(struct shelf *shelf)
{
    for (size_t g = 0; g < shelf->count; g++)
        free_group(&shelf->groups[g]);
    free(shelf->groups);
    *shelf = (struct shelf){0};
}
