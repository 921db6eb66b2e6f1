/* What instruments with power terminals do alike: being switched, tripping, measuring
 * themselves. */
#ifndef EMULATOR_POWER_H
#define EMULATOR_POWER_H

#include "message.h"

/* Switches what `on` stands for in the instrument's set, and keeps it on record. */
void power_switch(struct instrument *instrument, bool *on, bool to, const char *why);

/* OUTPut ON and the like; refused while tripped. */
void power_set_switch(const struct call *call, bool *on);

/* Sets one level, and keeps it on record as `word`. */
void power_set_level(const struct call *call, const struct range *range, double *level,
                     const char *word);

/* VOLTS, AMPS or WATTS, by call->which. */
void power_answer(const struct call *call, struct terminal at);

void power_ask_tripped(const struct call *call);
void power_clear_protection(const struct call *call);

#endif
