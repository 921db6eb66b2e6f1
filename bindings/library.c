/* What scripts find as globals: an allow-list of the stock library, with the parts replaced that
 * would differ between two processes, hang, or swallow a stop. */
#include <lauxlib.h>
#include <lualib.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "bindings/fields.h"
#include "bindings/sandbox.h"

/* --- text without addresses ------------------------------------------------------------------- */

void push_text(lua_State *L, int index)
{
    index = lua_absindex(L, index);
    if (luaL_getmetafield(L, index, "__tostring") != LUA_TNIL) {
        lua_pushvalue(L, index);
        lua_call(L, 1, 1);
        if (!lua_isstring(L, -1))
            guest_fail(L, "return a text", "__tostring did not return a text");
        return;
    }
    switch (lua_type(L, index)) {
    case LUA_TNUMBER:
    case LUA_TSTRING:
        lua_pushvalue(L, index);
        lua_tostring(L, -1);
        break;
    case LUA_TBOOLEAN: lua_pushstring(L, lua_toboolean(L, index) ? "true" : "false"); break;
    default: lua_pushstring(L, luaL_typename(L, index)); break;
    }
}

static int word_tostring(lua_State *L)
{
    luaL_checkany(L, 1);
    push_text(L, 1);
    return 1;
}

/* --- tables in one order ---------------------------------------------------------------------- */

struct key {
    int type; /* rank: number, text, boolean */
    lua_Number number;
    lua_Integer integer;
    bool exact;       /* integer holds */
    const char *text; /* anchored by the table */
    size_t length;
};

static void key_of(lua_State *L, int index, struct key *key)
{
    memset(key, 0, sizeof *key);
    switch (lua_type(L, index)) {
    case LUA_TNUMBER:
        key->exact = lua_isinteger(L, index);
        key->integer = key->exact ? lua_tointeger(L, index) : 0;
        key->number = lua_tonumber(L, index);
        break;
    case LUA_TSTRING:
        key->type = 1;
        key->text = lua_tolstring(L, index, &key->length);
        break;
    case LUA_TBOOLEAN:
        key->type = 2;
        key->integer = lua_toboolean(L, index);
        break;
    default:
        guest_fail(L, "use text or numbers as keys",
                   "a table with a %s as a key has no fixed order", luaL_typename(L, index));
    }
}

static int compare_keys(const void *left, const void *right)
{
    const struct key *a = left, *b = right;
    if (a->type != b->type)
        return a->type < b->type ? -1 : 1;
    if (a->type == 1) {
        size_t shorter = a->length < b->length ? a->length : b->length;
        int order = memcmp(a->text, b->text, shorter);
        return order ? order : (a->length > b->length) - (a->length < b->length);
    }
    if (a->type == 2 || (a->exact && b->exact))
        return (a->integer > b->integer) - (a->integer < b->integer);
    return (a->number > b->number) - (a->number < b->number);
}

static void push_key(lua_State *L, const struct key *key)
{
    if (key->type == 1)
        lua_pushlstring(L, key->text, key->length);
    else if (key->type == 2)
        lua_pushboolean(L, key->integer != 0);
    else if (key->exact)
        lua_pushinteger(L, key->integer);
    else
        lua_pushnumber(L, key->number);
}

void push_sorted_keys(lua_State *L, int index)
{
    index = lua_absindex(L, index);
    luaL_checkstack(L, 6, NULL);
    size_t count = 0;
    for (lua_pushnil(L); lua_next(L, index); lua_pop(L, 1))
        count++;
    guest_charge(L, 20 * count); /* a key costs about as much as that many instructions */
    struct key *keys = lua_newuserdatauv(L, (count + 1) * sizeof *keys, 0);
    size_t n = 0;
    for (lua_pushnil(L); lua_next(L, index); lua_pop(L, 1))
        key_of(L, -2, &keys[n++]);
    qsort(keys, n, sizeof *keys, compare_keys);
    lua_createtable(L, (int)n, 0);
    for (size_t i = 0; i < n; i++) {
        push_key(L, &keys[i]);
        lua_rawseti(L, -2, (lua_Integer)i + 1);
    }
    lua_remove(L, -2);
}

/* Upvalues: the keys as they were when the loop began, and how many are done. A key that the loop
 * has taken out since is passed over, one that it has put in is not met. */
static int next_pair(lua_State *L)
{
    lua_Integer done = lua_tointeger(L, lua_upvalueindex(2));
    for (;;) {
        done++;
        if (lua_rawgeti(L, lua_upvalueindex(1), done) == LUA_TNIL)
            return 1;
        lua_pushvalue(L, -1);
        if (lua_rawget(L, 1) != LUA_TNIL)
            break;
        lua_pop(L, 2);
    }
    lua_pushinteger(L, done);
    lua_replace(L, lua_upvalueindex(2));
    return 2;
}

