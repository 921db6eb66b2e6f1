/* The charts by name, and what they share. */
#include "verdict/drawing.h"

#include <math.h>
#include <string.h>

const struct drawing_kind drawing_kinds[] = {
    {"discharge", "Discharge curves", draw_discharge},
    {"retention", "Charge left after storage", draw_retention},
    {"resistance", "Internal resistance", draw_resistance},
    {"fade", "Capacity over cycles", draw_fade},
    {"ranking", "Ranking by one criterion", draw_ranking},
    {NULL, NULL, NULL},
};

struct chart_head chart_words_head(const struct drawing *drawing, const char *name,
                                   const struct chart_words *words)
{
    return (struct chart_head){.preset = drawing->preset,
                               .id = drawing->id ? drawing->id : name,
                               .title = words->title.bytes,
                               .conditions = words->conditions.bytes,
                               .note = words->note.bytes};
}

void chart_words_done(const struct drawing *drawing, struct chart_words *words)
{
    if (drawing->finding)
        text_add(drawing->finding, words->title.bytes);
    text_free(&words->title);
    text_free(&words->conditions);
    text_free(&words->note);
}

json_t *results_of(const struct evidence *evidence, const char *cell, const char *name)
{
    json_t *found = json_array(), *row;
    size_t i;
    json_array_foreach(json_object_get(evidence->results_by_cell, cell), i, row)
    {
        if (strcmp(row_text(row, "name"), name) == 0)
            json_array_append(found, row);
    }
    return found;
}

void add_range(struct text *out, double low, double high, const char *unit)
{
    char a[40], b[40];
    snprintf(a, sizeof a, low < 10 ? "%.2g" : "%.0f", low);
    snprintf(b, sizeof b, high < 10 ? "%.2g" : "%.0f", high);
    if (strcmp(a, b) == 0)
        text_addf(out, "%s %s", a, unit);
    else
        text_addf(out, "%s to %s %s", a, b, unit);
}
