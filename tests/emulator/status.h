/* The status an instrument reports: event registers and the error queue, as IEEE 488.2 chapter 11
 * and SCPI-1999 volume 2, 21.8 describe them. */
#ifndef EMULATOR_STATUS_H
#define EMULATOR_STATUS_H

#include <stdbool.h>
#include <stdint.h>

#include "base/text.h"

#define TROUBLES_MOST 16 /* that the queue holds, the overflow's own entry included */

/* Standard event status register. */
enum { ESR_OPC = 1, ESR_QYE = 4, ESR_DDE = 8, ESR_EXE = 16, ESR_CME = 32, ESR_PON = 128 };

/* Status byte. */
enum {
    STB_QUEUE = 4,
    STB_QUESTIONABLE = 8,
    STB_MESSAGE = 16,
    STB_EVENT = 32,
    STB_SUMMARY = 64,
    STB_OPERATION = 128
};

/* Bits of the questionable register (SCPI-1999 volume 1, 9; from memory). */
enum { QUESTIONABLE_VOLTAGE = 1, QUESTIONABLE_TEMPERATURE = 16 };

struct condition_register {
    uint16_t condition, event, enable;
};

struct status {
    uint8_t events, event_enable, service_enable;
    struct condition_register questionable, operation;
    struct {
        int code;
        char detail[64];
    } troubles[TROUBLES_MOST];
    int first, count;
};

void status_power_on(struct status *status);
void status_clear(struct status *status);  /* *CLS: events and queue, not the enables */
void status_preset(struct status *status); /* STATus:PRESet */

/* Queues an error; `detail` (may be NULL) goes after the standard's text. Sets the event bit of its
 * class. A full queue keeps its oldest entries, and its last becomes -350. */
void status_trouble(struct status *status, int code, const char *detail);
/* -113,"Undefined header;VOLTT", oldest first, taken out; 0,"No error" when there is none. */
void status_next_trouble(struct status *status, struct text *answer);

/* A rising condition bit is also an event. */
void condition_set(struct condition_register *reg, uint16_t bit, bool on);

uint8_t status_byte(const struct status *status, bool answer_waits);

#endif
