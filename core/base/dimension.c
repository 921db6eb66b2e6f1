/* The table of dimensions: what each is called, its bench unit, and values to show as examples. */
#include <assert.h>

#include "base/quantity.h"
#include "base/unit.h"

static const struct {
    const char *unit;
    double factor; /* SI */
    const char *name;
} dimensions[DIMENSION_COUNT] = {
#define X(name, unit, si, about) {unit, si, about},
    DIMENSIONS(X)
#undef X
};

static const struct {
    const char *unit;
    const char *examples;
} usual[DIMENSION_COUNT] = {
    [DIM_NUMBER] = {"", "\"3\""},
    [DIM_RATIO] = {"%", "\"60 %\""},
    [DIM_CURRENT] = {"mA", "\"500 mA\" or \"0.2 It\""},
    [DIM_RATE] = {"It", "\"0.2 It\""},
    [DIM_VOLTAGE] = {"V", "\"1.2 V\" or \"-5 mV\""},
    [DIM_TIME] = {"min", "\"16 h\", \"3 h 10 min\" or \"P42D\""},
    [DIM_CHARGE] = {"mAh", "\"2.1 Ah\" or \"500 mAh\""},
    [DIM_ENERGY] = {"Wh", "\"2.4 Wh\""},
    [DIM_POWER] = {"W", "\"0.6 W\""},
    [DIM_RESISTANCE] = {"mohm", "\"85 mohm\""},
    [DIM_TEMPERATURE] = {"degC", "\"20 degC\""},
    [DIM_TEMPERATURE_DIFFERENCE] = {"K", "\"10 K\""},
    [DIM_VOLTAGE_RATE] = {"mV/min", "\"1 mV/min\""},
    [DIM_TEMPERATURE_RATE] = {"K/min", "\"1 K/min\""},
};

double quantity_to_bench(double si, enum dimension dimension)
{
    assert(dimension < DIMENSION_COUNT);
    return si / dimensions[dimension].factor;
}

double quantity_from_bench(double bench, enum dimension dimension)
{
    assert(dimension < DIMENSION_COUNT);
    return bench * dimensions[dimension].factor;
}

const char *dimension_unit(enum dimension dimension)
{
    assert(dimension < DIMENSION_COUNT);
    return dimensions[dimension].unit;
}

const char *dimension_name(enum dimension dimension)
{
    assert(dimension < DIMENSION_COUNT);
    return dimensions[dimension].name;
}

const char *dimension_usual_unit(enum dimension dimension)
{
    return usual[dimension].unit;
}

const char *dimension_examples(enum dimension dimension)
{
    return dimension == DIMENSION_COUNT ? "\"500 mA\", \"1.2 V\" or \"16 h\""
                                        : usual[dimension].examples;
}
