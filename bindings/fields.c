/* Reading a script's tables. */
#include "bindings/fields.h"

#include <ctype.h>
#include <lauxlib.h>
#include <math.h>
#include <string.h>

#include "base/text.h"
#include "bindings/sandbox.h"

#define NAME_MOST 40

/* How many letters must change, be put in, be left out or change places with their neighbour (the
 * optimal string alignment distance). Case does not count. */
static int distance(const char *a, const char *b)
{
    size_t la = strlen(a), lb = strlen(b);
    if (la > NAME_MOST || lb > NAME_MOST)
        return NAME_MOST;
    int rows[3][NAME_MOST + 1];
    int *before = rows[0], *last = rows[1], *now = rows[2];
    for (size_t j = 0; j <= lb; j++)
        last[j] = (int)j;
    for (size_t i = 1; i <= la; i++) {
        now[0] = (int)i;
        for (size_t j = 1; j <= lb; j++) {
            int same = tolower((unsigned char)a[i - 1]) == tolower((unsigned char)b[j - 1]);
            int best = last[j - 1] + !same;
            if (last[j] + 1 < best)
                best = last[j] + 1;
            if (now[j - 1] + 1 < best)
                best = now[j - 1] + 1;
            if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] &&
                before[j - 2] + 1 < best)
                best = before[j - 2] + 1;
            now[j] = best;
        }
        int *free_row = before;
        before = last;
        last = now;
        now = free_row;
    }
    return last[lb];
}

/* Near enough to be worth naming: a third of the letters may be wrong. */
static int near_most(const char *name)
{
    int most = (int)strlen(name) / 3;
    return most ? most : 1;
}

const char *nearest_name(const char *name, const char *const *names)
{
    const char *best = NULL;
    int least = near_most(name) + 1;
    for (; *names; names++) {
        int far = distance(name, *names);
        if (far < least) {
            least = far;
            best = *names;
        }
    }
    return best;
}

bool nearest_key(lua_State *L, int index, const char *name, char *near, size_t size)
{
    int least = near_most(name) + 1;
    near[0] = '\0';
    index = lua_absindex(L, index);
    for (lua_pushnil(L); lua_next(L, index); lua_pop(L, 1)) {
        if (lua_type(L, -2) != LUA_TSTRING)
            continue;
        const char *key = lua_tostring(L, -2);
        int far = distance(name, key);
        if (far < least || (far == least && near[0] && strcmp(key, near) < 0)) {
            least = far;
            string_copy(near, size, key);
        }
    }
    return near[0] != '\0';
}

int fields_unknown(lua_State *L, const char *what, const char *name, const char *const *names)
{
    struct error error;
    char todo[256];
    const char *near = nearest_name(name, names);
    if (near) {
        snprintf(todo, sizeof todo, "did you mean '%s'?", near);
    } else {
        string_copy(todo, sizeof todo, "it may have ");
        for (const char *const *n = names; *n && strlen(todo) + strlen(*n) + 3 < sizeof todo; n++) {
            strcat(todo, n == names ? "" : ", ");
            strcat(todo, *n);
        }
    }
    error_set(&error, ERROR_SCRIPT, "", todo, "%s has no '%.60s'", what, name);
    return guest_raise(L, &error);
}

static bool is_among(lua_State *L, int index, const char *const *names)
{
    if (lua_type(L, index) != LUA_TSTRING)
        return false;
    const char *key = lua_tostring(L, index);
    while (*names && strcmp(*names, key) != 0)
        names++;
    return *names;
}

/* In no order: whether there is any mistake, which is rare, and in a driver looked for at each
 * reading. */
static bool all_among(lua_State *L, int index, const char *const *names)
{
    for (lua_pushnil(L); lua_next(L, index); lua_pop(L, 1)) {
        if (is_among(L, -2, names))
            continue;
        lua_pop(L, 2);
        return false;
    }
    return true;
}

