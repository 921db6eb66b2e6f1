/* Finds a key that a table names twice: the language silently keeps the last, and at a bench that
 * is a limit or a channel lost. */
#ifndef PERDURE_BINDINGS_DOUBLED_H
#define PERDURE_BINDINGS_DOUBLED_H

#include <stddef.h>

#include "base/error.h"

/* Looks through the text as written, not as run; 0 when no table names a key twice. The error's
 * `what` is FILE:LINE. Text that is no Lua is left to the compiler to refuse. */
int doubled_key(const char *name, const char *text, size_t length, struct error *error);

#endif
