/* The words `total` and `mean`: one value out of several outcomes, with its uncertainty. */
#ifndef PERDURE_BINDINGS_COMBINE_H
#define PERDURE_BINDINGS_COMBINE_H

#include <lua.h>

/* total(outcomes, "charge") -> sum, { uncertainty = u } or nil. */
int word_total(lua_State *L);

/* mean(outcomes, "resistance") -> mean, { uncertainty = u, freedom = n } or nil. */
int word_mean(lua_State *L);

#endif
