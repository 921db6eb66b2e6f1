/* Choosing the models that can be ranked together. */
#include "verdict/contest.h"

#include <stdlib.h>
#include <string.h>

/* Cells of each model with a result, or with the one that the first criterion of `by` takes. */
static size_t *measured(const struct history *history, const char *by)
{
    size_t *counts = xcalloc(history->model_count + 1, sizeof *counts);
    char name[64] = "";
    string_copy(name, sizeof name, by ? by : "");
    name[strcspn(name, ",=@")] = '\0';
    const struct criterion_kind *kind = criterion_kind_of(name);
    for (size_t i = 0; i < history->count; i++) {
        const struct subject *subject = &history->subjects[i];
        counts[subject->model] +=
            !subject->aside &&
            (kind ? history_first(subject, kind->result) != NULL : subject->count > 0);
    }
    return counts;
}

int contest_of(struct contest *out, const struct history *history, uint64_t seed, const char *by,
               struct error *error)
{
    size_t most = 0, *counts = measured(history, by);
    bool *wanted = xcalloc(history->model_count + 1, sizeof *wanted);
    *out = (struct contest){0};
    for (size_t m = 0; m < history->model_count; m++) {
        size_t count = 0;
        for (size_t k = 0; k < history->model_count; k++)
            if (strcmp(history->models[k].size, history->models[m].size) == 0)
                count += counts[k];
        if (count > most) {
            most = count;
            string_copy(out->size, sizeof out->size, history->models[m].size);
        }
    }
    for (size_t m = 0; m < history->model_count; m++) {
        wanted[m] = strcmp(history->models[m].size, out->size) == 0 && counts[m] > 0;
        out->left_out += !wanted[m];
    }
    standing_of(history, wanted, by, seed, &out->standing, error);
    free(wanted);
    free(counts);
    return error->code;
}

void contest_free(struct contest *contest)
{
    standing_free(contest->standing);
    *contest = (struct contest){0};
}
