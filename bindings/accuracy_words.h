/* The key `accuracy` of every channel in a bench file, and `misreads` of a simulated one. */
#ifndef PERDURE_BINDINGS_ACCURACY_WORDS_H
#define PERDURE_BINDINGS_ACCURACY_WORDS_H

#include <lua.h>

#include "bench/channel.h"
#include "bench/simulated.h"

/* What the table states under `accuracy`; nothing where it has no such key. Raises. */
void accuracy_words_read(lua_State *L, int table, struct channel_accuracy *out);

/* The same of a device that a person reads: what its display shows. */
void accuracy_words_of_display(lua_State *L, int table, struct channel_accuracy *out);

/* misreads = { voltage = "2 mV", current = "-0.3 % + 1 mA" }. */
void misreads_words_read(lua_State *L, int table, struct misreading *out);

#endif
