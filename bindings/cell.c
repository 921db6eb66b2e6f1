/* The object that run gets as `cell`: its facts and its steps, not to be changed. */
#include <lauxlib.h>

#include "bindings/fields.h"
#include "bindings/script_internal.h"
#include "bindings/steps.h"

/* Upvalue: what the cell has. */
static int cell_index(lua_State *L)
{
    lua_pushvalue(L, 2);
    if (lua_rawget(L, lua_upvalueindex(1)) != LUA_TNIL)
        return 1;
    char near[64], todo[128] = "it has label, model, chemistry, rated, and the steps";
    if (lua_type(L, 2) != LUA_TSTRING)
        return guest_fail(L, todo, "a cell has no such field");
    const char *name = lua_tostring(L, 2);
    if (nearest_key(L, lua_upvalueindex(1), name, near, sizeof near))
        snprintf(todo, sizeof todo, "did you mean '%s'?", near);
    return guest_fail(L, todo, "a cell has no '%.60s'", name);
}

static int cell_newindex(lua_State *L)
{
    return guest_fail(L, "keep it in a local variable", "a cell cannot be changed");
}

void cell_push(lua_State *L)
{
    struct script *script = script_of(L);
    lua_newtable(L);
    lua_createtable(L, 0, 3);
    steps_push(L);
    lua_pushstring(L, script->cell.label);
    lua_setfield(L, -2, "label");
    lua_pushstring(L, script->cell.model);
    lua_setfield(L, -2, "model");
    lua_pushstring(L, script->cell.profile ? script->cell.profile->chemistry : "");
    lua_setfield(L, -2, "chemistry");
    lua_pushnumber(L, quantity_to_bench(script->cell.rated_charge, DIM_CHARGE));
    lua_setfield(L, -2, "rated");
    lua_pushcclosure(L, cell_index, 1);
    lua_setfield(L, -2, "__index");
    lua_pushcfunction(L, cell_newindex);
    lua_setfield(L, -2, "__newindex");
    lua_pushboolean(L, 0);
    lua_setfield(L, -2, "__metatable");
    lua_setmetatable(L, -2);
    lua_pushvalue(L, -1);
    script->cell_ref = luaL_ref(L, LUA_REGISTRYINDEX);
}
