/* The scripts' side of the seam in engine/script.h, in Lua. */
#ifndef PERDURE_BINDINGS_SCRIPT_H
#define PERDURE_BINDINGS_SCRIPT_H

#include "engine/script.h"

const struct script_ops *lua_script_ops(void);

/* What a protocol says of itself, after open: for listings and for `check`. Owned by the script. */
struct script_parameter {
    const char *name, *unit, *value, *about; /* unit "" for a text; value as the script gets it */
};
struct script_result {
    const char *name, *unit;
};
bool script_is_study(const struct script *script);
const char *script_title(const struct script *script);
int script_parameters(const struct script *script, const struct script_parameter **out);
int script_results(const struct script *script, const struct script_result **out);
size_t script_memory(const struct script *script); /* bytes that its Lua state holds */

#endif
