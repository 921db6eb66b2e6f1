/* Running a file for the one table that it has to return. */
#include "bindings/returned.h"

#include <stdio.h>

#include "bindings/doubled.h"
#include "bindings/sandbox.h"

void returned_push(lua_State *L, const struct returned_file *file)
{
    struct error error;
    char todo[80];
    if (doubled_key(file->name, file->text, file->length, &error))
        guest_raise_there(L, &error);
    guest_load(L, file->name, file->text, file->length);
    lua_call(L, 0, 1);
    /* Without a call of the word there is nothing in the registry. */
    if (!lua_istable(L, -1) || lua_rawgetp(L, LUA_REGISTRYINDEX, file->key) != LUA_TTABLE ||
        !lua_rawequal(L, -1, -2)) {
        snprintf(todo, sizeof todo, "end it with `return %s { ... }`", file->word);
        error_set(&error, ERROR_SCRIPT, file->name, todo, "%s", file->else_why);
        guest_raise(L, &error);
    }
    lua_pop(L, 1);
}
