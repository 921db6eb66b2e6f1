/* Keys of a bench file's tables, each read into a field of a struct by a row of a table; and those
 * that every channel has. */
#ifndef PERDURE_BINDINGS_KEYS_H
#define PERDURE_BINDINGS_KEYS_H

#include <lua.h>
#include <stddef.h>

#include "base/quantity.h"
#include "bench/channel.h"

enum key_form {
    FORM_QUANTITY, /* of a dimension: text with a unit, or a plain number in bench units */
    FORM_FRACTION, /* 0.98 or "98 %" */
    FORM_PLAIN     /* a number whose unit has no name here: farad, joule a kelvin */
};

struct key {
    const char *name; /* NULL ends a table of them */
    enum key_form form;
    enum dimension dimension;
    size_t offset; /* of a double, in SI */
};

#define KEYS_MOST 40

/* Appends the names to a list ended by NULL; returns its new end. */
const char **keys_add_names(const char **names, const struct key *keys);

/* The value at the top, in SI. Raises with `what` in the message. */
double key_value(lua_State *L, const struct key *key, const char *what);

/* Sets every field of *into that the table names; says how many. */
int keys_read(lua_State *L, int table, const struct key *keys, void *into, const char *what);

/* What every channel may be told; NAN where the file says nothing: the channel's own value
 * stays. */
struct channel_keys {
    double tick_least, tick_most, rest_most, void_after; /* s */
    struct limits limits;
};

extern const struct key channel_keys[]; /* of the first four; limits have a word of their own */

/* Reads both, from a table that may also have other keys. */
void channel_keys_read(lua_State *L, int table, struct channel_keys *into, const char *what);
void channel_keys_apply(const struct channel_keys *keys, struct channel *channel);

void limits_read(lua_State *L, int table, struct limits *limits);
int word_limits(lua_State *L);

#endif