static int word_pairs(lua_State *L)
{
    luaL_checktype(L, 1, LUA_TTABLE);
    push_sorted_keys(L, 1);
    lua_pushinteger(L, 0);
    lua_pushcclosure(L, next_pair, 2);
    lua_pushvalue(L, 1);
    lua_pushnil(L);
    return 3;
}

/* The least key above the one given. Looks at every key each time: fit for `next(t) == nil`. */
static int word_next(lua_State *L)
{
    luaL_checktype(L, 1, LUA_TTABLE);
    lua_settop(L, 2);
    struct key after, key, best;
    bool first = lua_isnil(L, 2), found = false;
    if (!first)
        key_of(L, 2, &after);
    size_t count = 0;
    for (lua_pushnil(L); lua_next(L, 1); lua_pop(L, 1), count++) {
        key_of(L, -2, &key);
        if ((first || compare_keys(&key, &after) > 0) &&
            (!found || compare_keys(&key, &best) < 0)) {
            best = key;
            found = true;
        }
    }
    guest_charge(L, 10 * count);
    if (!found) {
        lua_pushnil(L);
        return 1;
    }
    push_key(L, &best);
    lua_pushvalue(L, -1);
    lua_rawget(L, 1);
    return 2;
}

/* --- metatables ------------------------------------------------------------------------------- */

/* A finalizer or a closing method would run outside the script's turn, a weak table would show when
 * memory was collected, and a made-up length would send C loops far. (A length or a closing method
 * that is put in later does no harm: no C function here asks for the former, and the latter is
 * counted like any other code.) */
static int word_setmetatable(lua_State *L)
{
    static const char *const refused[] = {"__gc", "__close", "__mode", "__len", "__pairs"};
    luaL_checktype(L, 1, LUA_TTABLE);
    if (!lua_isnoneornil(L, 2))
        luaL_checktype(L, 2, LUA_TTABLE);
    lua_settop(L, 2);
    if (luaL_getmetafield(L, 1, "__metatable") != LUA_TNIL)
        return guest_fail(L, "leave it as it is", "this metatable is protected");
    for (size_t i = 0; lua_istable(L, 2) && i < sizeof refused / sizeof *refused; i++) {
        lua_pushstring(L, refused[i]);
        if (lua_rawget(L, 2) != LUA_TNIL)
            return guest_fail(L, "do without it", "a script's metatable may not have %s",
                              refused[i]);
        lua_pop(L, 1);
    }
    lua_setmetatable(L, 1);
    return 1;
}

/* --- failing ---------------------------------------------------------------------------------- */

/* A stop and a lack of memory are not the script's to catch. */
static int finish_pcall(lua_State *L, int status, lua_KContext context)
{
    (void)context;
    guest_leave_pcall(L);
    if (status == LUA_OK || status == LUA_YIELD)
        return lua_gettop(L);
    if (guest_must_pass(L, status))
        return lua_error(L);
    lua_pushboolean(L, 0);
    lua_insert(L, -2);
    return 2;
}

static int word_pcall(lua_State *L)
{
    luaL_checkany(L, 1);
    guest_enter_pcall(L);
    guest_charge(L, 30);
    lua_pushboolean(L, 1);
    lua_insert(L, 1);
    int status = lua_pcallk(L, lua_gettop(L) - 2, LUA_MULTRET, 0, 0, finish_pcall);
    return finish_pcall(L, status, 0);
}

/* --- chance ----------------------------------------------------------------------------------- */

int word_random(lua_State *L)
{
    struct random *random = guest_random(L);
    lua_Integer low = 1, high;
    switch (lua_gettop(L)) {
    case 0: lua_pushnumber(L, random_unit(random)); return 1;
    case 1:
        high = luaL_checkinteger(L, 1);
        if (high == 0) {
            lua_pushinteger(L, (lua_Integer)random_bits(random));
            return 1;
        }
        break;
    case 2:
        low = luaL_checkinteger(L, 1);
        high = luaL_checkinteger(L, 2);
        break;
    default: return luaL_error(L, "wrong number of arguments");
    }
    luaL_argcheck(L, low <= high, lua_gettop(L), "interval is empty");
    lua_pushinteger(L, random_range(random, low, high));
    return 1;
}

/* --- globals ---------------------------------------------------------------------------------- */

static const char *const words_kept[] = {"assert",   "error",    "getmetatable", "ipairs",
                                         "rawequal", "rawget",   "rawlen",       "rawset",
                                         "select",   "tonumber", "type"};

