/* What `simulated { ... }` in a bench file says of a channel and of its cell's truth. */
#ifndef PERDURE_BINDINGS_SIMULATED_SPEC_H
#define PERDURE_BINDINGS_SIMULATED_SPEC_H

#include <lua.h>
#include <stdbool.h>

#include "bench/channel.h"
#include "bench/simcell.h"

/* NAN where the file says nothing: the channel's own value stays. */
struct simulated_spec {
    bool has_truth; /* else each cell gets the typical truth of its chemistry */
    struct simcell_truth truth;
    struct limits limits;
    double tick_least, tick_most, rest_most, void_after; /* s */
};

/* The words `simulated` and `limits`. The first pushes a value that simulated_spec_at knows. */
int word_simulated(lua_State *L);
int word_limits(lua_State *L);

/* NULL when the value at `index` is none. Lives as long as that value. */
const struct simulated_spec *simulated_spec_at(lua_State *L, int index);

#endif
