/* What truly happened, a line an event, for tests to hold against what was believed:
 *
 *     SECONDS NAME output on | output off WHY | level WHAT VALUE | closed N | opened N
 *     SECONDS NAME reading WHAT said VALUE true VALUE
 *     SECONDS NAME fault WHICH | hung-up | returned
 *
 * SECONDS is CLOCK_MONOTONIC. Volts, amps, watts, degC; readings in the sense that the instrument
 * says them. */
#ifndef EMULATOR_RECORD_H
#define EMULATOR_RECORD_H

#include "base/error.h"

struct record;

int record_open(struct record **out, const char *path, struct error *error);
void record_close(struct record *record);

/* NULL for `record` is allowed here and in record_flush: nothing is kept. */
void record_add(struct record *record, const char *name, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* Lines are in the file after this. */
void record_flush(struct record *record);

#endif
