/* The study words. */
#ifndef PERDURE_BINDINGS_STUDY_H
#define PERDURE_BINDINGS_STUDY_H

#include <lua.h>

/* Pushes the object `s` of the study that runs. */
void study_push(lua_State *L);

#endif
