/* Ranking by one criterion: means with their intervals, and the places that other cells of the same
 * models could have taken. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "report/chart_ranking.h"
#include "verdict/contest.h"
#include "verdict/drawing.h"

static const struct words {
    const char *name, *quantity, *unit;
    const char *of; /* what a percentage is a part of */
    double unit_si;
} words[] = {
    {"capacity", "Fresh capacity as part of the rating", "%", " of its rating", 0.01},
    {"capacity_Ah", "Fresh capacity", "Ah", " of charge", 3600},
    {"worn", "Capacity after service as part of the rating", "%", " of its rating after service",
     0.01},
    {"remaining", "Left after storage", "%", " of the charge left after storage", 0.01},
    {"recovered", "Recovered after storage", "%", " of its capacity recovered", 0.01},
    {"resistance", "Resistance", "m\xce\xa9", "", 0.001},
    {"resistance_worn", "Resistance after service", "m\xce\xa9", " after service", 0.001},
    {"resistance_ac", "Resistance at 1 kHz", "m\xce\xa9", " at 1 kHz", 0.001},
    {"resistance_ac_worn", "Resistance at 1 kHz after service", "m\xce\xa9",
     " at 1 kHz after service", 0.001},
    {"delivered", "Charge delivered", "Ah", " delivered", 3600},
    {"mean_voltage", "Mean voltage", "V", " on average", 1},
    {"cycles", "Cycles", "", " cycles", 1},
};

static const struct words *words_of(const char *name)
{
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        if (strncmp(words[i].name, name, strcspn(name, "@")) == 0 &&
            strlen(words[i].name) == strcspn(name, "@"))
            return &words[i];
    return NULL;
}

static int style_of(const struct evidence *evidence, const char *name)
{
    for (size_t m = 0; m < evidence->model_count; m++)
        if (strcmp(evidence->models[m].name, name) == 0)
            return evidence->models[m].style;
    return 0;
}

/* From the comparison's units (%, ohm, Ah) to SI. */
static double si_of(const struct words *word)
{
    return strncmp(word->name, "resistance", 10) == 0 ? 1 : word->unit_si;
}

static void fill(struct ranking_model *out, const struct standing *standing, size_t m,
                 const struct words *word, const struct evidence *evidence)
{
    const struct group *group = comparison_group(&standing->comparison, m, 0);
    const struct summary *summary = &standing->summary[m * standing->comparison.criteria];
    double si = si_of(word), *cells = xcalloc(group->count + 1, sizeof *cells);
    for (size_t i = 0; i < group->count; i++)
        cells[i] = si * group->values[i];
    bool ranked = standing->sure == ANALYSIS_OK;
    *out = (struct ranking_model){.name = standing->comparison.model[m],
                                  .style = style_of(evidence, standing->comparison.model[m]),
                                  .value = si * summary->mean,
                                  .low = si * summary->low,
                                  .high = si * summary->high,
                                  .rated = strcmp(word->name, "capacity") == 0 ? 1 : NAN,
                                  .cells = cells,
                                  .cell_count = group->count,
                                  .rank_low = ranked ? (int)standing->range[m].low : 0,
                                  .rank_high = ranked ? (int)standing->range[m].high : 0};
}

static void find(const struct standing *standing, const struct words *word,
                 const struct evidence *evidence, struct text *title)
{
    const struct comparison *comparison = &standing->comparison;
    size_t first = standing->order[0];
    double value = standing->summary[first * comparison->criteria].mean;
    value *= si_of(word) / word->unit_si;
    const char *name = evidence_said(evidence, comparison->model[first]);
    if (comparison->models == 1)
        text_addf(title, "%s: %.3g\xc2\xa0%s%s", name, value, word->unit, word->of);
    else if (standing_settled(standing))
        text_addf(title, "%s comes first: %.3g\xc2\xa0%s%s", name, value, word->unit, word->of);
    else
        text_addf(title, "%s leads with %.3g\xc2\xa0%s%s, but first place is not settled", name,
                  value, word->unit, word->of);
}

static void say(const struct contest *contest, const struct words *word,
                const struct evidence *evidence, struct text *conditions, struct text *note)
{
    const struct comparison *comparison = &contest->standing->comparison;
    text_addf(conditions, "%s, size %s: %s.", word->quantity, contest->size,
              comparison->takes[0].bytes);
    if (contest->standing->sure != ANALYSIS_OK && comparison->models > 1)
        text_addf(note, "Ranks cannot be told: %s. ",
                  analysis_status_text(contest->standing->sure));
    if (contest->left_out)
        text_addf(note, "%zu model%s of another size or without results left out. ",
                  contest->left_out, contest->left_out == 1 ? "" : "s");
    evidence_source(evidence, note);
}

static void draw(struct text *out, const struct drawing *drawing, const struct contest *contest,
                 const struct words *word)
{
    const struct standing *standing = contest->standing;
    size_t count = standing->comparison.models;
    struct ranking_model *models = xcalloc(count, sizeof *models);
    struct chart_words said = CHART_WORDS_NONE;
    for (size_t m = 0; m < count; m++)
        fill(&models[m], standing, m, word, drawing->evidence);
    find(standing, word, drawing->evidence, &said.title);
    say(contest, word, drawing->evidence, &said.conditions, &said.note);
    struct ranking_chart chart = {.head = chart_words_head(drawing, "ranking", &said),
                                  .models = models,
                                  .count = count,
                                  .quantity = word->quantity,
                                  .unit = word->unit,
                                  .unit_si = word->unit_si,
                                  .least_is_best =
                                      !standing->comparison.criterion[0].higher_is_better,
                                  .interval = "95 % interval of the mean"};
    chart_ranking(out, &chart);
    for (size_t m = 0; m < count; m++)
        free((double *)models[m].cells);
    free(models);
    chart_words_done(drawing, &said);
}

int draw_ranking(struct text *out, const struct drawing *drawing, struct error *error)
{
    struct contest contest;
    const char *by = drawing->by ? drawing->by : "capacity";
    const struct words *word = words_of(by);
    if (!word)
        return error_set(error, ERROR_USAGE, by, "name one, such as --by capacity",
                         "no ranking is drawn by this");
    if (contest_of(&contest, &drawing->evidence->history, logbook_seed(drawing->evidence->logbook),
                   by, error))
        return error->code;
    draw(out, drawing, &contest, word);
    contest_free(&contest);
    return 0;
}
