/* Results of an import: what its map names, of the step that it names, with the uncertainty that
 * the other logger's accuracy gives it. */
#include <math.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/quantity.h"
#include "engine/act_import.h"

#define NOT_KNOWN SIZE_MAX

static const struct outcome_field {
    const char *name;
    size_t offset, standard; /* of struct outcome, of struct outcome_standard */
    enum dimension dimension;
} fields[] = {
#define FIELD(name, dimension)                                                                     \
    {                                                                                              \
#name, offsetof(struct outcome, name), offsetof(struct outcome_standard, name), dimension  \
    }
    FIELD(charge, DIM_CHARGE),
    FIELD(energy, DIM_ENERGY),
    FIELD(duration, DIM_TIME),
    FIELD(first_voltage, DIM_VOLTAGE),
    FIELD(last_voltage, DIM_VOLTAGE),
    FIELD(mean_voltage, DIM_VOLTAGE),
    {"mid_voltage", offsetof(struct outcome, mid_voltage), NOT_KNOWN, DIM_VOLTAGE},
    FIELD(peak_voltage, DIM_VOLTAGE),
    FIELD(max_temperature, DIM_TEMPERATURE),
};

static double double_at(const void *from, size_t offset)
{
    return *(const double *)(const void *)((const char *)from + offset);
}

/* A difference of temperatures has no zero point. */
static double standard_in_unit(const struct import *import, int place,
                               const struct outcome_field *field)
{
    if (field->standard == NOT_KNOWN)
        return NAN;
    double standard = double_at(&import->standards[place], field->standard);
    return quantity_to_bench(standard, field->dimension == DIM_TEMPERATURE
                                           ? DIM_TEMPERATURE_DIFFERENCE
                                           : field->dimension);
}

/* "discharge": the last of its kind; "3": the third. -1: there is none. */
static int find_step(const struct import *import, const char *name)
{
    int count = (int)json_array_size(import->steps);
    char *end;
    long number = strtol(name, &end, 10);
    if (!*end)
        return number >= 1 && number <= count ? (int)number - 1 : -1;
    for (int i = count - 1; i >= 0; i--)
        if (strcmp(step_kind_name(import->outcomes[i].kind), name) == 0)
            return i;
    return -1;
}

int import_result(const struct import *import, const json_t *spec, struct result_record *out,
                  struct error *error)
{
    const char *name, *step, *field_name;
    json_error_t problem;
    const struct outcome_field *field = NULL;
    if (json_unpack_ex((json_t *)spec, &problem, 0, "{s:s, s:s, s:s}", "name", &name, "step", &step,
                       "field", &field_name))
        return bad_request(error, problem.text);
    for (size_t i = 0; i < sizeof fields / sizeof *fields; i++)
        if (strcmp(fields[i].name, field_name) == 0)
            field = &fields[i];
    if (!field)
        return error_set(error, ERROR_USAGE, name,
                         "say charge, energy, duration, mean_voltage or another of an outcome",
                         "a step has no \"%s\"", field_name);
    int place = find_step(import, step);
    if (place < 0)
        return error_set(error, ERROR_FAILED, name, "leave that result out, or look at the steps",
                         "the file has no step \"%s\"", step);
    const struct outcome *outcome = &import->outcomes[place];
    double value = double_at(outcome, field->offset);
    if (!isfinite(value))
        return error_set(error, ERROR_FAILED, name, "leave that result out",
                         "step %d, a %s, has no %s", place + 1, step_kind_name(outcome->kind),
                         field_name);
    *out = (struct result_record){
        .run = import->run.id,
        .n = import->n + 1,
        .cell = import->cell.id,
        .step = import->step_ids[place],
        .name = name,
        .value = quantity_to_bench(value, field->dimension),
        .unit = dimension_unit(field->dimension),
        .uncertainty = standard_in_unit(import, place, field),
        .how = "imported",
        .flags = "",
        .at = import->ended[place], /* what came later is not before it */
    };
    return 0;
}
