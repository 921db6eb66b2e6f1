/* perdure enrol: puts models and their cells into the logbook, by options or from a CSV file. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/quantity.h"
#include "base/rows.h"
#include "cli/table_file.h"
#include "cli/workplace.h"

/* The columns of a file. What a model has are the names of options too; a cell has the others. */
static const char *const known[] = {"label", "model", "chemistry", "rated",     "maker",
                                    "size",  "price", "currency",  "reference", NULL};
static const char *const of_model[] = {"model", "chemistry", "rated",    "maker",
                                       "size",  "price",     "currency", NULL};
/* Those of a model that are taken as they stand. */
static const char *const texts[] = {"maker", "size", "currency", NULL};

static int missing(struct error *error, const char *where, const char *what)
{
    char todo[128];
    snprintf(todo, sizeof todo, "give %s; perdure help enrol shows all", what);
    return error_set(error, ERROR_USAGE, where, todo, "%s is missing", what);
}

static int price_of(const char *text, double *price, const char *where, struct error *error)
{
    char *end;
    *price = strtod(text, &end);
    if (end == text || *end || !(*price >= 0))
        return error_set(error, ERROR_USAGE, where, "write a plain number, such as 2.40",
                         "\"%s\" is no price", text);
    return 0;
}

/* yes or no; also 1 and 0, true and false, as files have them. */
static int yes_of(const char *text, bool *yes, const char *where, struct error *error)
{
    char quoted[60];
    static const char *const words[] = {"no", "yes", "0", "1", "false", "true", ""};
    size_t i = 0;
    while (i < sizeof words / sizeof *words && strcasecmp(text, words[i]) != 0)
        i++;
    if (i == sizeof words / sizeof *words)
        return error_set(error, ERROR_USAGE, where, "write yes or no", "reference is %s",
                         string_quote(text, quoted, sizeof quoted));
    *yes = i % 2;
    return 0;
}

/* One model from named texts (options, or a row of a file), without its cells. */
static json_t *model_of(const json_t *fields, const char *where, struct error *error)
{
    const char *name = json_string_value(json_object_get(fields, "model"));
    const char *chemistry = json_string_value(json_object_get(fields, "chemistry"));
    const char *rated = json_string_value(json_object_get(fields, "rated"));
    const char *price = json_string_value(json_object_get(fields, "price"));
    double charge, amount;
    if (!name || !chemistry || !rated) {
        missing(error, where, !name ? "model" : !chemistry ? "chemistry" : "rated");
        return NULL;
    }
    if (quantity_read(rated, DIM_CHARGE, 0, &charge, error))
        return NULL;
    if (price && price_of(price, &amount, where, error))
        return NULL;
    json_t *model = json_pack("{s:s, s:s, s:f, s:[]}", "name", name, "chemistry", chemistry,
                              "rated_Ah", quantity_to_bench(charge, DIM_CHARGE), "cells");
    for (const char *const *text = texts; *text; text++)
        if (json_object_get(fields, *text))
            json_object_set(model, *text, json_object_get(fields, *text));
    if (price)
        json_object_set_new(model, "price", json_real(amount));
    return model;
}

static json_t *from_options(const struct arguments *arguments, struct error *error)
{
    json_t *fields = json_object();
    for (const char *const *name = of_model; *name; name++)
        if (argument(arguments, *name))
            json_object_set_new(fields, *name, json_string(argument(arguments, *name)));
    json_t *model = model_of(fields, "enrol", error);
    json_decref(fields);
    if (!model)
        return NULL;
    json_object_set_new(model, "cells", argument_list(argument(arguments, "labels")));
    json_object_set_new(model, "reference", json_boolean(argument(arguments, "reference")));
    return json_pack("[o]", model);
}

/* The reference cells of a model, an entry of their own after the model's. */
static json_t *references_of(json_t *models, json_t *model)
{
    size_t i;
    json_t *entry;
    json_array_foreach(models, i, entry)
    {
        if (json_is_true(json_object_get(entry, "reference")) &&
            json_equal(json_object_get(entry, "name"), json_object_get(model, "name")))
            return entry;
    }
    entry = json_copy(model);
    json_object_set_new(entry, "cells", json_array());
    json_object_set_new(entry, "reference", json_true());
    json_array_append_new(models, entry);
    return entry;
}

