/* The act that puts models and cells on record. */
#include <math.h>

#include "base/text.h"
#include "engine/act_internal.h"
#include "logbook/cells.h"

static int enrol_model(struct act *a, json_t *spec, struct error *error)
{
    const char *name, *chemistry, *maker = "", *size = "", *currency = "";
    double rated, price = NAN;
    json_t *cells;
    json_error_t problem;
    if (json_unpack_ex(spec, &problem, 0, "{s:s, s:s, s:F, s?s, s?s, s?F, s?s, s:o}", "name", &name,
                       "chemistry", &chemistry, "rated_Ah", &rated, "maker", &maker, "size", &size,
                       "price", &price, "currency", &currency, "cells", &cells))
        return bad_request(error, problem.text);

    const struct profile *profile = profile_find(chemistry);
    if (!profile)
        return error_set(error, ERROR_FAILED, name,
                         "say NiMH, NiCd or Li-ion; see docs for what each implies",
                         "the chemistry \"%s\" is not known", chemistry);
    if (!(rated > 0.001 && rated < 1000))
        return error_set(error, ERROR_FAILED, name, "give the rated capacity, such as 2000 mAh",
                         "a rated capacity of %g Ah is not plausible", rated);
    struct model_record model = {.rated_charge = rated * 3600, .price = price};
    string_copy(model.name, sizeof model.name, name);
    string_copy(model.maker, sizeof model.maker, maker);
    string_copy(model.size, sizeof model.size, size);
    string_copy(model.chemistry, sizeof model.chemistry, profile->chemistry);
    string_copy(model.currency, sizeof model.currency, currency);
    if (logbook_add_model(a->logbook, &model, error))
        return error->code;

    size_t i;
    json_t *label;
    json_array_foreach(cells, i, label)
    {
        int64_t id;
        if (!json_is_string(label))
            return bad_request(error, "a label is not a text");
        if (logbook_add_cell(a->logbook, json_string_value(label), model.id, a->now, &id, error))
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
