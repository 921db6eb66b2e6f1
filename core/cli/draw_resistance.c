/* Resistance before and after: of each cell the first and the last on record by one protocol, for
 * figures of different methods do not compare. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "analysis/summary.h"
#include "analysis/wear.h"
#include "cli/drawing.h"
#include "report/chart_resistance.h"

struct gathered {
    struct resistance_model *models;
    double *change; /* mean of (after - before) / before */
    size_t count, cells, once;
    const char *script;
    bool several_scripts;
    double cycles_low, cycles_high; /* drawn between first and last */
};

static void note_script(struct gathered *all, const char *script)
{
    if (!all->script)
        all->script = script;
    all->several_scripts = all->several_scripts || strcmp(all->script, script) != 0;
}

/* The first and the last by the protocol that did the last; false for a cell measured once. */
static bool pair_of(struct gathered *all, const struct drawing *drawing, const char *label,
                    double rated, double *before, double *after)
{
    json_t *rows = results_of(drawing->evidence, label, "resistance");
    size_t count = json_array_size(rows), first = 0;
    const json_t *last = json_array_get(rows, count - 1);
    bool found = false;
    while (count &&
           strcmp(row_text(json_array_get(rows, first), "script"), row_text(last, "script")) != 0)
        first++;
    if (count && first + 1 < count) {
        const json_t *begin = json_array_get(rows, first);
        double cycles = drawn_cycles(drawing->evidence, label, rated, row_instant(last, "at")) -
                        drawn_cycles(drawing->evidence, label, rated, row_instant(begin, "at"));
        *before = row_number(begin, "value");
        *after = row_number(last, "value");
        all->cycles_low = fmin(all->cycles_low, cycles);
        all->cycles_high = fmax(all->cycles_high, cycles);
        note_script(all, row_text(last, "script"));
        found = true;
    }
    all->once += count && !found;
    json_decref(rows);
    return found;
}

static void gather_model(struct gathered *all, const struct drawing *drawing,
                         const struct evidence_model *model)
{
    size_t most = json_array_size(model->cells), count = 0, i;
    double *before = xcalloc(most, sizeof *before), *after = xcalloc(most, sizeof *after);
    json_t *cell;
    json_array_foreach(model->cells, i, cell)
    {
        if (pair_of(all, drawing, row_text(cell, "label"), model->rated, &before[count],
                    &after[count]))
            count++;
    }
    if (!count) {
        free(before);
        free(after);
        return;
    }
    struct summary fresh, worn;
    struct wear_pair pair;
    summary_of(before, count, 0.95, &fresh);
    summary_of(after, count, 0.95, &worn);
    wear_paired(before, after, count, 0.95, &pair);
    /* With one cell the pair cannot be tested, but its change is known. */
    all->change[all->count] =
        isfinite(pair.change) ? pair.change : (worn.mean - fresh.mean) / fresh.mean;
    all->cells += count;
    all->models[all->count++] = (struct resistance_model){.name = model->name,
                                                          .style = model->style,
                                                          .before = fresh.mean,
                                                          .after = worn.mean,
                                                          .cells_before = before,
                                                          .cells_after = after,
                                                          .before_count = count,
                                                          .after_count = count};
}

static void say(const struct gathered *all, const struct evidence *evidence, struct text *title,
                struct text *conditions, struct text *note)
{
    size_t most = 0;
    for (size_t m = 1; m < all->count; m++)
        if (all->change[m] > all->change[most])
            most = m;
    const struct resistance_model *model = &all->models[most];
    text_addf(title, "%s: %s, from %.1f to %.1f\xc2\xa0m\xce\xa9 (%+.0f\xc2\xa0%%)",
              evidence_said(evidence, model->name),
              all->change[most] <= 0 ? "resistance has not risen"
              : all->count > 1       ? "resistance has risen most"
                                     : "resistance has risen",
              1000 * model->before, 1000 * model->after, 100 * all->change[most]);
    text_addf(conditions, "Means of the same %zu cells, before and after ", all->cells);
    add_range(conditions, all->cycles_low, all->cycles_high, "cycles");
    text_addf(conditions, "%s%s.",
              all->several_scripts ? ", by several protocols: compare within a model only"
                                   : "; protocol ",
              all->several_scripts ? "" : all->script);
    text_add(note, "A cycle: the rated charge drawn once. ");
    if (all->once)
        text_addf(note, "%zu cell%s measured only once %s left out. ", all->once,
                  all->once == 1 ? "" : "s", all->once == 1 ? "is" : "are");
    evidence_source(evidence, note);
}

int draw_resistance(struct text *out, const struct drawing *drawing, struct error *error)
{
    const struct evidence *evidence = drawing->evidence;
    struct gathered all = {.models = xcalloc(evidence->model_count, sizeof *all.models),
                           .change = xcalloc(evidence->model_count, sizeof *all.change),
                           .cycles_low = INFINITY};
    for (size_t m = 0; m < evidence->model_count; m++)
        gather_model(&all, drawing, &evidence->models[m]);
    if (!all.count) {
        error_set(error, ERROR_FAILED, "resistance",
                  "run resistance, then cycles, then resistance again: see study-wear",
                  all.once ? "no cell's resistance was measured twice by one protocol"
                           : "no resistance is on record");
    } else {
        struct text title = TEXT_EMPTY, conditions = TEXT_EMPTY, note = TEXT_EMPTY;
        say(&all, evidence, &title, &conditions, &note);
        struct resistance_chart chart = {.head = {.preset = drawing->preset,
                                                  .id = drawing->id ? drawing->id : "resistance",
                                                  .title = title.bytes,
                                                  .conditions = conditions.bytes,
                                                  .note = note.bytes},
                                         .models = all.models,
                                         .count = all.count,
                                         .before_name = "first check",
                                         .after_name = "last check"};
        chart_resistance(out, &chart);
        if (drawing->finding)
            text_add(drawing->finding, title.bytes);
        text_free(&title);
        text_free(&conditions);
        text_free(&note);
    }
    for (size_t m = 0; m < all.count; m++) {
        free((double *)all.models[m].cells_before);
        free((double *)all.models[m].cells_after);
    }
    free(all.models);
    free(all.change);
    return error->code;
}
