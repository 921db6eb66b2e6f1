/* Files that describe one thing: they end in `return KIND { ... }`, a bench, a driver, a
 * protocol. */
#ifndef PERDURE_BINDINGS_RETURNED_H
#define PERDURE_BINDINGS_RETURNED_H

#include <lua.h>
#include <stddef.h>

struct returned_file {
    const char *name, *text;
    size_t length;
    const void *key;      /* the address under which the word keeps its table in the registry */
    const char *word;     /* "bench" */
    const char *else_why; /* "the file does not return a bench" */
};

/* Runs the file and pushes what it returned: the very table that was given to the word. Raises what
 * is wrong with the file. */
void returned_push(lua_State *L, const struct returned_file *file);

#endif
