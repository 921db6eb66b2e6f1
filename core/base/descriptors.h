/* How many files this process may have open at once: each link to an instrument is one or more. */
#ifndef PERDURE_BASE_DESCRIPTORS_H
#define PERDURE_BASE_DESCRIPTORS_H

#include "base/error.h"

/* Raises the process's own limit as far as it may, which is usually from 1,024 to far more, and
 * says where that is. Children inherit it. Never lowers it. */
long descriptors_raise(void);

/* An error when `wanted` more are not left of them; `what` is for its message. */
int descriptors_need(long wanted, const char *what, struct error *error);

#endif
