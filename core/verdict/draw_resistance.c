/* Resistance before and after: of each cell the first and the last on record by one protocol, for
 * figures of different methods do not compare. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "report/chart_resistance.h"
#include "verdict/drawing.h"
#include "verdict/service.h"

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

static void gather_group(struct gathered *all, const struct service_group *group)
{
    size_t count = group->resistance_count;
    double *before = xcalloc(count, sizeof *before), *after = xcalloc(count, sizeof *after);
    for (size_t c = 0; c < count; c++) {
        const struct service_course *course = &group->resistances[c];
        double cycles = course->cycles[course->count - 1] - course->cycles[0];
        before[c] = course->values[0];
        after[c] = course->values[course->count - 1];
        all->cycles_low = fmin(all->cycles_low, cycles);
        all->cycles_high = fmax(all->cycles_high, cycles);
        note_script(all, course->script);
    }
    /* With one cell the pair cannot be tested, but its change is known. */
    const struct wear_pair *pair = &group->resistance;
    all->change[all->count] = isfinite(pair->change)
                                  ? pair->change
                                  : (group->after.mean - group->before.mean) / group->before.mean;
    all->cells += count;
    all->models[all->count++] = (struct resistance_model){.name = group->name.bytes,
                                                          .before = group->before.mean,
                                                          .after = group->after.mean,
                                                          .cells_before = before,
                                                          .cells_after = after,
                                                          .before_count = count,
                                                          .after_count = count};
}

/* Cells with a resistance on record that were not in service between two. */
static size_t measured_once(const struct history *history, size_t in_service)
{
    size_t count = 0;
    for (size_t i = 0; i < history->count; i++)
        count += !history->subjects[i].aside &&
                 history_first(&history->subjects[i], "resistance") != NULL;
    return count - in_service;
}

static void say(const struct gathered *all, const struct evidence *evidence, struct text *title,
                struct text *conditions, struct text *note)
{
    size_t most = 0;
    for (size_t m = 1; m < all->count; m++)
        if (all->change[m] > all->change[most])
            most = m;
    const struct resistance_model *model = &all->models[most];
    evidence_say(title, evidence, model->name);
    text_addf(title, ": %s, from %.1f to %.1f\xc2\xa0m\xce\xa9 (%+.0f\xc2\xa0%%)",
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
        text_addf(note, "%zu cell%s not measured before and after service left out. ", all->once,
                  all->once == 1 ? "" : "s");
    evidence_source(evidence, note);
}

int draw_resistance(struct text *out, const struct drawing *drawing, struct error *error)
{
    const struct evidence *evidence = drawing->evidence;
    const struct history *history = &evidence->history;
    struct service service;
    if (service_of(&service, history, error) && error->code != ERROR_FAILED)
        return error->code;
    error_clear(error); /* without any group it is told below what is missing */
    struct gathered all = {.models = xcalloc(service.count + 1, sizeof *all.models),
                           .change = xcalloc(service.count + 1, sizeof *all.change),
                           .cycles_low = INFINITY};
    for (size_t g = 0; g < service.count; g++)
        if (service.groups[g].resistance_count)
            gather_group(&all, &service.groups[g]);
    all.once = measured_once(history, all.cells);
    if (!all.count) {
        error_set(error, ERROR_FAILED, "resistance",
                  "run resistance, then cycles, then resistance again: see study-wear",
                  all.once ? "no cell's resistance was measured before and after ten cycles or "
                             "more, by one protocol"
                           : "no resistance is on record");
    } else {
        struct chart_words words = CHART_WORDS_NONE;
        say(&all, evidence, &words.title, &words.conditions, &words.note);
        struct resistance_chart chart = {.head = chart_words_head(drawing, "resistance", &words),
                                         .models = all.models,
                                         .count = all.count,
                                         .before_name = "first check",
                                         .after_name = "last check"};
        chart_resistance(out, &chart);
        chart_words_done(drawing, &words);
    }
    for (size_t m = 0; m < all.count; m++) {
        free((double *)all.models[m].cells_before);
        free((double *)all.models[m].cells_after);
    }
    free(all.models);
    free(all.change);
    service_free(&service);
    return error->code;
}
