/* A thermometer at the cell: a number a line on request. */
#include "message.h"

static void reset_thermometer(struct instrument *instrument)
{
    (void)instrument;
}

/* As thermometers print it: decimals as fine as it resolves, no exponent. */
static void read_celsius(const struct call *call)
{
    double said = instrument_says(call->instrument, CELSIUS, set_temperature(call->set));
    int decimals = 0;
    for (double step = call->instrument->resolution[CELSIUS]; step < 0.999 && decimals < 6;
         step *= 10)
        decimals++;
    text_addf(call->answer, "%.*f", decimals, said);
}

static void ask_unit(const struct call *call)
{
    text_add(call->answer, "C");
}

static const struct command commands[] = {
    {"READ?", 0, 0, read_celsius, 0},
    {"FETCh?", 0, 0, read_celsius, 0},
    {"MEASure[:SCALar]:TEMPerature?", 0, 0, read_celsius, 0},
    {"UNIT:TEMPerature?", 0, 0, ask_unit, 0},
    {NULL, 0, 0, NULL, 0},
};

const struct kind kind_thermometer = {
    .word = "thermometer",
    .model = "ST-1",
    .commands = commands,
    .kelvin = 0.1,
    .reset = reset_thermometer,
};
