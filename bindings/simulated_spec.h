/* What `simulated { ... }` in a bench file says of a channel and of its cell's truth. */
#ifndef PERDURE_BINDINGS_SIMULATED_SPEC_H
#define PERDURE_BINDINGS_SIMULATED_SPEC_H

#include <lua.h>
#include <stdbool.h>

#include "bench/simcell.h"
#include "bench/simulated.h"
#include "bindings/keys.h"

struct simulated_spec {
    bool has_truth; /* else each cell gets the typical truth of its chemistry */
    struct simcell_truth truth;
    struct channel_keys channel;
    struct channel_accuracy accuracy; /* what its results are to be trusted as if measured with */
    struct misreading misreads;
};

/* The word `simulated`: pushes a value that simulated_spec_at knows. */
int word_simulated(lua_State *L);

/* NULL when the value at `index` is none. Lives as long as that value. */
const struct simulated_spec *simulated_spec_at(lua_State *L, int index);

#endif