static int refuse_column(const char *name, const char *where, struct error *error)
{
    struct text todo = TEXT_EMPTY;
    char quoted[60];
    for (const char *const *column = known; *column; column++)
        text_addf(&todo, "%s%s", todo.length ? ", " : "the columns are ", *column);
    error_set(error, ERROR_USAGE, where, todo.bytes, "there is no column %s",
              string_quote(name, quoted, sizeof quoted));
    text_free(&todo);
    return error->code;
}

/* A column that is not known would be left out without a word: "prize" for "price". */
static int known_columns(const json_t *row, const char *where, struct error *error)
{
    const char *name;
    json_t *value;
    json_object_foreach((json_t *)row, name, value)
    {
        const char *const *column = known;
        while (*column && strcmp(*column, name) != 0)
            column++;
        if (!*column && (strcmp(name, "line") != 0 || !json_is_integer(value)))
            return refuse_column(name, where, error);
    }
    return 0;
}

/* One row a cell; the model's fields need to stand in the first row of each model only. */
static json_t *from_file(const char *path, struct error *error)
{
    json_t *rows = NULL, *row, *models = json_array(), *by_name = json_object();
    size_t i;
    if (table_file_read(path, &rows, error))
        goto out;
    json_array_foreach(rows, i, row)
    {
        char where[600];
        snprintf(where, sizeof where, "%s:%d", path,
                 (int)json_integer_value(json_object_get(row, "line")));
        const char *name = json_string_value(json_object_get(row, "model"));
        json_t *label = json_object_get(row, "label");
        json_t *model = name ? json_object_get(by_name, name) : NULL;
        bool reference = false;
        if (!label) {
            error_set(error, ERROR_USAGE, where,
                      "let the first line name the columns, parted by commas (label,model,"
                      "chemistry,rated), and give each row its label",
                      "label is missing");
            break;
        }
        if (known_columns(row, where, error) ||
            yes_of(row_text(row, "reference"), &reference, where, error))
            break;
        if (!model) {
            model = model_of(row, where, error);
            if (!model)
                break;
            json_array_append_new(models, model);
            json_object_set(by_name, name, model);
        }
        if (reference)
            model = references_of(models, model);
        json_array_append(json_object_get(model, "cells"), label);
    }
    if (!error->code && !json_array_size(models))
        error_set(error, ERROR_USAGE, path, "give each cell a row below the names of the columns",
                  "no cell is in it");
out:
    json_decref(rows);
    json_decref(by_name);
    if (error->code) {
        json_decref(models);
        return NULL;
    }
    return models;
}

static const struct column columns[] = {
    {"model", "model", 'n'}, {"cells", "cells enrolled", 'r'}, {NULL, NULL, 0}};

static int run(const struct arguments *arguments, struct error *error)
{
    json_t *reply = NULL;
    if (arguments->words && arguments->options)
        return error_set(error, ERROR_USAGE, arguments->word[0], "leave the options out",
                         "a file names everything itself");
    json_t *models =
        arguments->words ? from_file(arguments->word[0], error) : from_options(arguments, error);
    if (!models)
        return error->code;
    json_t *request = json_pack("{s:s, s:o}", "act", "enrol", "models", models);
    if (!change(arguments, request, &reply, error))
        print_rows(arguments, reply, columns);
    json_decref(request);
    json_decref(reply);
    return error->code;
}

static const struct option_spec options[] = {
    {"model", "NAME", "the maker's name for it", false},
    {"chemistry", "NAME", "NiMH, NiCd or Li-ion", false},
    {"rated", "CHARGE", "rated capacity, such as \"2000 mAh\"", false},
    {"labels", "A,B", "the cells' labels; a label never changes", false},
    {"maker", "NAME", "who makes it", false},
    {"size", "NAME", "AA, AAA, ...", false},
    {"price", "NUMBER", "of one cell", false},
    {"currency", "NAME", "of the price, such as EUR", false},
    {"reference", NULL, "the cells test the channels, and are in no ranking", false},
    {NULL, NULL, NULL, false},
};

const struct verb verb_enrol = {
    "enrol",
    "[FILE.csv]",
    0,
    1,
    "puts models and cells into the logbook (CSV columns: label, model, chemistry, rated, ...)",
    options,
    run};
