/* The ledger: every fact that was seen in a logbook, kept apart from it. What was seen was
 * committed, so it must be there for ever, unchanged: rows are added and completed, not rewritten.
 *
 *   pin .. (the engine is killed) .. take        what was visible in the instant before the kill
 *   compare                                      with what the files hold afterwards */
#ifndef PERDURE_TESTS_FAULT_LEDGER_H
#define PERDURE_TESTS_FAULT_LEDGER_H

#include <stdint.h>

#include "findings.h"

struct ledger;

struct ledger *ledger_open(void);
void ledger_close(struct ledger *ledger);

/* Opens the logbook read-only and holds its present state; false when it cannot be read just
 * now. */
bool ledger_pin(struct ledger *ledger, const char *logbook);

/* Takes over what the pinned state holds and lets go of the file. */
void ledger_take(struct ledger *ledger);

/* Everything taken so far must be in this file. */
void ledger_compare(struct ledger *ledger, const char *logbook, struct findings *findings);

int64_t ledger_facts(struct ledger *ledger);

#endif
