/* The string functions: what is safe of the stock library, and bounded versions of the rest. */
#include <lauxlib.h>
#include <lualib.h>
#include <string.h>

#include "bindings/patterns.h"
#include "bindings/sandbox.h"

/* dump shows byte code, pack can fill memory with padding: not kept. */
static const char *const kept[] = {"char", "len", "sub"};

/* Those whose work grows with what they are given, or give. */
static const char *const charged[] = {"byte", "lower", "reverse", "upper"};

/* Upvalue: the stock function. A character costs about as much as a quarter of an instruction, a
 * value on the stack as much as one. */
static int string_charged(lua_State *L)
{
    int before = lua_gettop(L);
    luaL_checkstring(L, 1); /* here, where its name is known */
    lua_pushvalue(L, lua_upvalueindex(1));
    lua_insert(L, 1);
    lua_call(L, before, LUA_MULTRET);
    int results = lua_gettop(L);
    bool text = results == 1 && lua_type(L, 1) == LUA_TSTRING;
    guest_charge(L, text ? lua_rawlen(L, 1) / 4 : (size_t)results);
    return results;
}

static int string_rep(lua_State *L)
{
    size_t length, between_length;
    const char *text = luaL_checklstring(L, 1, &length);
    lua_Integer count = luaL_checkinteger(L, 2);
    const char *between = luaL_optlstring(L, 3, "", &between_length);
    if (count <= 0 || length + between_length == 0) {
        lua_pushliteral(L, "");
        return 1;
    }
    if ((lua_Unsigned)count > GUEST_STRING_MOST / (length + between_length))
        return luaL_error(L, "resulting string too large");
    size_t step = length + between_length, total = (size_t)count * step;
    guest_charge(L, total / 16);
    luaL_Buffer out;
    char *at = luaL_buffinitsize(L, &out, total);
    memcpy(at, text, length);
    memcpy(at + length, between, between_length);
    for (size_t done = step; done < total; done *= 2) /* copies what is there, doubling it */
        memcpy(at + done, at, done < total - done ? done : total - done);
    luaL_pushresultsize(&out, total - between_length);
    return 1;
}

/* Upvalue: the stock format. Values that it would show by address are turned to text first. */
static int string_format(lua_State *L)
{
    const char *format = luaL_checkstring(L, 1);
    for (const char *at = strchr(format, '%'); at; at = strchr(at, '%')) {
        at++;
        at += strspn(at, "-+ #0123456789.");
        if (*at == 'p')
            return luaL_error(L, "invalid conversion '%%p' to 'format'");
        if (*at)
            at++;
    }
    int count = lua_gettop(L);
    for (int i = 2; i <= count; i++) {
        int type = lua_type(L, i);
        if (type == LUA_TNUMBER || type == LUA_TSTRING || type == LUA_TBOOLEAN || type == LUA_TNIL)
            continue;
        push_text(L, i);
        lua_replace(L, i);
    }
    lua_pushvalue(L, lua_upvalueindex(1));
    lua_insert(L, 1);
    lua_call(L, count, 1);
    return 1;
}

int strings_open(lua_State *L)
{
    luaopen_string(L); /* pushes the library and gives every text its metatable */
    lua_newtable(L);
    for (size_t i = 0; i < sizeof kept / sizeof *kept; i++) {
        lua_getfield(L, -2, kept[i]);
        lua_setfield(L, -2, kept[i]);
    }
    for (size_t i = 0; i < sizeof charged / sizeof *charged; i++) {
        lua_getfield(L, -2, charged[i]);
        lua_pushcclosure(L, string_charged, 1);
        lua_setfield(L, -2, charged[i]);
    }
    lua_pushcfunction(L, string_rep);
    lua_setfield(L, -2, "rep");
    lua_getfield(L, -2, "format");
    lua_pushcclosure(L, string_format, 1);
    lua_setfield(L, -2, "format");
    patterns_open(L);
    lua_remove(L, -2);

    /* ("text"):upper() finds these functions too, and nobody else's. */
    lua_pushliteral(L, "");
    lua_getmetatable(L, -1);
    lua_pushvalue(L, -3);
    lua_setfield(L, -2, "__index");
    lua_pushboolean(L, 0);
    lua_setfield(L, -2, "__metatable");
    lua_pop(L, 2);
    lua_setfield(L, -2, "string");
    return 0;
}