void fields_check(lua_State *L, int index, const char *what, const char *const *names)
{
    index = lua_absindex(L, index);
    luaL_checkstack(L, 4, NULL);
    if (all_among(L, index, names))
        return;
    push_sorted_keys(L, index); /* sorted, so that of two mistakes the same is named each time */
    int keys = lua_gettop(L);
    for (lua_Integer i = 1; lua_rawgeti(L, keys, i) != LUA_TNIL; i++) {
        if (lua_type(L, -1) != LUA_TSTRING) {
            guest_fail(L, "write NAME = VALUE", "%s has a value without a name", what);
            return;
        }
        if (!is_among(L, -1, names)) {
            fields_unknown(L, what, lua_tostring(L, -1), names);
            return;
        }
        lua_pop(L, 1);
    }
    lua_settop(L, keys - 1);
}

bool field_push(lua_State *L, int index, const char *name)
{
    index = lua_absindex(L, index);
    lua_pushstring(L, name);
    if (lua_rawget(L, index) != LUA_TNIL)
        return true;
    lua_pop(L, 1);
    return false;
}

const char *field_text(lua_State *L, int index, const char *what, const char *name)
{
    if (!field_push(L, index, name))
        return NULL;
    if (lua_type(L, -1) != LUA_TSTRING)
        guest_fail(L, "write a text in quotes", "%s: '%s' is a %s", what, name,
                   luaL_typename(L, -1));
    const char *text = lua_tostring(L, -1);
    lua_pop(L, 1);
    return text;
}

bool field_yes(lua_State *L, int index, const char *what, const char *name)
{
    if (!field_push(L, index, name))
        return false;
    if (!lua_isboolean(L, -1))
        guest_fail(L, "write true or false", "%s: %s is a %s", what, name, luaL_typename(L, -1));
    bool yes = lua_toboolean(L, -1);
    lua_pop(L, 1);
    return yes;
}

double quantity_at(lua_State *L, int index, enum dimension dimension, double rated_charge,
                   const char *what)
{
    double si = NAN;
    if (lua_type(L, index) == LUA_TNUMBER) {
        double number = lua_tonumber(L, index);
        if (!isfinite(number))
            guest_fail(L, "give a number", "%s is not a finite number", what);
        return quantity_from_bench(number, dimension);
    }
    if (lua_type(L, index) != LUA_TSTRING) {
        guest_fail(L, "", "%s is a %s and should be a %s such as \"1 %s\"", what,
                   luaL_typename(L, index), dimension_name(dimension), dimension_unit(dimension));
        return si;
    }
    struct error error;
    if (quantity_read(lua_tostring(L, index), dimension, rated_charge, &si, &error)) {
        char why[sizeof error.why];
        string_copy(why, sizeof why, error.why);
        if (error.what[0])
            snprintf(why, sizeof why, "%.200s: %.500s", error.what, error.why);
        error_set(&error, ERROR_SCRIPT, what, error.todo, "%s", why);
        guest_raise(L, &error);
    }
    return si;
}

/* Upvalues: what, names. */
static int strict_index(lua_State *L)
{
    const char *what = lua_touserdata(L, lua_upvalueindex(1));
    const char *const *names = lua_touserdata(L, lua_upvalueindex(2));
    if (lua_type(L, 2) != LUA_TSTRING)
        return 0;
    const char *key = lua_tostring(L, 2);
    for (const char *const *name = names; *name; name++)
        if (strcmp(*name, key) == 0)
            return 0;
    return fields_unknown(L, what, key, names);
}

void fields_strict(lua_State *L, const char *what, const char *const *names)
{
    /* One metatable a kind of table, kept by the address of its names. */
    if (lua_rawgetp(L, LUA_REGISTRYINDEX, names) != LUA_TTABLE) {
        lua_pop(L, 1);
        lua_createtable(L, 0, 2);
        lua_pushlightuserdata(L, (void *)what);
        lua_pushlightuserdata(L, (void *)names);
        lua_pushcclosure(L, strict_index, 2);
        lua_setfield(L, -2, "__index");
        lua_pushboolean(L, 0);
        lua_setfield(L, -2, "__metatable");
        lua_pushvalue(L, -1);
        lua_rawsetp(L, LUA_REGISTRYINDEX, names);
    }
    lua_setmetatable(L, -2);
}
