/* A two-quadrant source: gives current to the cell up to a voltage, or takes it down to one.
 * Current is positive into the cell, in settings and in readings. */
#include "power.h"

static const struct range amps_range = {-5, 5, 0, "A"};
static const struct range volts_range = {0, 6, 0, "V"};
static const struct range floor_range = {0, 6, 0, "V"};

static void reset_quadrant(struct instrument *instrument)
{
    struct quadrant_output *quadrant = &instrument->sets[0]->quadrant;
    power_switch(instrument, &instrument->sets[0]->quadrant.on, false, "reset");
    quadrant->amps = amps_range.usual;
    quadrant->volts = volts_range.usual;
    quadrant->floor = floor_range.usual;
}

static void trip_quadrant(struct instrument *instrument)
{
    power_switch(instrument, &instrument->sets[0]->quadrant.on, false, instrument->tripped);
}

/* --- settings -------------------------------------------------------------------------------- */

enum { LEVEL_AMPS, LEVEL_VOLTS, LEVEL_FLOOR };

static const struct range *const level_ranges[] = {&amps_range, &volts_range, &floor_range};
static const char *const level_words[] = {"amps", "volts", "floor"};

static double *level_of(const struct call *call)
{
    struct quadrant_output *quadrant = &call->set->quadrant;
    return call->which == LEVEL_AMPS    ? &quadrant->amps
           : call->which == LEVEL_VOLTS ? &quadrant->volts
                                        : &quadrant->floor;
}

static void set_level(const struct call *call)
{
    power_set_level(call, level_ranges[call->which], level_of(call), level_words[call->which]);
}

static void ask_level(const struct call *call)
{
    answer_setting(call, level_ranges[call->which], *level_of(call));
}

static void set_output(const struct call *call)
{
    power_set_switch(call, &call->set->quadrant.on);
}

static void ask_output(const struct call *call)
{
    answer_boolean(call, call->set->quadrant.on);
}

static void measure(const struct call *call)
{
    power_answer(call, set_at_quadrant(call->set));
}

static const struct command commands[] = {
    {"MEASure[:SCALar]:VOLTage[:DC]?", 0, 0, measure, VOLTS},
    {"MEASure[:SCALar]:CURRent[:DC]?", 0, 0, measure, AMPS},
    {"MEASure[:SCALar]:POWer[:DC]?", 0, 0, measure, WATTS},
    {"[SOURce#:]CURRent[:LEVel][:IMMediate][:AMPLitude]", 1, 1, set_level, LEVEL_AMPS},
    {"[SOURce#:]CURRent[:LEVel][:IMMediate][:AMPLitude]?", 0, 1, ask_level, LEVEL_AMPS},
    {"[SOURce#:]VOLTage[:LEVel][:IMMediate][:AMPLitude]", 1, 1, set_level, LEVEL_VOLTS},
    {"[SOURce#:]VOLTage[:LEVel][:IMMediate][:AMPLitude]?", 0, 1, ask_level, LEVEL_VOLTS},
    {"[SOURce#:]VOLTage:LIMit:LOW", 1, 1, set_level, LEVEL_FLOOR},
    {"[SOURce#:]VOLTage:LIMit:LOW?", 0, 1, ask_level, LEVEL_FLOOR},
    {"OUTPut#[:STATe]", 1, 1, set_output, 0},
    {"OUTPut#[:STATe]?", 0, 0, ask_output, 0},
    {"OUTPut#:PROTection:TRIPped?", 0, 0, power_ask_tripped, 0},
    {"OUTPut#:PROTection:CLEar", 0, 0, power_clear_protection, 0},
    {NULL, 0, 0, NULL, 0},
};

const struct kind kind_quadrant = {
    .word = "two-quadrant",
    .model = "SQ-1",
    .commands = commands,
    .volts = 1e-4,
    .amps = 1e-4,
    .watts = 1e-4,
    .kelvin = 0.1,
    .reset = reset_quadrant,
    .trip = trip_quadrant,
};
