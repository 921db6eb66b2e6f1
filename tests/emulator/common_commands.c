/* Nothing here takes time: *OPC is complete and *WAI over when they are read. */
#include "common_commands.h"

static const struct range byte_range = {0, 255, 0, ""};
static const struct range enable_range = {0, 65535, 0, ""};

/* --- IEEE 488.2 ------------------------------------------------------------------------------ */

static void clear(const struct call *call)
{
    status_clear(&call->instrument->status);
}

enum { EVENT_ENABLE, SERVICE_ENABLE };

static uint8_t *enable_of(const struct call *call)
{
    struct status *status = &call->instrument->status;
    return call->which == EVENT_ENABLE ? &status->event_enable : &status->service_enable;
}

static void set_enable(const struct call *call)
{
    double value;
    if (!argument_number(call, 0, &byte_range, &value))
        return;
    int bits = (int)(value + 0.5);
    *enable_of(call) = (uint8_t)(call->which == SERVICE_ENABLE ? bits & ~STB_SUMMARY : bits);
}

static void ask_enable(const struct call *call)
{
    text_addf(call->answer, "%d", *enable_of(call));
}

static void ask_events(const struct call *call)
{
    struct status *status = &call->instrument->status;
    text_addf(call->answer, "%d", status->events);
    status->events = 0;
}

static void ask_status_byte(const struct call *call)
{
    text_addf(call->answer, "%d", status_byte(&call->instrument->status, call->answer->length > 0));
}

static void identify(const struct call *call)
{
    struct instrument *instrument = call->instrument;
    if (fault_strikes(&instrument->faults, FAULT_IDENTITY, NULL)) {
        record_add(instrument->record, instrument->name, "fault wrong-identity");
        text_add(call->answer, "Fenwick Measurement,FM-9,9999,7.3");
        return;
    }
    text_addf(call->answer, MAKER ",%s,%s," FIRMWARE, instrument->kind->model, instrument->serial);
}

static void complete(const struct call *call)
{
    call->instrument->status.events |= ESR_OPC;
}

static void reset(const struct call *call)
{
    instrument_reset(call->instrument);
}

static void wait(const struct call *call)
{
    (void)call;
}

static void ask_constant(const struct call *call)
{
    text_addf(call->answer, "%d", call->which);
}

/* --- SYSTem ---------------------------------------------------------------------------------- */

static void next_trouble(const struct call *call)
{
    status_next_trouble(&call->instrument->status, call->answer);
}

static void all_troubles(const struct call *call)
{
    do {
        status_next_trouble(&call->instrument->status, call->answer);
        if (call->instrument->status.count > 0)
            text_add(call->answer, ",");
    } while (call->instrument->status.count > 0);
}

static void count_troubles(const struct call *call)
{
    text_addf(call->answer, "%d", call->instrument->status.count);
}

static void version(const struct call *call)
{
    text_add(call->answer, "1999.0");
}

/* --- STATus ---------------------------------------------------------------------------------- */

enum { QUESTIONABLE, OPERATION };

static struct condition_register *register_of(const struct call *call)
{
    struct status *status = &call->instrument->status;
    return call->which == QUESTIONABLE ? &status->questionable : &status->operation;
}

static void ask_event(const struct call *call)
{
    struct condition_register *reg = register_of(call);
    text_addf(call->answer, "%d", reg->event);
    reg->event = 0;
}

static void ask_condition(const struct call *call)
{
    text_addf(call->answer, "%d", register_of(call)->condition);
}

static void set_event_enable(const struct call *call)
{
    double value;
    if (argument_number(call, 0, &enable_range, &value))
        register_of(call)->enable = (uint16_t)((unsigned)(value + 0.5) & 0x7fff);
}

static void ask_event_enable(const struct call *call)
{
    text_addf(call->answer, "%d", register_of(call)->enable);
}

static void preset(const struct call *call)
{
    status_preset(&call->instrument->status);
}

const struct command common_commands[] = {
    {"SYSTem:ERRor[:NEXT]?", 0, 0, next_trouble, 0},
    {"*OPC?", 0, 0, ask_constant, 1},
    {"*STB?", 0, 0, ask_status_byte, 0},
    {"*ESR?", 0, 0, ask_events, 0},
    {"*IDN?", 0, 0, identify, 0},
    {"*CLS", 0, 0, clear, 0},
    {"*RST", 0, 0, reset, 0},
    {"*ESE", 1, 1, set_enable, EVENT_ENABLE},
    {"*ESE?", 0, 0, ask_enable, EVENT_ENABLE},
    {"*SRE", 1, 1, set_enable, SERVICE_ENABLE},
    {"*SRE?", 0, 0, ask_enable, SERVICE_ENABLE},
    {"*OPC", 0, 0, complete, 0},
    {"*WAI", 0, 0, wait, 0},
    {"*TST?", 0, 0, ask_constant, 0},
    {"SYSTem:ERRor:ALL?", 0, 0, all_troubles, 0},
    {"SYSTem:ERRor:COUNt?", 0, 0, count_troubles, 0},
    {"SYSTem:VERSion?", 0, 0, version, 0},
    {"STATus:QUEStionable[:EVENt]?", 0, 0, ask_event, QUESTIONABLE},
    {"STATus:QUEStionable:CONDition?", 0, 0, ask_condition, QUESTIONABLE},
    {"STATus:QUEStionable:ENABle", 1, 1, set_event_enable, QUESTIONABLE},
    {"STATus:QUEStionable:ENABle?", 0, 0, ask_event_enable, QUESTIONABLE},
    {"STATus:OPERation[:EVENt]?", 0, 0, ask_event, OPERATION},
    {"STATus:OPERation:CONDition?", 0, 0, ask_condition, OPERATION},
    {"STATus:OPERation:ENABle", 1, 1, set_event_enable, OPERATION},
    {"STATus:OPERation:ENABle?", 0, 0, ask_event_enable, OPERATION},
    {"STATus:PRESet", 0, 0, preset, 0},
    {NULL, 0, 0, NULL, 0},
};
