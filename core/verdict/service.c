/* Gathering cells in service and fitting their courses. */
#include "verdict/service.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

const struct fit_form *const service_forms[FIT_CHOICES] = {&fit_line, &fit_exponential, &fit_power};

/* --- cells ------------------------------------------------------------------------------------ */

static struct service_group *group_of(struct service *service, const struct history *history,
                                      const struct subject *subject)
{
    for (size_t g = 0; g < service->count; g++)
        if (service->groups[g].model == subject->model &&
            strcmp(service->groups[g].arm, subject->arm) == 0)
            return &service->groups[g];
    struct service_group *group = &service->groups[service->count++];
    *group =
        (struct service_group){.model = subject->model,
                               .arm = subject->arm,
                               .capacities = xcalloc(history->count, sizeof *group->capacities),
                               .resistances = xcalloc(history->count, sizeof *group->resistances),
                               .cycles_least = INFINITY,
                               .cycles_most = -INFINITY};
    text_add(&group->name, history->models[subject->model].name);
    return group;
}

static struct service_course course_of(const struct subject *subject, const char *name,
                                       double factor, const char *script)
{
    struct service_course course = {.subject = subject,
                                    .cycles = xcalloc(subject->count + 1, sizeof(double)),
                                    .values = xcalloc(subject->count + 1, sizeof(double)),
                                    .script = script};
    for (size_t i = history_next(subject, name, 0); i < subject->count;
         i = history_next(subject, name, i + 1)) {
        if (script && strcmp(subject->checks[i].script, script) != 0)
            continue;
        course.cycles[course.count] = subject->checks[i].cycles;
        course.gaps += subject->checks[i].gap;
        course.values[course.count++] = factor * subject->checks[i].value;
    }
    return course;
}

static void take_cell(struct service *service, const struct history *history,
                      const struct subject *subject)
{
    const struct check *capacity = history_worn(subject, "capacity", NULL);
    const struct check *resistance = history_worn(subject, "resistance", NULL);
    if (!capacity && !resistance) {
        service->not_in_service += history_first(subject, "capacity") != NULL;
        return;
    }
    struct service_group *group = group_of(service, history, subject);
    if (capacity && strcmp(capacity->unit, "Ah") == 0) {
        group->capacities[group->count++] = course_of(subject, "capacity", 3600, NULL);
        group->cycles_least = fmin(group->cycles_least, capacity->cycles);
        group->cycles_most = fmax(group->cycles_most, capacity->cycles);
    }
    if (resistance)
        group->resistances[group->resistance_count++] =
            course_of(subject, "resistance", 1, resistance->script);
}

static void name_groups(struct service *service)
{
    for (size_t g = 0; g < service->count; g++) {
        struct service_group *group = &service->groups[g];
        size_t arms = 0;
        for (size_t k = 0; k < service->count; k++)
            arms += service->groups[k].model == group->model;
        if (arms > 1)
            history_add_arm(&group->name, group->arm);
    }
}

/* --- first and last --------------------------------------------------------------------------- */

static void pair(const struct service_course *courses, size_t count, struct summary *first,
                 struct summary *last, struct wear_pair *out, enum analysis_status *status)
{
    double *before = xcalloc(count + 1, sizeof *before), *after = xcalloc(count + 1, sizeof *after);
    for (size_t c = 0; c < count; c++) {
        before[c] = courses[c].values[0];
        after[c] = courses[c].values[courses[c].count - 1];
    }
    summary_of(before, count, SERVICE_CONFIDENCE, first);
    summary_of(after, count, SERVICE_CONFIDENCE, last);
    *status = wear_paired(before, after, count, SERVICE_CONFIDENCE, out);
    free(before);
    free(after);
}

static void slope(const struct service_course *courses, size_t count, struct service_slope *out)
{
    double *slopes = xcalloc(count + 1, sizeof *slopes);
    out->status = count ? ANALYSIS_OK : ANALYSIS_NO_DATA;
    for (size_t c = 0; c < count && out->status == ANALYSIS_OK; c++) {
        struct fit line;
        out->status =
            fit_points(&fit_line, courses[c].cycles, courses[c].values, courses[c].count, &line);
        slopes[c] = line.value[1];
    }
    bool fitted = out->status == ANALYSIS_OK;
    enum analysis_status status =
        summary_of(slopes, fitted ? count : 0, SERVICE_CONFIDENCE, &out->a_cycle);
    if (fitted)
        out->status = status;
    free(slopes);
}

