/* Fade: capacity checks over the cycles drawn, as parts of each cell's first. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "analysis/compare.h"
#include "analysis/wear.h"
#include "logbook/facts.h"
#include "report/chart_fade.h"
#include "verdict/drawing.h"
#include "verdict/service.h"

#define LEAST_CYCLES 10.0 /* between first and last check: below it is no service */
#define LINE_POINTS  40

struct gathered {
    struct fade_model *models;
    size_t count, cells;
    size_t elsewhere; /* cells whose cycles a study says, in whole or in part */
};

/* --- cells ------------------------------------------------------------------------------------ */

/* label -> true where the cell's last run failed or was stopped: its line ended before its time. */
static int look_at_run(void *stopped, json_t *run)
{
    const char *state = row_text(run, "state");
    json_object_set_new(
        stopped, row_text(run, "cell"),
        json_boolean(strcmp(state, "failed") == 0 || strcmp(state, "stopped") == 0));
    return 0;
}

/* Parts of the cell's first capacity. */
static struct fade_cell cell_of(const struct service_course *course, bool stopped)
{
    double *ratio = xcalloc(course->count, sizeof *ratio);
    for (size_t i = 0; i < course->count; i++)
        ratio[i] = course->values[i] / course->values[0];
    return (struct fade_cell){course->subject->label, course->cycles, ratio, course->count,
                              stopped};
}

/* --- the model's line ------------------------------------------------------------------------- */

static double between_checks(const struct fade_cell *cell, double cycles)
{
    for (size_t i = 1; i < cell->count; i++) {
        double from = cell->cycles[i - 1], to = cell->cycles[i];
        if (cycles >= from && cycles <= to && to > from)
            return cell->ratio[i - 1] +
                   (cycles - from) / (to - from) * (cell->ratio[i] - cell->ratio[i - 1]);
    }
    return NAN;
}

/* The mean of the cells, each by straight lines between its checks, as far as all of them go: the
 * mean of those left over would flatter. */
static void line_of(struct fade_model *model)
{
    double from = 0, to = INFINITY;
    double *cycles = xcalloc(LINE_POINTS, sizeof *cycles);
    double *ratio = xcalloc(LINE_POINTS, sizeof *ratio);
    for (size_t i = 0; i < model->count; i++) {
        from = fmax(from, model->cells[i].cycles[0]);
        to = fmin(to, model->cells[i].cycles[model->cells[i].count - 1]);
    }
    for (size_t k = 0; k < LINE_POINTS && to > from; k++) {
        /* Rounding puts no point beyond the last check of a cell, where there is nothing. */
        cycles[k] = fmin(from + (to - from) * (double)k / (LINE_POINTS - 1), to);
        for (size_t i = 0; i < model->count; i++)
            ratio[k] += between_checks(&model->cells[i], cycles[k]) / (double)model->count;
        model->line_count++;
    }
    model->cycles = cycles;
    model->ratio = ratio;
    struct wear_event event = {NAN, false};
    struct wear_course course = {cycles, ratio, model->line_count, 1};
    model->cycles_to_threshold =
        wear_observed(&course, WEAR_WORN, &event) == ANALYSIS_OK && event.reached ? event.cycles
                                                                                  : NAN;
}

static void gather_group(struct gathered *all, const struct service_group *group,
                         const json_t *ended_early)
{
    struct fade_cell *cells = xcalloc(group->count + 1, sizeof *cells);
    for (size_t c = 0; c < group->count; c++) {
        const char *label = group->capacities[c].subject->label;
        cells[c] =
            cell_of(&group->capacities[c], json_is_true(json_object_get(ended_early, label)));
        all->elsewhere += group->capacities[c].subject->elsewhere;
    }
    all->cells += group->count;
    struct fade_model *out = &all->models[all->count++];
    *out = (struct fade_model){.name = group->name.bytes, .cells = cells, .count = group->count};
    line_of(out);
}

/* --- words ------------------------------------------------------------------------------------ */

static double line_at(const struct fade_model *model, double cycles)
{
    struct fade_cell line = {NULL, model->cycles, model->ratio, model->line_count, false};
    return between_checks(&line, cycles);
}

/* Of the models whose cells cannot be told from those of the best, the one that keeps the most;
 * `best` when all can be: Welch's t at these cycles, all pairs adjusted by Holm as in the ranking.
 * *tested: that one could be tested. */
static size_t rival_of(const struct gathered *all, double cycles, size_t best, bool *tested)
{
    struct group *groups = xcalloc(all->count, sizeof *groups);
    double *values = xcalloc(all->cells + 1, sizeof *values), *next = values, most = -INFINITY;
    struct pair *pairs = xcalloc(PAIRS_OF(all->count), sizeof *pairs);
    size_t rival = best;
    for (size_t m = 0; m < all->count; m++) {
        const struct fade_model *model = &all->models[m];
        groups[m] = (struct group){next, model->count};
        for (size_t c = 0; c < model->count; c++)
            *next++ = between_checks(&model->cells[c], cycles);
    }
    compare_pairs(groups, all->count, 1 - SERVICE_CONFIDENCE, pairs); /* each has its own status */
    for (size_t i = 0; i < PAIRS_OF(all->count); i++) {
        if ((pairs[i].a != best && pairs[i].b != best) || pairs[i].differ)
            continue;
        size_t other = pairs[i].a == best ? pairs[i].b : pairs[i].a;
        double kept = line_at(&all->models[other], cycles);
        if (!(kept > most)) /* nor one that was not checked so early */
            continue;
        rival = other;
        most = kept;
        *tested = pairs[i].status == ANALYSIS_OK;
    }
    free(groups);
    free(values);
    free(pairs);
    return rival;
}

