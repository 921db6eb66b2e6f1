/* The table functions: stable in their order, bounded, and blind to metamethods (a length that a
 * script makes up would keep a C loop busy for ever). */
#include <lauxlib.h>

#include "bindings/sandbox.h"

#define UNPACK_MOST 8000 /* values on the stack at once */

static lua_Integer length_of(lua_State *L, int index)
{
    luaL_checktype(L, index, LUA_TTABLE);
    return (lua_Integer)lua_rawlen(L, index);
}

static void move_item(lua_State *L, int from_table, lua_Integer from, int to_table, lua_Integer to)
{
    lua_rawgeti(L, from_table, from);
    lua_rawseti(L, to_table, to);
}

static int table_insert(lua_State *L)
{
    lua_Integer end = length_of(L, 1) + 1;
    switch (lua_gettop(L)) {
    case 2: break;
    case 3: {
        lua_Integer at = luaL_checkinteger(L, 2);
        luaL_argcheck(L, at >= 1 && at <= end, 2, "position out of bounds");
        guest_charge(L, 3 * (size_t)(end - at));
        for (lua_Integer i = end; i > at; i--)
            move_item(L, 1, i - 1, 1, i);
        end = at;
        break;
    }
    default: return luaL_error(L, "wrong number of arguments to 'insert'");
    }
    lua_rawseti(L, 1, end);
    return 0;
}

static int table_remove(lua_State *L)
{
    lua_Integer length = length_of(L, 1);
    lua_Integer at = luaL_optinteger(L, 2, length);
    if (length == 0 && (at == 0 || at == 1)) {
        lua_pushnil(L);
        return 1;
    }
    luaL_argcheck(L, at >= 1 && at <= length + 1, 2, "position out of bounds");
    guest_charge(L, 3 * (size_t)(length + 1 - at));
    lua_rawgeti(L, 1, at);
    for (; at < length; at++)
        move_item(L, 1, at + 1, 1, at);
    lua_pushnil(L);
    lua_rawseti(L, 1, at);
    return 1;
}

static int table_concat(lua_State *L)
{
    lua_Integer length = length_of(L, 1);
    size_t between_length;
    const char *between = luaL_optlstring(L, 2, "", &between_length);
    lua_Integer from = luaL_optinteger(L, 3, 1), to = luaL_optinteger(L, 4, length);
    luaL_Buffer out;
    luaL_buffinit(L, &out);
    for (lua_Integer i = from; i <= to; i++) {
        int type = lua_rawgeti(L, 1, i);
        if (type != LUA_TSTRING && type != LUA_TNUMBER)
            return luaL_error(L, "invalid value (at index %I) in table for 'concat'",
                              (LUAI_UACINT)i);
        luaL_addvalue(&out);
        if (i < to)
            luaL_addlstring(&out, between, between_length);
        guest_charge(L, 2);
        if (i == LUA_MAXINTEGER)
            break;
    }
    luaL_pushresult(&out);
    return 1;
}

static int table_unpack(lua_State *L)
{
    luaL_checktype(L, 1, LUA_TTABLE);
    lua_Integer from = luaL_optinteger(L, 2, 1);
    lua_Integer to = luaL_optinteger(L, 3, (lua_Integer)lua_rawlen(L, 1));
    if (from > to)
        return 0;
    lua_Unsigned count = (lua_Unsigned)to - (lua_Unsigned)from;
    if (count >= UNPACK_MOST || !lua_checkstack(L, (int)count + 1))
        return luaL_error(L, "too many results to unpack");
    for (lua_Unsigned i = 0; i <= count; i++)
        lua_rawgeti(L, 1, from + (lua_Integer)i);
    return (int)count + 1;
}

static int table_pack(lua_State *L)
{
    int count = lua_gettop(L);
    lua_createtable(L, count, 1);
    lua_insert(L, 1);
    for (int i = count; i >= 1; i--)
        lua_rawseti(L, 1, i);
    lua_pushinteger(L, count);
    lua_setfield(L, 1, "n");
    return 1;
}

