/* find, match, gmatch and gsub over the counted matcher. */
#include "bindings/patterns.h"

#include <ctype.h>
#include <lauxlib.h>
#include <stdbool.h>
#include <string.h>

#include "bindings/match.h"
#include "bindings/sandbox.h"

/* Where a search begins, counted from 0; a negative place counts from the end. */
static size_t begin_at(lua_State *L, int index, size_t length)
{
    lua_Integer at = luaL_optinteger(L, index, 1);
    if (at > 0)
        return (lua_Unsigned)at - 1 < length + 1 ? (size_t)at - 1 : length + 1;
    if (at == 0 || at < -(lua_Integer)length)
        return 0;
    return length - (size_t)-at;
}

static int find_plainly(lua_State *L, const char *subject, size_t length, size_t begin,
                        const char *wanted, size_t wanted_length)
{
    guest_charge(L, (length - begin) / 16);
    const char *found = memmem(subject + begin, length - begin, wanted, wanted_length);
    if (!found) {
        lua_pushnil(L);
        return 1;
    }
    lua_pushinteger(L, found - subject + 1);
    lua_pushinteger(L, found - subject + (lua_Integer)wanted_length);
    return 2;
}

static bool has_marks(const char *pattern, size_t length)
{
    for (size_t i = 0; i < length; i++)
        if (pattern[i] && strchr("^$*+?.([%-", pattern[i]))
            return true;
    return false;
}

static int search(lua_State *L, bool find)
{
    size_t length, pattern_length;
    const char *subject = luaL_checklstring(L, 1, &length);
    const char *pattern = luaL_checklstring(L, 2, &pattern_length);
    size_t begin = begin_at(L, 3, length);
    if (begin > length) {
        lua_pushnil(L);
        return 1;
    }
    if (find && (lua_toboolean(L, 4) || !has_marks(pattern, pattern_length)))
        return find_plainly(L, subject, length, begin, pattern, pattern_length);

    struct matcher m;
    match_prepare(&m, L, subject, length, pattern, pattern_length);
    bool anchored = pattern_length && *pattern == '^';
    for (const char *s = subject + begin; s <= m.end; s++) {
        const char *end = match_from(&m, s, pattern + anchored);
        if (end && !find)
            return match_push_all(&m, s, end, true);
        if (end) {
            lua_pushinteger(L, s - subject + 1);
            lua_pushinteger(L, end - subject);
            return 2 + match_push_all(&m, s, end, false);
        }
        if (anchored)
            break;
    }
    lua_pushnil(L);
    return 1;
}

static int string_find(lua_State *L)
{
    return search(L, true);
}

static int string_match(lua_State *L)
{
    return search(L, false);
}

/* Upvalues: subject, pattern, where to go on, where the last match ended (-1 for none). */
static int next_match(lua_State *L)
{
    size_t length, pattern_length;
    const char *subject = lua_tolstring(L, lua_upvalueindex(1), &length);
    const char *pattern = lua_tolstring(L, lua_upvalueindex(2), &pattern_length);
    lua_Integer begin = lua_tointeger(L, lua_upvalueindex(3));
    lua_Integer last = lua_tointeger(L, lua_upvalueindex(4));
    struct matcher m;
    match_prepare(&m, L, subject, length, pattern, pattern_length);
    if (begin > (lua_Integer)length)
        return 0;
    for (const char *s = subject + begin; s <= m.end; s++) {
        const char *end = match_from(&m, s, pattern);
        if (!end || end - subject == last)
            continue;
        lua_pushinteger(L, end - subject);
        lua_copy(L, -1, lua_upvalueindex(3));
        lua_replace(L, lua_upvalueindex(4));
        return match_push_all(&m, s, end, true);
    }
    return 0;
}

