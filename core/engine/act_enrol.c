/* The act that puts models and cells on record. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/quantity.h"
#include "base/text.h"
#include "engine/act_internal.h"
#include "engine/answer.h"
#include "logbook/cells.h"

/* A text that is too long is never cut. */
static int fill_name(char to[NAME_ROOM], const char *text, const char *what, struct error *error)
{
    size_t letters = name_letters(text);
    if (letters > NAME_LETTERS)
        return error_set(error, ERROR_FAILED, text, "shorten it",
                         "the %s is %zu letters long, and %d are the most", what, letters,
                         NAME_LETTERS);
    string_copy(to, NAME_ROOM, text);
    return 0;
}

static int fill(char *to, size_t size, const char *text, const char *what, struct error *error)
{
    size_t length = strlen(text);
    if (length >= size)
        return error_set(error, ERROR_FAILED, text, "shorten it",
                         "the %s is %zu bytes long, and %zu are the most", what, length, size - 1);
    string_copy(to, size, text);
    return 0;
}

/* Ah: from the smallest button cell to the largest of a vehicle. Common practice, no source. */
#define RATED_LEAST 0.005
#define RATED_MOST  1000

/* "2.000 mAh" is 2 mAh, and "2000 Ah" was most likely meant in mAh. */
static int refuse_rating(const char *name, double rated, struct error *error)
{
    char given[32], todo[96];
    if (rated >= RATED_LEAST && rated <= RATED_MOST)
        return 0;
    if (!(rated > 0 && isfinite(rated)))
        string_copy(todo, sizeof todo, "give the rated capacity, such as 2000 mAh");
    else if (rated < RATED_LEAST)
        snprintf(todo, sizeof todo, "decimals stand behind a point: is it %g mAh?", 1e6 * rated);
    else
        snprintf(todo, sizeof todo, "mind the unit: is it %g mAh?", rated);
    return error_set(error, ERROR_FAILED, name, todo, "a rated capacity of %s is not plausible",
                     quantity_format(rated * 3600, DIM_CHARGE, given, sizeof given));
}

/* At attend's prompt a label picks its cell: one that is an answer would do both. */
static int refuse_answer(const char *label, struct error *error)
{
    if (!answer_is_word(label))
        return 0;
    return error_set(error, ERROR_FAILED, label, "give the cell another label",
                     "perdure attend takes this word as an answer");
}

static int enrol_model(struct act *a, json_t *spec, struct error *error)
{
    const char *name, *chemistry, *maker = "", *size = "", *currency = "";
    double rated, price = NAN;
    int reference = 0;
    json_t *cells;
    json_error_t problem;
    if (json_unpack_ex(spec, &problem, 0, "{s:s, s:s, s:F, s?s, s?s, s?F, s?s, s?b, s:o}", "name",
                       &name, "chemistry", &chemistry, "rated_Ah", &rated, "maker", &maker, "size",
                       &size, "price", &price, "currency", &currency, "reference", &reference,
                       "cells", &cells))
        return bad_request(error, problem.text);

    const struct profile *profile = profile_find(chemistry);
    if (!profile)
        return error_set(error, ERROR_FAILED, name,
                         "say NiMH, NiCd or Li-ion; see docs for what each implies",
                         "the chemistry \"%s\" is not known", chemistry);
    if (refuse_rating(name, rated, error))
        return error->code;
    struct model_record model = {.rated_charge = rated * 3600, .price = price};
    if (fill_name(model.name, name, "model's name", error) ||
        fill_name(model.maker, maker, "maker's name", error) ||
        fill(model.size, sizeof model.size, size, "size", error) ||
        fill(model.currency, sizeof model.currency, currency, "currency", error))
        return error->code;
    string_copy(model.chemistry, sizeof model.chemistry, profile->chemistry);
    if (logbook_add_model(a->logbook, &model, error))
        return error->code;

    size_t i;
    json_t *label;
    if (refuse_label_twice(cells, error))
        return error->code;
    json_array_foreach(cells, i, label)
    {
        int64_t id;
        if (!json_is_string(label))
            return bad_request(error, "a label is not a text");
        if (refuse_answer(json_string_value(label), error) ||
            logbook_add_cell(a->logbook, json_string_value(label), model.id, a->now, &id, error) ||
            (reference && logbook_mark_reference(a->logbook, id, error)))
            return error->code;
    }
    json_array_append_new(
        a->reply, json_pack("{s:s, s:i}", "model", name, "cells", (int)json_array_size(cells)));
    return 0;
}

int enrol_act(struct act *a, struct error *error)
{
    json_t *models = json_object_get(a->request, "models"), *spec;
    size_t i;
    if (!json_array_size(models))
        return bad_request(error, "nothing to enrol");
    a->reply = json_array();
    json_array_foreach(models, i, spec)
    {
        if (enrol_model(a, spec, error))
            return error->code;
    }
    return 0;
}
