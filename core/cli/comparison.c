/* Gathering results into groups. */
#include "cli/comparison.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/rows.h"
#include "base/text.h"

/* What is known of a result: which way is better, and what it is taken as a part of. */
static const struct kind {
    const char *name;
    bool higher_is_better;
    enum { AS_IT_IS, OF_RATING, OF_CAPACITY } as;
} kinds[] = {
    {"capacity", true, OF_RATING},    {"remaining", true, OF_CAPACITY},
    {"recovered", true, OF_CAPACITY}, {"resistance", false, AS_IT_IS},
    {"delivered", true, AS_IT_IS},    {"mean_voltage", true, AS_IT_IS},
    {"cycles", true, AS_IT_IS},
};

static const struct kind *kind_of(const char *name)
{
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++)
        if (strcmp(kinds[i].name, name) == 0)
            return &kinds[i];
    return NULL;
}

/* It tests the channels and is compared with nothing. */
static bool is_reference(const json_t *cell)
{
    return json_is_true(json_object_get(cell, "reference"));
}

/* --- values of cells
 * ------------------------------------------------------------------------------ */

/* The capacity that the cell had before `at`: what is left is a part of that. NAN when not on
 * record. */
static double capacity_before(const json_t *results, const char *cell, const char *at)
{
    double found = NAN;
    size_t i;
    json_t *row;
    json_array_foreach(results, i, row)
    {
        if (strcmp(row_text(row, "cell"), cell) == 0 &&
            strcmp(row_text(row, "name"), "capacity") == 0 && strcmp(row_text(row, "at"), at) < 0)
            found = json_number_value(json_object_get(row, "value"));
    }
    return found;
}

static double value_of(const json_t *results, const json_t *row, const struct kind *kind)
{
    double value = json_number_value(json_object_get(row, "value"));
    const json_t *percent = json_object_get(row, "percent_of_rating");
    if (kind && kind->as == OF_RATING)
        return json_is_number(percent) ? json_number_value(percent) : NAN;
    if (kind && kind->as == OF_CAPACITY)
        return 100 * value / capacity_before(results, row_text(row, "cell"), row_text(row, "at"));
    return value;
}

/* The last value of each cell of the model, in order of label; at most `count`. */
static size_t gather(const json_t *results, const json_t *cells, const char *model,
                     const char *name, double *values)
{
    size_t count = 0, i, j;
    json_t *cell, *row;
    json_array_foreach(cells, i, cell)
    {
        double last = NAN;
        if (is_reference(cell) || strcmp(row_text(cell, "model"), model) != 0)
            continue;
        json_array_foreach(results, j, row)
        {
            if (strcmp(row_text(row, "name"), name) == 0 &&
                strcmp(row_text(row, "cell"), row_text(cell, "label")) == 0)
                last = value_of(results, row, kind_of(name));
        }
        if (isfinite(last))
            values[count++] = last;
    }
    return count;
}

/* --- criteria and models
 * --------------------------------------------------------------------------- */

static size_t find(char (*list)[128], size_t count, const char *name)
{
    size_t i = 0;
    while (i < count && strcmp(list[i], name) != 0)
        i++;
    return i;
}

static int list_models(const json_t *cells, struct comparison *out, struct error *error)
{
    size_t i;
    json_t *cell;
    json_array_foreach(cells, i, cell)
    {
        const char *model = row_text(cell, "model");
        if (is_reference(cell) || find(out->model, out->models, model) < out->models)
            continue;
        if (out->models == MODELS_MOST)
            return error_set(error, ERROR_FAILED, "rank", "compare fewer at a time",
                             "there are more than %d models", MODELS_MOST);
        const json_t *price = json_object_get(cell, "price");
        out->price[out->models] = json_is_number(price) ? json_number_value(price) : NAN;
        string_copy(out->model[out->models++], sizeof out->model[0], model);
    }
    return 0;
}

