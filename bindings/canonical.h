/* Values of a script as canonical JSON, and back. Canonical: one text for one value, in every
 * process, so that texts can be compared and hashed. */
#ifndef PERDURE_BINDINGS_CANONICAL_H
#define PERDURE_BINDINGS_CANONICAL_H

#include <lua.h>

#include "base/text.h"

#define CANONICAL_DEPTH_MOST 32
#define CANONICAL_BYTES_MOST (1u << 20)

/* Appends the value at `index`: keys sorted, integers as integers, floats with a point or exponent
 * in the fewest digits that read back the same. A function becomes {"function":true}. Raises, with
 * `what` in the message, for what has no such text: not-a-number, a table that holds itself, keys
 * that are neither all text nor 1 to n. Metatables are not looked at. */
void canonical_write(lua_State *L, int index, struct text *out, const char *what);

/* Pushes the value of a JSON text (NUL-terminated); null becomes nil. Raises when it is malformed:
 * that is a fault of the record, not of the script. */
void canonical_read(lua_State *L, const char *json);

#endif
