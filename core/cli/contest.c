/* Choosing the models that can be ranked together. */
#include "cli/contest.h"

#include <string.h>

#include "cli/drawing.h"

/* Cells of the model with a result of this name, or of any when NULL. */
static size_t measured(const struct evidence *evidence, const struct evidence_model *model,
                       const char *name)
{
    size_t count = 0, i, j;
    json_t *cell, *row;
    json_array_foreach(model->cells, i, cell)
    {
        bool found = false;
        json_array_foreach(evidence->results, j, row)
        {
            found = found || (strcmp(row_text(row, "cell"), row_text(cell, "label")) == 0 &&
                              (!name || strcmp(row_text(row, "name"), name) == 0));
        }
        count += found;
    }
    return count;
}

int contest_of(struct contest *out, const struct evidence *evidence, const char *by,
               struct error *error)
{
    char name[64] = "";
    size_t most = 0, length = by ? strcspn(by, ",=") : 0;
    json_t *cells = json_array();
    *out = (struct contest){0};
    string_copy(name, sizeof name, by ? by : "");
    if (length < sizeof name)
        name[length] = '\0';
    for (size_t m = 0; m < evidence->model_count; m++) {
        size_t count = 0;
        for (size_t k = 0; k < evidence->model_count; k++)
            if (strcmp(evidence->models[k].size, evidence->models[m].size) == 0)
                count += measured(evidence, &evidence->models[k], by ? name : NULL);
        if (count > most) {
            most = count;
            string_copy(out->size, sizeof out->size, evidence->models[m].size);
        }
    }
    for (size_t m = 0; m < evidence->model_count; m++) {
        const struct evidence_model *model = &evidence->models[m];
        if (strcmp(model->size, out->size) == 0 && measured(evidence, model, by ? name : NULL))
            json_array_extend(cells, model->cells);
        else
            out->left_out++;
    }
    standing_of(evidence->results, cells, by, logbook_seed(evidence->logbook), &out->standing,
                error);
    json_decref(cells);
    return error->code;
}

void contest_free(struct contest *contest)
{
    standing_free(contest->standing);
    *contest = (struct contest){0};
}
