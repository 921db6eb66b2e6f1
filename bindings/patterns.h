/* find, match, gmatch, gsub: the language's own patterns, matched with counted work. The stock
 * matcher cannot be interrupted, and a pattern with several `.-` keeps it busy for years. */
#ifndef PERDURE_BINDINGS_PATTERNS_H
#define PERDURE_BINDINGS_PATTERNS_H

#include <lua.h>

/* Adds the four functions to the table at the top. */
void patterns_open(lua_State *L);

#endif
