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
