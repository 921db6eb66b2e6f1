/* Reading a script's tables: known fields only, the nearest name for a wrong one, and quantities as
 * text with a unit or as plain numbers in bench units. All of it raises at the script's line. */
#ifndef PERDURE_BINDINGS_FIELDS_H
#define PERDURE_BINDINGS_FIELDS_H

#include <lua.h>
#include <stdbool.h>
#include <stddef.h>

#include "base/quantity.h"

/* The name of `names` (ended by NULL) nearest to a mistyped one; NULL when none is near. */
const char *nearest_name(const char *name, const char *const *names);

/* The same among the text keys of a table; false when none is near. */
bool nearest_key(lua_State *L, int index, const char *name, char *near, size_t size);

/* Raises unless every key of the table is one of `names`. `what` is how to call the table. */
void fields_check(lua_State *L, int index, const char *what, const char *const *names);

/* Raises that `what` has no `name`, with the nearest of `names`, or all when none is near. */
int fields_unknown(lua_State *L, const char *what, const char *name, const char *const *names);

/* Pushes the field without asking metamethods; true when it is not nil (else nothing is pushed). */
bool field_push(lua_State *L, int index, const char *name);

/* A text field; NULL when it is not there. The text lives as long as the table holds it. */
const char *field_text(lua_State *L, int index, const char *what, const char *name);

/* A field that is true or false; false when it is not there. */
bool field_yes(lua_State *L, int index, const char *what, const char *name);

/* The quantity on the stack at `index`, in SI: "0.2 It" with `rated_charge` (A.s). */
double quantity_at(lua_State *L, int index, enum dimension dimension, double rated_charge,
                   const char *what);

/* Makes the table at the top strict: reading a field that is neither there nor among `names` (ended
 * by NULL) raises. Both must be static. */
void fields_strict(lua_State *L, const char *what, const char *const *names);

#endif