static const luaL_Reg words_replaced[] = {
    {"next", word_next},         {"pairs", word_pairs},
    {"pcall", word_pcall},       {"setmetatable", word_setmetatable},
    {"tostring", word_tostring}, {NULL, NULL},
};

/* The words that files begin with: one that is missing means that a file of another kind was
 * given. */
static const struct {
    const char *word, *kind, *takes;
} kinds_of_file[] = {
    {"bench", "bench", "perdure bench FILE and perdure engine --bench FILE take one"},
    {"simulated", "bench", "perdure bench FILE and perdure engine --bench FILE take one"},
    {"by_hand", "bench", "perdure bench FILE and perdure engine --bench FILE take one"},
    {"instrument", "bench", "perdure bench FILE and perdure engine --bench FILE take one"},
    {"protocol", "protocol", "perdure check, rehearse and start FILE take one"},
    {"study", "study", "perdure check, rehearse and start FILE take one"},
    {"evaluation", "evaluation", "perdure evaluate FILE takes one"},
    {"import", "map", "perdure import DATA --map FILE takes one"},
    {"column", "map", "perdure import DATA --map FILE takes one"},
    {"driver", "driver", "a bench file names one: instrument { driver = \"NAME\", ... }"},
};

/* A name that is not there is a mistake worth its own message, not a silent nil. */
static int missing_global(lua_State *L)
{
    if (lua_type(L, 2) != LUA_TSTRING)
        return 0;
    const char *name = lua_tostring(L, 2);
    static const struct {
        const char *name, *todo;
    } absent[] = {
        {"os", "use now() for the time"},
        {"io", "use record, note or ask"},
        {"xpcall", "use pcall"},
        {"coroutine", "the engine waits for you: call the step"},
        {"load", "use require"},
        {"dofile", "use require"},
        {"loadfile", "use require"},
        {"loadstring", "use require"},
        {"debug", "use note"},
        {"collectgarbage", "leave memory to the engine"},
    };
    for (size_t i = 0; i < sizeof absent / sizeof *absent; i++)
        if (strcmp(name, absent[i].name) == 0)
            return guest_fail(L, absent[i].todo, "scripts have no '%s'", name);
    for (size_t i = 0; i < sizeof kinds_of_file / sizeof *kinds_of_file; i++)
        if (strcmp(name, kinds_of_file[i].word) == 0)
            return guest_fail(L, kinds_of_file[i].takes,
                              "there is no '%s' here: it is a word of %s files", name,
                              kinds_of_file[i].kind);
    char todo[128] = "name it with `local` before you use it";
    char near[64];
    if (nearest_key(L, 1, name, near, sizeof near))
        snprintf(todo, sizeof todo, "did you mean '%s'?", near);
    return guest_fail(L, todo, "there is no '%.60s' here", name);
}

static void open_math(lua_State *L)
{
    luaL_requiref(L, LUA_MATHLIBNAME, luaopen_math, 0);
    lua_pushcfunction(L, word_random);
    lua_setfield(L, -2, "random");
    lua_pushnil(L);
    lua_setfield(L, -2, "randomseed");
    lua_setfield(L, -2, LUA_MATHLIBNAME);
}

int library_open(lua_State *L)
{
    /* The stock globals stay in a table of their own, which no script can reach: only what is
     * listed moves to the new one. */
    luaL_requiref(L, LUA_GNAME, luaopen_base, 0);
    int stock = lua_gettop(L);
    lua_newtable(L);
    for (size_t i = 0; i < sizeof words_kept / sizeof *words_kept; i++) {
        lua_getfield(L, stock, words_kept[i]);
        lua_setfield(L, -2, words_kept[i]);
    }
    luaL_setfuncs(L, words_replaced, 0);
    open_math(L);
    luaL_requiref(L, LUA_UTF8LIBNAME, luaopen_utf8, 0);
    lua_setfield(L, -2, LUA_UTF8LIBNAME);
    tables_open(L);
    strings_open(L);

    lua_createtable(L, 0, 2);
    lua_pushcfunction(L, missing_global);
    lua_setfield(L, -2, "__index");
    lua_pushboolean(L, 0);
    lua_setfield(L, -2, "__metatable");
    lua_setmetatable(L, -2);
    lua_rawseti(L, LUA_REGISTRYINDEX, LUA_RIDX_GLOBALS);

    lua_pushnil(L); /* drop the stock table: functions kept hold no reference to it */
    lua_setfield(L, LUA_REGISTRYINDEX, LUA_LOADED_TABLE);
    return 0;
}