static int string_gmatch(lua_State *L)
{
    size_t length;
    luaL_checklstring(L, 1, &length);
    luaL_checkstring(L, 2);
    size_t begin = begin_at(L, 3, length);
    lua_settop(L, 2);
    lua_pushinteger(L, (lua_Integer)begin);
    lua_pushinteger(L, -1);
    lua_pushcclosure(L, next_match, 4);
    return 1;
}

/* Adds the replacement text with its %0 to %9 filled in. */
static void add_filled(struct matcher *m, luaL_Buffer *out, const char *s, const char *end)
{
    size_t length;
    const char *text = lua_tolstring(m->L, 3, &length);
    for (const char *at = text; at < text + length; at++) {
        if (*at != '%') {
            luaL_addchar(out, *at);
            continue;
        }
        at++;
        if (at < text + length && *at == '%') {
            luaL_addchar(out, '%');
        } else if (at < text + length && *at == '0') {
            luaL_addlstring(out, s, (size_t)(end - s));
        } else if (at < text + length && isdigit((unsigned char)*at)) {
            match_push(m, *at - '1', s, end);
            luaL_tolstring(m->L, -1, NULL); /* a position is a number */
            lua_remove(m->L, -2);
            luaL_addvalue(out);
        } else {
            luaL_error(m->L, "invalid use of '%%' in replacement string");
        }
    }
    guest_charge(m->L, length / 16);
}

static void add_replacement(struct matcher *m, luaL_Buffer *out, const char *s, const char *end)
{
    lua_State *L = m->L;
    switch (lua_type(L, 3)) {
    case LUA_TFUNCTION:
        lua_pushvalue(L, 3);
        lua_call(L, match_push_all(m, s, end, true), 1);
        break;
    case LUA_TTABLE:
        match_push(m, 0, s, end);
        lua_gettable(L, 3);
        break;
    default: add_filled(m, out, s, end); return;
    }
    if (!lua_toboolean(L, -1)) { /* keeps what was there */
        lua_pop(L, 1);
        luaL_addlstring(out, s, (size_t)(end - s));
    } else if (lua_isstring(L, -1)) {
        luaL_addvalue(out);
    } else {
        luaL_error(L, "invalid replacement value (a %s)", luaL_typename(L, -1));
    }
}

static int string_gsub(lua_State *L)
{
    size_t length, pattern_length;
    const char *subject = luaL_checklstring(L, 1, &length);
    const char *pattern = luaL_checklstring(L, 2, &pattern_length);
    int type = lua_type(L, 3);
    luaL_argcheck(L,
                  type == LUA_TSTRING || type == LUA_TNUMBER || type == LUA_TTABLE ||
                      type == LUA_TFUNCTION,
                  3, "string, function or table expected");
    if (type == LUA_TNUMBER)
        lua_tostring(L, 3);
    lua_Integer most = luaL_optinteger(L, 4, (lua_Integer)length + 1);
    lua_settop(L, 3);

    struct matcher m;
    match_prepare(&m, L, subject, length, pattern, pattern_length);
    bool anchored = pattern_length && *pattern == '^';
    luaL_Buffer out;
    luaL_buffinit(L, &out);
    lua_Integer count = 0;
    const char *s = subject, *last = NULL;
    while (count < most) {
        const char *end = match_from(&m, s, pattern + anchored);
        if (end && end != last) {
            count++;
            add_replacement(&m, &out, s, end);
            s = last = end;
        } else if (s < m.end) {
            luaL_addchar(&out, *s++);
        } else {
            break;
        }
        if (anchored)
            break;
    }
    luaL_addlstring(&out, s, (size_t)(m.end - s));
    luaL_pushresult(&out);
    lua_pushinteger(L, count);
    return 2;
}

void patterns_open(lua_State *L)
{
    static const luaL_Reg functions[] = {
        {"find", string_find}, {"gmatch", string_gmatch},
        {"gsub", string_gsub}, {"match", string_match},
        {NULL, NULL},
    };
    luaL_setfuncs(L, functions, 0);
}