static int add_criterion(const json_t *results, struct comparison *out, const char *name,
                         double weight, struct error *error)
{
    const struct kind *kind = kind_of(name);
    size_t i, c = out->criteria;
    json_t *row;
    const char *unit = NULL;
    json_array_foreach(results, i, row)
    {
        if (strcmp(row_text(row, "name"), name) == 0)
            unit = row_text(row, "unit");
    }
    if (!unit)
        return error_set(error, ERROR_FAILED, name, "perdure results lists what is on record",
                         "no result of this name is on record");
    if (!kind)
        return error_set(error, ERROR_FAILED, name, "rank by capacity, remaining, resistance, ...",
                         "it is not known whether more of it is better");
    if (c == CRITERIA_MOST)
        return error_set(error, ERROR_FAILED, "rank", "name fewer",
                         "there are more than %d criteria", CRITERIA_MOST);
    string_copy(out->name[c], sizeof out->name[c], name);
    string_copy(out->unit[c], sizeof out->unit[c], kind->as == AS_IT_IS ? unit : "%");
    out->criterion[c] = (struct criterion){.name = out->name[c],
                                           .higher_is_better = kind->higher_is_better,
                                           .weight = weight,
                                           .arm = c};
    out->criteria++;
    return 0;
}

/* "capacity,resistance=2" */
static int named_criteria(const json_t *results, const char *by, struct comparison *out,
                          struct error *error)
{
    char *copy = xstrdup(by), *rest = copy, *part;
    while ((part = strsep(&rest, ",")) && !error->code) {
        char *equals = strchr(part, '='), *end = NULL;
        double weight = 1;
        if (equals) {
            *equals = '\0';
            weight = strtod(equals + 1, &end);
            if (end == equals + 1 || *end || !(weight >= 0))
                error_set(error, ERROR_USAGE, equals + 1, "write --by capacity=2,resistance=1",
                          "it is no weight");
        }
        if (!error->code)
            add_criterion(results, out, part, weight, error);
    }
    free(copy);
    return error->code;
}

static void usual_criteria(const json_t *results, const json_t *cells, struct comparison *out)
{
    static const char *const usual[] = {"capacity", "remaining", "resistance", "delivered"};
    double *values = xcalloc(json_array_size(cells) + 1, sizeof *values);
    for (size_t k = 0; k < sizeof usual / sizeof *usual; k++) {
        size_t have = 0;
        struct error none;
        for (size_t m = 0; m < out->models; m++)
            have += gather(results, cells, out->model[m], usual[k], values) > 0;
        if (have == out->models && have)
            add_criterion(results, out, usual[k], 1, &none);
    }
    free(values);
}

int comparison_of(const json_t *results, const json_t *cells, const char *by,
                  struct comparison *out, struct error *error)
{
    *out = (struct comparison){0};
    if (list_models(cells, out, error))
        return error->code;
    if (by && named_criteria(results, by, out, error))
        return error->code;
    if (!by)
        usual_criteria(results, cells, out);
    if (!out->criteria || !out->models)
        return error_set(error, ERROR_FAILED, "results",
                         "run capacity on cells of every model first",
                         "there is nothing on record that all models have");
    for (size_t m = 0; m < out->models; m++) {
        for (size_t c = 0; c < out->criteria; c++) {
            double *values = xcalloc(json_array_size(cells) + 1, sizeof *values);
            size_t count = gather(results, cells, out->model[m], out->name[c], values);
            out->group[m * out->criteria + c] = (struct group){values, count};
        }
    }
    return 0;
}

void comparison_free(struct comparison *comparison)
{
    for (size_t i = 0; i < comparison->models * comparison->criteria; i++)
        free((double *)comparison->group[i].values);
    *comparison = (struct comparison){0};
}

const struct group *comparison_group(const struct comparison *comparison, size_t model,
                                     size_t criterion)
{
    return &comparison->group[model * comparison->criteria + criterion];
}