/* Worn cells and the model's cells that were not in service, by the same protocol. */
static void against_unworn(struct service_group *group, const struct history *history)
{
    double *worn = xcalloc(history->count + 1, sizeof *worn);
    double *unworn = xcalloc(history->count + 1, sizeof *unworn);
    size_t worn_count = 0, unworn_count = 0;
    const char *script = group->resistance_count ? group->resistances[0].script : NULL;
    group->against_status = ANALYSIS_NO_DATA;
    for (size_t c = 0; c < group->resistance_count; c++) {
        const struct service_course *course = &group->resistances[c];
        worn[worn_count++] = course->values[course->count - 1];
        if (strcmp(course->script, script) != 0)
            group->against_status = ANALYSIS_MIXED_METHODS;
    }
    for (size_t i = 0; script && i < history->count; i++) {
        const struct subject *subject = &history->subjects[i];
        const struct check *last = history_last(subject, "resistance");
        if (subject->model == group->model && !subject->reference && last &&
            strcmp(last->script, script) == 0 && last->cycles < SERVICE_CYCLES)
            unworn[unworn_count++] = last->value;
    }
    summary_of(unworn, unworn_count, SERVICE_CONFIDENCE, &group->unworn);
    compare_two(&(struct group){NULL, 0}, &(struct group){NULL, 0}, SERVICE_CONFIDENCE,
                &group->against);
    if (group->against_status != ANALYSIS_MIXED_METHODS && unworn_count)
        group->against_status =
            compare_two(&(struct group){worn, worn_count}, &(struct group){unworn, unworn_count},
                        SERVICE_CONFIDENCE, &group->against);
    free(worn);
    free(unworn);
}

/* --- forms and levels ------------------------------------------------------------------------- */

static void choose(struct service_group *group)
{
    for (int form = 0; form < FIT_CHOICES; form++) {
        group->aicc[form] = group->count ? 0 : NAN;
        for (size_t c = 0; c < group->count; c++) {
            const struct service_course *course = &group->capacities[c];
            struct fit fit;
            bool had = fit_points(service_forms[form], course->cycles, course->values,
                                  course->count, &fit) == ANALYSIS_OK;
            group->aicc[form] += had ? fit.aicc : NAN;
        }
        bool better = isfinite(group->aicc[form]) &&
                      (!group->chosen || group->aicc[form] < group->aicc[group->form]);
        if (better)
            group->form = form;
        group->chosen = group->chosen || better;
    }
}

static void see(const struct service_group *group, const struct wear_course *courses,
                struct service_level *level)
{
    struct survivor *cells = xcalloc(group->count + 1, sizeof *cells);
    struct survival_step *steps = xcalloc(group->count + 1, sizeof *steps);
    size_t count = 0;
    for (size_t c = 0; c < group->count; c++) {
        struct wear_event event;
        enum analysis_status status = wear_observed(&courses[c], level->part, &event);
        if (status != ANALYSIS_OK && status != ANALYSIS_NOT_REACHED)
            continue;
        cells[count++] = (struct survivor){event.cycles, event.reached};
        level->reached += event.reached;
        level->from_the_start += event.reached && event.cycles <= courses[c].cycles[0];
    }
    level->seen_status = survival_of(cells, count, SERVICE_CONFIDENCE, steps, &level->seen);
    free(cells);
    free(steps);
}

static void find_levels(struct service_group *group, double rated)
{
    static const double parts[SERVICE_LEVELS] = {WEAR_WORN, WEAR_END};
    struct wear_course *courses = xcalloc(group->count + 1, sizeof *courses);
    for (size_t c = 0; c < group->count; c++)
        courses[c] = (struct wear_course){group->capacities[c].cycles, group->capacities[c].values,
                                          group->capacities[c].count, rated};
    for (size_t l = 0; l < SERVICE_LEVELS; l++) {
        struct service_level *level = &group->level[l];
        level->part = parts[l];
        level->each = xcalloc(group->count + 1, sizeof *level->each);
        see(group, courses, level);
        level->status = wear_of_arm(courses, group->count, service_forms[group->form], parts[l],
                                    SERVICE_CONFIDENCE, level->each, &level->fitted);
    }
    free(courses);
}

/* --- all -------------------------------------------------------------------------------------- */

int service_of(struct service *out, const struct history *history, struct error *error)
{
    *out = (struct service){.groups = xcalloc(history->count + 1, sizeof *out->groups)};
    for (size_t m = 0; m < history->model_count; m++)
        for (size_t i = 0; i < history->count; i++)
            if (history->subjects[i].model == m && !history->subjects[i].aside)
                take_cell(out, history, &history->subjects[i]);
    if (!out->count)
        error_set(error, ERROR_FAILED, "wear", "run capacity, cycles, capacity: see study-wear",
                  "no cell has two checks with %.0f cycles or more between them", SERVICE_CYCLES);
    name_groups(out);
    for (size_t g = 0; g < out->count; g++) {
        struct service_group *group = &out->groups[g];
        pair(group->capacities, group->count, &group->first, &group->last, &group->capacity,
             &group->capacity_status);
        pair(group->resistances, group->resistance_count, &group->before, &group->after,
             &group->resistance, &group->resistance_status);
        slope(group->capacities, group->count, &group->fade);
        slope(group->resistances, group->resistance_count, &group->rise);
        against_unworn(group, history);
        choose(group);
        find_levels(group, history->models[group->model].rated);
    }
    if (error->code)
        service_free(out);
    return error->code;
}

static void free_courses(struct service_course *courses, size_t count)
{
    for (size_t c = 0; c < count; c++) {
        free(courses[c].cycles);
        free(courses[c].values);
    }
    free(courses);
}

void service_free(struct service *service)
{
    for (size_t g = 0; g < service->count; g++) {
        struct service_group *group = &service->groups[g];
        text_free(&group->name);
        free_courses(group->capacities, group->count);
        free_courses(group->resistances, group->resistance_count);
        for (size_t l = 0; l < SERVICE_LEVELS; l++)
            free(group->level[l].each);
    }
    free(service->groups);
    *service = (struct service){0};
}
