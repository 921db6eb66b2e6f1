/* The word `channel` of a bench file: a channel put together from instruments. */
#ifndef PERDURE_BINDINGS_WIRED_SPEC_H
#define PERDURE_BINDINGS_WIRED_SPEC_H

#include <lua.h>

#include "bindings/instrument_spec.h"
#include "bindings/keys.h"

enum wired_role {
    ROLE_SOURCE,
    ROLE_SINK,
    ROLE_METER,
    ROLE_THERMOMETER,
    ROLE_RELAY,
    ROLE_SCANNER,
    ROLE_OHMMETER,
    ROLE_OHMMETER_SCANNER,
    WIRED_ROLES
};

struct wired_words {
    struct route_words role[WIRED_ROLES];
    struct channel_keys channel;
    struct channel_accuracy accuracy;
    double compliance; /* V; NAN */
    int frozen_after;  /* -1: not said */
    bool placed;       /* cells are put in ahead: nobody is asked for them */
};

int word_channel(lua_State *L);

/* NULL when the value at `index` is none. Lives as long as that value. */
const struct wired_words *wired_words_at(lua_State *L, int index);

/* Makes the channel: of the instruments, which are opened, or simulated where nothing real may be.
 * Raises. */
struct channel *wired_words_channel(lua_State *L, const struct wired_words *words,
                                    const char *name);

#endif
