/* What `by_hand { title = "slot 1" }` in a bench file says of a channel. */
#ifndef PERDURE_BINDINGS_BY_HAND_SPEC_H
#define PERDURE_BINDINGS_BY_HAND_SPEC_H

#include <lua.h>
#include <stdbool.h>

#include "bench/channel.h"

struct by_hand_spec {
    char title[128];
    struct channel_accuracy accuracy; /* of what its display shows */
    bool placed;                      /* cells are put in ahead: nobody is asked for them */
};

/* The word `by_hand`: pushes a value that by_hand_spec_at knows. */
int word_by_hand(lua_State *L);

/* NULL when the value at `index` is none. Lives as long as that value. */
const struct by_hand_spec *by_hand_spec_at(lua_State *L, int index);

#endif
