/* The lock beside a logbook: whoever holds FILE-lock writes. It holds, as text for people, the
 * process that has it and since when.
 *
 * The lock is bound to the open file and goes with the process, however that ends. A child that was
 * forked shares it until the child ends, runs another program or closes all it inherited. */
#ifndef PERDURE_LOGBOOK_LOCK_H
#define PERDURE_LOGBOOK_LOCK_H

#include "base/calendar.h"
#include "base/error.h"

struct logbook_lock;

/* ERROR_BUSY, with the holder, when another has it: also another within this process. */
int lock_take(struct logbook_lock **out, const char *logbook, struct error *error);
void lock_release(struct logbook_lock *lock);

/* Looks without taking. *pid: 0 when nobody holds it, -1 when somebody does who has not signed. */
int lock_holder(const char *logbook, int *pid, utc_us *since, struct error *error);

#endif
