/* What a command is called with, and reading its arguments. Each reader queues the error that the
 * standard has for what is wrong, and is false then. */
#ifndef EMULATOR_ARGUMENT_H
#define EMULATOR_ARGUMENT_H

#include "instrument.h"

#define ARGUMENTS_MOST 8

struct argument {
    const char *bytes; /* as they came, spaces about them taken off */
    size_t length;
};

struct call {
    struct instrument *instrument;
    struct cell_set *set; /* its first */
    utc_us now;
    int which;
    int count;
    struct argument arguments[ARGUMENTS_MOST];
    struct text *answer;
};

/* What MINimum, MAXimum and DEFault mean, and what is accepted. */
struct range {
    double least, most, usual;
    const char *unit; /* "V"; "" for none */
};

/* A number with or without unit ("500 mA", "0.5", "MAX"). IEEE 488.2 7.7.2 and 7.7.3. */
bool argument_number(const struct call *call, int index, const struct range *range, double *value);
/* ON, OFF, or a number that rounds to 0 or not (SCPI-1999 volume 1, 7.3). */
bool argument_boolean(const struct call *call, int index, bool *value);
/* Which of the mnemonics (up to a NULL) it is. */
bool argument_word(const struct call *call, int index, const char *const *patterns, int *which);
bool argument_string(const struct call *call, int index, char *out, size_t size);

/* The answer to "VOLTage? [MINimum|MAXimum|DEFault]": the setting, or that end of its range. */
void answer_setting(const struct call *call, const struct range *range, double value);

void answer_number(const struct call *call, double value);
void answer_boolean(const struct call *call, bool value);
/* Queues the error with the argument's bytes. */
void argument_trouble(const struct call *call, int index, int code);

#endif
