/* Shared by supply.c, load.c and quadrant.c. */
#include "power.h"

void power_switch(struct instrument *instrument, bool *on, bool to, const char *why)
{
    if (*on == to)
        return;
    *on = to;
    set_changed(instrument->sets[0]);
    if (to)
        record_add(instrument->record, instrument->name, "output on");
    else
        record_add(instrument->record, instrument->name, "output off %s", why);
}

void power_set_switch(const struct call *call, bool *on)
{
    bool to;
    if (!argument_boolean(call, 0, &to))
        return;
    if (to && call->instrument->tripped != NULL)
        instrument_trouble(call->instrument, -221, call->instrument->tripped);
    else
        power_switch(call->instrument, on, to, "command");
}

void power_set_level(const struct call *call, const struct range *range, double *level,
                     const char *word)
{
    double value;
    if (!argument_number(call, 0, range, &value))
        return;
    *level = value;
    set_changed(call->set);
    record_add(call->instrument->record, call->instrument->name, "level %s %.9g", word, value);
}

void power_answer(const struct call *call, struct terminal at)
{
    double truth = call->which == VOLTS  ? at.volts
                   : call->which == AMPS ? at.amps
                                         : at.volts * at.amps;
    answer_number(call, instrument_says(call->instrument, (enum measured)call->which, truth));
}

void power_ask_tripped(const struct call *call)
{
    answer_boolean(call, call->instrument->tripped != NULL);
}

void power_clear_protection(const struct call *call)
{
    instrument_clear_trip(call->instrument);
}
