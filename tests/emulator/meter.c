/* A digital multimeter at the cell: volts, the cell's current through a shunt in its lead (positive
 * into the cell), and a temperature probe. */
#include <math.h>
#include <string.h>

#include "link/scpi.h"
#include "message.h"

#define CYCLES_LEAST 0.02
#define CYCLES_MOST  100
#define SAMPLES_MOST 100
#define RANGES       3

static const double ranges[MEASURED_COUNT][RANGES] = {
    [VOLTS] = {1, 10, 100},
    [AMPS] = {0.1, 1, 10},
    [CELSIUS] = {200, 200, 200},
};
static const struct range range_of[MEASURED_COUNT] = {
    [VOLTS] = {0, 100, 100, "V"},
    [AMPS] = {0, 10, 10, "A"},
    [CELSIUS] = {0, 200, 200, "CEL"},
};
static const struct range resolution_of[MEASURED_COUNT] = {
    [VOLTS] = {0, 1, 0, "V"},
    [AMPS] = {0, 1, 0, "A"},
    [CELSIUS] = {0, 1, 0, "CEL"},
};
static const struct range cycles_range = {CYCLES_LEAST, CYCLES_MOST, 1, ""};
static const struct range count_range = {1, SAMPLES_MOST, 1, ""};

static const char *const function_words[] = {
    [VOLTS] = "VOLT", [AMPS] = "CURR", [WATTS] = "", [CELSIUS] = "TEMP"};

static struct meter_state *state_of(const struct call *call)
{
    return &call->instrument->own.meter;
}

static void reset_meter(struct instrument *instrument)
{
    struct meter_state *meter = &instrument->own.meter;
    text_clear(&meter->readings);
    meter->function = VOLTS;
    memset(meter->range, 0, sizeof meter->range);
    meter->cycles = 1;
    meter->sample_count = 1;
}

/* --- readings -------------------------------------------------------------------------------- */

static double truth_of(const struct call *call, enum measured what)
{
    const struct cell_set *set = instrument_set(call->instrument);
    if (set == NULL)
        return what == CELSIUS ? call->set->cell->truth.ambient : 0; /* open leads */
    struct terminal at = set_at_cell(set);
    return what == VOLTS ? at.volts : what == AMPS ? at.amps : set_temperature(set);
}

static void add_reading(const struct call *call, struct text *to)
{
    enum measured what = state_of(call)->function;
    double truth = truth_of(call, what), range = state_of(call)->range[what];
    if (range <= 0)
        range = ranges[what][RANGES - 1];
    double said = fabs(truth) > 1.2 * range /* 20 % above its name, as meters have it */
                      ? instrument_says_overload(call->instrument, what, truth)
                      : instrument_says(call->instrument, what, truth);
    scpi_add_number(to, said);
}

static void initiate(const struct call *call)
{
    struct meter_state *meter = state_of(call);
    text_clear(&meter->readings);
    for (int i = 0; i < meter->sample_count; i++) {
        text_add(&meter->readings, i > 0 ? "," : "");
        add_reading(call, &meter->readings);
    }
}

static void fetch(const struct call *call)
{
    if (state_of(call)->readings.length == 0)
        instrument_trouble(call->instrument, -230, NULL);
    else
        text_add(call->answer, state_of(call)->readings.bytes);
}

static void read_now(const struct call *call)
{
    initiate(call);
    fetch(call);
}

static void abort_readings(const struct call *call)
{
    (void)call; /* none ever is under way: they take no time */
}

/* --- configuration --------------------------------------------------------------------------- */

/* The smallest range that holds the amount. */
static double range_for(enum measured what, double amount)
{
    for (int i = 0; i < RANGES; i++)
        if (amount <= ranges[what][i])
            return ranges[what][i];
    return ranges[what][RANGES - 1];
}

static bool is_automatic(const struct argument *argument)
{
    return scpi_mnemonic("AUTO", argument->bytes, argument->length, NULL) ||
           scpi_mnemonic("DEFault", argument->bytes, argument->length, NULL);
}

/* [RANGE[, RESOLUTION]]: the resolution is checked, the meter's own is always as fine. */
static bool configured(const struct call *call)
{
    enum measured what = (enum measured)call->which;
    double amount = 0, resolution;
    bool fixed = call->count > 0 && !is_automatic(&call->arguments[0]);
    if (fixed && !argument_number(call, 0, &range_of[what], &amount))
        return false;
    if (call->count > 1 && !argument_number(call, 1, &resolution_of[what], &resolution))
        return false;
    state_of(call)->function = what;
    state_of(call)->range[what] = fixed ? range_for(what, amount) : 0;
    state_of(call)->sample_count = 1;
    text_clear(&state_of(call)->readings);
    return true;
}

static void configure(const struct call *call)
{
    configured(call);
}

static void measure(const struct call *call)
{
    if (configured(call))
        read_now(call);
}

static void ask_configuration(const struct call *call)
{
    enum measured what = state_of(call)->function;
    double range = state_of(call)->range[what];
    text_addf(call->answer, "\"%s ", function_words[what]);
    answer_number(call, range > 0 ? range : ranges[what][RANGES - 1]);
    text_add(call->answer, ",");
    answer_number(call, call->instrument->resolution[what]);
    text_add(call->answer, "\"");
}