/* The other models beside the best: what they keep, and whether that settles anything. */
static void find_others(const struct gathered *all, const struct evidence *evidence, double cycles,
                        size_t best, struct text *title)
{
    size_t next = best, others = 0;
    bool tested = false;
    for (size_t m = 0; m < all->count; m++) {
        double kept = line_at(&all->models[m], cycles);
        if (m == best || !isfinite(kept))
            continue;
        others++;
        if (next == best || kept > line_at(&all->models[next], cycles))
            next = m;
    }
    if (!others)
        return;
    const size_t rival = rival_of(all, cycles, best, &tested);
    if (rival == best) {
        text_add(title, others > 1 ? ", the most; next is " : ", ");
        evidence_say(title, evidence, all->models[next].name);
        text_addf(title, " %.0f\xc2\xa0%%", 100 * line_at(&all->models[next], cycles));
        return;
    }
    text_add(title, "; ");
    evidence_say(title, evidence, all->models[rival].name);
    text_addf(title, ", %.0f\xc2\xa0%%, %s", 100 * line_at(&all->models[rival], cycles),
              tested ? "cannot be told apart from it"
                     : "may be as good: how sure this is cannot be said");
}

static void find(const struct gathered *all, const struct evidence *evidence, struct text *title)
{
    double common = INFINITY;
    for (size_t m = 0; m < all->count; m++)
        common = fmin(common, all->models[m].line_count
                                  ? all->models[m].cycles[all->models[m].line_count - 1]
                                  : 0);
    size_t best = 0;
    for (size_t m = 1; m < all->count; m++)
        if (!(line_at(&all->models[m], common) <= line_at(&all->models[best], common)) &&
            isfinite(line_at(&all->models[m], common)))
            best = m;
    double most = line_at(&all->models[best], common);
    if (!isfinite(most)) {
        text_add(title, "Capacity over cycles");
        return;
    }
    text_addf(title,
              "After %.0f\xc2\xa0"
              "cycles%s ",
              common,
              !all->elsewhere                ? ""
              : all->elsewhere == all->cells ? ", as the study asserts,"
                                             : ", in part as a study asserts,");
    evidence_say(title, evidence, all->models[best].name);
    text_addf(title, " keeps %.0f\xc2\xa0%% of its fresh charge", 100 * most);
    if (all->count > 1)
        find_others(all, evidence, common, best, title);
}

static void free_model(struct fade_model *model)
{
    for (size_t i = 0; i < model->count; i++) {
        free((double *)model->cells[i].ratio);
    }
    free((struct fade_cell *)model->cells);
    free((double *)model->cycles);
    free((double *)model->ratio);
}

static int refuse(struct error *error)
{
    return error_set(error, ERROR_FAILED, "fade", "run capacity, cycles, capacity: see study-wear",
                     "no cell has two capacity checks with %.0f\xc2\xa0"
                     "cycles or more between them",
                     SERVICE_CYCLES);
}

int draw_fade(struct text *out, const struct drawing *drawing, struct error *error)
{
    const struct evidence *evidence = drawing->evidence;
    json_t *ended_early = json_object();
    if (logbook_each(evidence->logbook, LIST_RUNS, NULL, look_at_run, ended_early, error)) {
        json_decref(ended_early);
        return error->code;
    }
    struct service service;
    if (service_of(&service, &evidence->history, error)) {
        json_decref(ended_early);
        if (error->code == ERROR_FAILED)
            refuse(error);
        return error->code;
    }
    struct gathered all = {.models = xcalloc(service.count, sizeof *all.models)};
    for (size_t g = 0; g < service.count; g++)
        if (service.groups[g].count)
            gather_group(&all, &service.groups[g], ended_early);
    json_decref(ended_early);
    if (!all.count) {
        refuse(error);
    } else {
        struct chart_words words = CHART_WORDS_NONE;
        find(&all, evidence, &words.title);
        text_addf(&words.conditions,
                  "Capacity checks of %zu cell%s, as parts of each cell's first%s.", all.cells,
                  all.cells == 1 ? "" : "s",
                  all.elsewhere ? "; cycles made elsewhere are as the study says" : "");
        text_add(&words.note,
                 "A cycle: the rated charge drawn once; lines are means of the cells. ");
        evidence_source(evidence, &words.note);
        struct fade_chart chart = {.head = chart_words_head(drawing, "fade", &words),
                                   .models = all.models,
                                   .count = all.count,
                                   .threshold = WEAR_WORN};
        chart_fade(out, &chart);
        chart_words_done(drawing, &words);
    }
    for (size_t m = 0; m < all.count; m++)
        free_model(&all.models[m]);
    free(all.models);
    service_free(&service);
    return error->code;
}