static int table_move(lua_State *L)
{
    luaL_checktype(L, 1, LUA_TTABLE);
    lua_Integer from = luaL_checkinteger(L, 2), last = luaL_checkinteger(L, 3);
    lua_Integer to = luaL_checkinteger(L, 4);
    int target = lua_isnoneornil(L, 5) ? 1 : 5;
    luaL_checktype(L, target, LUA_TTABLE);
    if (last >= from) {
        luaL_argcheck(L, from > 0 || last < LUA_MAXINTEGER + from, 3, "too many elements to move");
        lua_Integer count = last - from + 1;
        luaL_argcheck(L, to <= LUA_MAXINTEGER - count + 1, 4, "destination wrap around");
        guest_charge(L, 3 * (size_t)count); /* stops before the loop begins when it is too long */
        bool backwards = target == 1 && to > from && to <= last;
        for (lua_Integer i = 0; i < count; i++) {
            lua_Integer k = backwards ? count - 1 - i : i;
            move_item(L, 1, from + k, target, to + k);
        }
    }
    lua_pushvalue(L, target);
    return 1;
}

/* --- sorting ---------------------------------------------------------------------------------- */

/* Whether the value at `a` comes before the one at `b`; absolute indices. */
static bool comes_before(lua_State *L, int a, int b)
{
    if (lua_isnil(L, 2))
        return lua_compare(L, a, b, LUA_OPLT);
    lua_pushvalue(L, 2);
    lua_pushvalue(L, a);
    lua_pushvalue(L, b);
    lua_call(L, 2, 1);
    bool before = lua_toboolean(L, -1);
    lua_pop(L, 1);
    return before;
}

/* Merges [low, middle) and [middle, high) of table `from` into table `to`. Of two equal ones the
 * left goes first: the order is stable, and a comparator that contradicts itself only spoils the
 * order. */
static void merge(lua_State *L, int from, int to, lua_Integer low, lua_Integer middle,
                  lua_Integer high)
{
    lua_Integer left = low, right = middle, out = low;
    while (left < middle && right < high) {
        lua_rawgeti(L, from, left);
        lua_rawgeti(L, from, right);
        int top = lua_gettop(L);
        bool take_right = comes_before(L, top, top - 1);
        if (take_right) {
            right++;
            lua_rawseti(L, to, out++);
            lua_pop(L, 1);
        } else {
            left++;
            lua_pop(L, 1);
            lua_rawseti(L, to, out++);
        }
    }
    for (; left < middle; left++)
        move_item(L, from, left, to, out++);
    for (; right < high; right++)
        move_item(L, from, right, to, out++);
}

/* Merge sort from the bottom up, between the table and one of the same size. */
static int table_sort(lua_State *L)
{
    lua_Integer n = length_of(L, 1);
    if (!lua_isnoneornil(L, 2))
        luaL_checktype(L, 2, LUA_TFUNCTION);
    lua_settop(L, 2);
    lua_createtable(L, (int)(n < GUEST_BLOCK_MOST ? n : 0), 0);
    int from = 1, to = 3;
    for (lua_Integer width = 1; width < n; width *= 2) {
        for (lua_Integer low = 1; low <= n; low += 2 * width) {
            lua_Integer middle = low + width < n + 1 ? low + width : n + 1;
            lua_Integer high = low + 2 * width < n + 1 ? low + 2 * width : n + 1;
            guest_charge(L, 8 * (size_t)(high - low));
            merge(L, from, to, low, middle, high);
        }
        int other = from;
        from = to;
        to = other;
    }
    if (from != 1)
        for (lua_Integer i = 1; i <= n; i++)
            move_item(L, 3, i, 1, i);
    return 0;
}

static const luaL_Reg functions[] = {
    {"concat", table_concat}, {"insert", table_insert},
    {"move", table_move},     {"pack", table_pack},
    {"remove", table_remove}, {"sort", table_sort},
    {"unpack", table_unpack}, {NULL, NULL},
};

int tables_open(lua_State *L)
{
    luaL_newlib(L, functions);
    lua_setfield(L, -2, "table");
    return 0;
}