static void set_function(const struct call *call)
{
    char name[24];
    if (!argument_string(call, 0, name, sizeof name))
        return;
    if (scpi_header("VOLTage[:DC]", name, strlen(name), NULL, 0))
        state_of(call)->function = VOLTS;
    else if (scpi_header("CURRent[:DC]", name, strlen(name), NULL, 0))
        state_of(call)->function = AMPS;
    else if (scpi_header("TEMPerature", name, strlen(name), NULL, 0))
        state_of(call)->function = CELSIUS;
    else
        argument_trouble(call, 0, -224);
}

static void ask_function(const struct call *call)
{
    scpi_add_string(call->answer, function_words[state_of(call)->function]);
}

static void set_range(const struct call *call)
{
    double amount;
    if (argument_number(call, 0, &range_of[call->which], &amount))
        state_of(call)->range[call->which] = range_for(call->which, amount);
}

static double range_in_use(const struct call *call)
{
    double range = state_of(call)->range[call->which];
    return range > 0 ? range : range_for(call->which, fabs(truth_of(call, call->which)));
}

static void ask_range(const struct call *call)
{
    answer_setting(call, &range_of[call->which], range_in_use(call));
}

static void set_automatic(const struct call *call)
{
    bool automatic;
    if (argument_boolean(call, 0, &automatic))
        state_of(call)->range[call->which] = automatic ? 0 : range_in_use(call);
}

static void ask_automatic(const struct call *call)
{
    answer_boolean(call, state_of(call)->range[call->which] <= 0);
}

static void set_cycles(const struct call *call)
{
    double cycles;
    if (argument_number(call, 0, &cycles_range, &cycles))
        state_of(call)->cycles = cycles;
}

static void ask_cycles(const struct call *call)
{
    answer_setting(call, &cycles_range, state_of(call)->cycles);
}

static void set_sample_count(const struct call *call)
{
    double count;
    if (argument_number(call, 0, &count_range, &count))
        state_of(call)->sample_count = (int)(count + 0.5);
}

static void ask_sample_count(const struct call *call)
{
    text_addf(call->answer, "%d", state_of(call)->sample_count);
}

static const struct command commands[] = {
    {"READ?", 0, 0, read_now, 0},
    {"MEASure[:SCALar]:VOLTage[:DC]?", 0, 2, measure, VOLTS},
    {"MEASure[:SCALar]:CURRent[:DC]?", 0, 2, measure, AMPS},
    {"MEASure[:SCALar]:TEMPerature?", 0, 2, measure, CELSIUS},
    {"CONFigure[:SCALar]:VOLTage[:DC]", 0, 2, configure, VOLTS},
    {"CONFigure[:SCALar]:CURRent[:DC]", 0, 2, configure, AMPS},
    {"CONFigure[:SCALar]:TEMPerature", 0, 2, configure, CELSIUS},
    {"CONFigure?", 0, 0, ask_configuration, 0},
    {"FETCh?", 0, 0, fetch, 0},
    {"INITiate[:IMMediate]", 0, 0, initiate, 0},
    {"ABORt", 0, 0, abort_readings, 0},
    {"[SENSe#:]FUNCtion[:ON]", 1, 1, set_function, 0},
    {"[SENSe#:]FUNCtion[:ON]?", 0, 0, ask_function, 0},
    {"[SENSe#:]VOLTage[:DC]:RANGe[:UPPer]", 1, 1, set_range, VOLTS},
    {"[SENSe#:]VOLTage[:DC]:RANGe[:UPPer]?", 0, 1, ask_range, VOLTS},
    {"[SENSe#:]VOLTage[:DC]:RANGe:AUTO", 1, 1, set_automatic, VOLTS},
    {"[SENSe#:]VOLTage[:DC]:RANGe:AUTO?", 0, 0, ask_automatic, VOLTS},
    {"[SENSe#:]VOLTage[:DC]:NPLCycles", 1, 1, set_cycles, 0},
    {"[SENSe#:]VOLTage[:DC]:NPLCycles?", 0, 1, ask_cycles, 0},
    {"[SENSe#:]CURRent[:DC]:RANGe[:UPPer]", 1, 1, set_range, AMPS},
    {"[SENSe#:]CURRent[:DC]:RANGe[:UPPer]?", 0, 1, ask_range, AMPS},
    {"[SENSe#:]CURRent[:DC]:RANGe:AUTO", 1, 1, set_automatic, AMPS},
    {"[SENSe#:]CURRent[:DC]:RANGe:AUTO?", 0, 0, ask_automatic, AMPS},
    {"[SENSe#:]CURRent[:DC]:NPLCycles", 1, 1, set_cycles, 0},
    {"[SENSe#:]CURRent[:DC]:NPLCycles?", 0, 1, ask_cycles, 0},
    {"SAMPle:COUNt", 1, 1, set_sample_count, 0},
    {"SAMPle:COUNt?", 0, 0, ask_sample_count, 0},
    {NULL, 0, 0, NULL, 0},
};

const struct kind kind_meter = {
    .word = "meter",
    .model = "SM-1",
    .commands = commands,
    .volts = 1e-4,
    .amps = 1e-4,
    .watts = 0,
    .kelvin = 0.1,
    .reset = reset_meter,
};
