/* A DC power supply: constant voltage up to a constant current, one quadrant. Its sense leads are
 * at the relay's near side, so it shows the cell's voltage while off, too. */
#include "power.h"

static const struct range volts_range = {0, 20, 0, "V"};
static const struct range amps_range = {0, 6, 0, "A"};
static const struct range protection_range = {0.1, 22, 22, "V"};

static void reset_supply(struct instrument *instrument)
{
    struct cell_set *set = instrument->sets[0];
    power_switch(instrument, &instrument->sets[0]->supply.on, false, "reset");
    set->supply.volts = volts_range.usual;
    set->supply.amps = amps_range.usual;
    instrument->own.supply.volts_protection = protection_range.usual;
}

static void trip_supply(struct instrument *instrument)
{
    power_switch(instrument, &instrument->sets[0]->supply.on, false, instrument->tripped);
}

/* --- settings -------------------------------------------------------------------------------- */

enum { LEVEL_VOLTS, LEVEL_AMPS };

static void set_level(const struct call *call)
{
    if (call->which == LEVEL_VOLTS)
        power_set_level(call, &volts_range, &call->set->supply.volts, "volts");
    else
        power_set_level(call, &amps_range, &call->set->supply.amps, "amps");
}

static void ask_level(const struct call *call)
{
    if (call->which == LEVEL_VOLTS)
        answer_setting(call, &volts_range, call->set->supply.volts);
    else
        answer_setting(call, &amps_range, call->set->supply.amps);
}

static void set_output(const struct call *call)
{
    power_set_switch(call, &call->set->supply.on);
}

static void ask_output(const struct call *call)
{
    answer_boolean(call, call->set->supply.on);
}

/* --- protection ------------------------------------------------------------------------------ */

static void set_protection(const struct call *call)
{
    double value;
    if (!argument_number(call, 0, &protection_range, &value))
        return;
    call->instrument->own.supply.volts_protection = value;
    instrument_advance(call->instrument, call->now); /* may trip at once */
}

static void ask_protection(const struct call *call)
{
    answer_setting(call, &protection_range, call->instrument->own.supply.volts_protection);
}

/* --- measuring ------------------------------------------------------------------------------- */

static void measure(const struct call *call)
{
    power_answer(call, set_at_supply(call->set));
}

static const struct command commands[] = {
    {"MEASure[:SCALar]:VOLTage[:DC]?", 0, 0, measure, VOLTS},
    {"MEASure[:SCALar]:CURRent[:DC]?", 0, 0, measure, AMPS},
    {"MEASure[:SCALar]:POWer[:DC]?", 0, 0, measure, WATTS},
    {"[SOURce#:]VOLTage[:LEVel][:IMMediate][:AMPLitude]", 1, 1, set_level, LEVEL_VOLTS},
    {"[SOURce#:]VOLTage[:LEVel][:IMMediate][:AMPLitude]?", 0, 1, ask_level, LEVEL_VOLTS},
    {"[SOURce#:]CURRent[:LEVel][:IMMediate][:AMPLitude]", 1, 1, set_level, LEVEL_AMPS},
    {"[SOURce#:]CURRent[:LEVel][:IMMediate][:AMPLitude]?", 0, 1, ask_level, LEVEL_AMPS},
    {"OUTPut#[:STATe]", 1, 1, set_output, 0},
    {"OUTPut#[:STATe]?", 0, 0, ask_output, 0},
    {"[SOURce#:]VOLTage:PROTection[:LEVel]", 1, 1, set_protection, 0},
    {"[SOURce#:]VOLTage:PROTection[:LEVel]?", 0, 1, ask_protection, 0},
    {"[SOURce#:]VOLTage:PROTection:TRIPped?", 0, 0, power_ask_tripped, 0},
    {"[SOURce#:]VOLTage:PROTection:CLEar", 0, 0, power_clear_protection, 0},
    {"OUTPut#:PROTection:TRIPped?", 0, 0, power_ask_tripped, 0},
    {"OUTPut#:PROTection:CLEar", 0, 0, power_clear_protection, 0},
    {NULL, 0, 0, NULL, 0},
};

const struct kind kind_supply = {
    .word = "supply",
    .model = "SP-1",
    .commands = commands,
    .volts = 1e-3,
    .amps = 1e-3,
    .watts = 1e-3,
    .kelvin = 0.1,
    .reset = reset_supply,
    .trip = trip_supply,
};
