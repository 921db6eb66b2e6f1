/* An electronic load: constant current, power or resistance. */
#include "power.h"

static const struct range amps_range = {0, 10, 0, "A"};
static const struct range watts_range = {0, 60, 0, "W"};
static const struct range ohms_range = {0.05, 10000, 10000, "OHM"};

static void reset_load(struct instrument *instrument)
{
    struct load_input *load = &instrument->sets[0]->load;
    power_switch(instrument, &instrument->sets[0]->load.on, false, "reset");
    load->mode = DRIVE_CURRENT;
    load->amps = amps_range.usual;
    load->watts = watts_range.usual;
    load->ohms = ohms_range.usual;
}

static void trip_load(struct instrument *instrument)
{
    power_switch(instrument, &instrument->sets[0]->load.on, false, instrument->tripped);
}

/* --- settings -------------------------------------------------------------------------------- */

static const char *const mode_words[] = {"CURRent", "POWer", "RESistance", NULL};
static const char *const mode_short[] = {"CURR", "POW", "RES"};
static const enum drive_mode modes[] = {DRIVE_CURRENT, DRIVE_POWER, DRIVE_RESISTANCE};

static void set_mode(const struct call *call)
{
    int which;
    if (!argument_word(call, 0, mode_words, &which))
        return;
    call->set->load.mode = modes[which];
    set_changed(call->set);
    record_add(call->instrument->record, call->instrument->name, "level mode %s",
               mode_short[which]);
}

static void ask_mode(const struct call *call)
{
    for (int i = 0; i < 3; i++)
        if (modes[i] == call->set->load.mode)
            text_add(call->answer, mode_short[i]);
}

enum { LEVEL_AMPS, LEVEL_WATTS, LEVEL_OHMS };

static const struct range *const level_ranges[] = {&amps_range, &watts_range, &ohms_range};
static const char *const level_words[] = {"amps", "watts", "ohms"};

static double *level_of(const struct call *call)
{
    struct load_input *load = &call->set->load;
    return call->which == LEVEL_AMPS    ? &load->amps
           : call->which == LEVEL_WATTS ? &load->watts
                                        : &load->ohms;
}

static void set_level(const struct call *call)
{
    power_set_level(call, level_ranges[call->which], level_of(call), level_words[call->which]);
}

static void ask_level(const struct call *call)
{
    answer_setting(call, level_ranges[call->which], *level_of(call));
}

static void set_input(const struct call *call)
{
    power_set_switch(call, &call->set->load.on);
}

static void ask_input(const struct call *call)
{
    answer_boolean(call, call->set->load.on);
}

/* --- measuring: volts, and amps and watts as it takes them ------------------------------------ */

static void measure(const struct call *call)
{
    power_answer(call, set_at_load(call->set));
}

static const struct command commands[] = {
    {"MEASure[:SCALar]:VOLTage[:DC]?", 0, 0, measure, VOLTS},
    {"MEASure[:SCALar]:CURRent[:DC]?", 0, 0, measure, AMPS},
    {"MEASure[:SCALar]:POWer[:DC]?", 0, 0, measure, WATTS},
    {"[SOURce#:]CURRent[:LEVel][:IMMediate][:AMPLitude]", 1, 1, set_level, LEVEL_AMPS},
    {"[SOURce#:]CURRent[:LEVel][:IMMediate][:AMPLitude]?", 0, 1, ask_level, LEVEL_AMPS},
    {"[SOURce#:]POWer[:LEVel][:IMMediate][:AMPLitude]", 1, 1, set_level, LEVEL_WATTS},
    {"[SOURce#:]POWer[:LEVel][:IMMediate][:AMPLitude]?", 0, 1, ask_level, LEVEL_WATTS},
    {"[SOURce#:]RESistance[:LEVel][:IMMediate][:AMPLitude]", 1, 1, set_level, LEVEL_OHMS},
    {"[SOURce#:]RESistance[:LEVel][:IMMediate][:AMPLitude]?", 0, 1, ask_level, LEVEL_OHMS},
    {"[SOURce#:]FUNCtion[:MODE]", 1, 1, set_mode, 0},
    {"[SOURce#:]FUNCtion[:MODE]?", 0, 0, ask_mode, 0},
    {"INPut#[:STATe]", 1, 1, set_input, 0},
    {"INPut#[:STATe]?", 0, 0, ask_input, 0},
    {"INPut#:PROTection:TRIPped?", 0, 0, power_ask_tripped, 0},
    {"INPut#:PROTection:CLEar", 0, 0, power_clear_protection, 0},
    {NULL, 0, 0, NULL, 0},
};

const struct kind kind_load = {
    .word = "load",
    .model = "SL-1",
    .commands = commands,
    .volts = 1e-3,
    .amps = 1e-3,
    .watts = 1e-3,
    .kelvin = 0.1,
    .reset = reset_load,
    .trip = trip_load,
};
