/* The words `serial`, `tcp`, `usbtmc` and `pty` of a bench file. */
#ifndef PERDURE_BINDINGS_LINK_SPEC_H
#define PERDURE_BINDINGS_LINK_SPEC_H

#include <lua.h>

#include "link/link.h"

/* The spec's texts are in the two arrays: link_words_spec points them there. */
struct link_words {
    struct link_spec spec;
    char path[256], terminator[3];
};

struct link_spec link_words_spec(const struct link_words *words);

void link_words_open(lua_State *L); /* sets the four globals */

/* NULL when the value at `index` is none. Lives as long as that value. */
const struct link_words *link_words_at(lua_State *L, int index);

#endif
