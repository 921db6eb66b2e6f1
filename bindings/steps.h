/* The steps a script can ask for. */
#ifndef PERDURE_BINDINGS_STEPS_H
#define PERDURE_BINDINGS_STEPS_H

#include <lua.h>

/* cell:charge and the others, as one library for the cell's object: pushes a table. */
void steps_push(lua_State *L);

#endif
