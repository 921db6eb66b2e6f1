/* Program messages: the bytes of a line, taken apart and carried out as IEEE 488.2 chapter 7 and
 * SCPI-1999 volume 1, 6.2 say, with the standard's error numbers for what is wrong with them. */
#ifndef EMULATOR_MESSAGE_H
#define EMULATOR_MESSAGE_H

#include "argument.h"
#include "instrument.h"

struct command {
    const char
        *pattern;    /* for scpi_header; '#' where a suffix of 1 may stand; ends with ? to ask */
    int least, most; /* arguments */
    void (*run)(const struct call *call);
    int which; /* for commands that share a function */
};

/* Carries out one message, without its terminator. Answers of its queries go to `answer`, joined by
 * semicolons; nothing is added when there are none. A command error ends the message. */
void message_execute(struct instrument *instrument, const char *bytes, size_t length, utc_us now,
                     struct text *answer);

#endif
