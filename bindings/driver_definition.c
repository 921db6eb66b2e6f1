/* `driver { ... }`: what a driver file says of itself, checked before anything is sent. */
#include <lauxlib.h>
#include <stdlib.h>
#include <string.h>

#include "bindings/canonical.h"
#include "bindings/driver_internal.h"
#include "bindings/fields.h"

static const char *const keys[] = {"title",    "can",      "safe",       "sync", "ending",
                                   "settings", "identify", "prepare",    "off",  "drive",
                                   "read",     "connect",  "disconnect", NULL};

/* --- what it can ----------------------------------------------------------------------------- */

static const struct {
    const char *name;
    unsigned can;
    enum driver_task needs[3]; /* ended by DRIVER_IDENTIFY, which all need */
    bool safe;
} abilities[] = {
    {"source", CAN_SOURCE, {DRIVER_DRIVE, DRIVER_OFF, DRIVER_READ}, true},
    {"sink", CAN_SINK, {DRIVER_DRIVE, DRIVER_OFF, DRIVER_READ}, true},
    {"meter", CAN_METER, {DRIVER_READ, DRIVER_IDENTIFY, DRIVER_IDENTIFY}, false},
    {"thermometer", CAN_THERMOMETER, {DRIVER_READ, DRIVER_IDENTIFY, DRIVER_IDENTIFY}, false},
    {"ohmmeter", CAN_OHMMETER, {DRIVER_READ, DRIVER_IDENTIFY, DRIVER_IDENTIFY}, false},
    {"relay", CAN_RELAY, {DRIVER_CONNECT, DRIVER_DISCONNECT, DRIVER_IDENTIFY}, true},
};
#define ABILITIES (sizeof abilities / sizeof *abilities)

static void need(lua_State *L, const char *ability, const char *name)
{
    char todo[80];
    if (field_push(L, 1, name)) {
        lua_pop(L, 1);
        return;
    }
    snprintf(todo, sizeof todo, "add %s", name);
    guest_fail(L, todo, "a driver for a%s %s has no %s", strchr("io", ability[0]) ? "n" : "",
               ability, name);
}

static void read_ability(lua_State *L, const char *word)
{
    const char *names[ABILITIES + 1] = {NULL};
    for (size_t i = 0; i < ABILITIES; i++) {
        names[i] = abilities[i].name;
        if (strcmp(abilities[i].name, word) != 0)
            continue;
        driver_of(L)->driver.can |= abilities[i].can;
        for (int k = 0; k < 3; k++)
            need(L, word, driver_task_names[abilities[i].needs[k]]);
        if (abilities[i].safe)
            need(L, word, "safe");
        return;
    }
    fields_unknown(L, "what an instrument can be", word, names);
}

static void read_can(lua_State *L)
{
    driver_of(L)->driver.can = 0;
    if (!field_push(L, 1, "can") || !lua_istable(L, -1) || lua_rawlen(L, -1) == 0) {
        guest_fail(L, "add can = { \"source\" }, or sink, meter, thermometer, ohmmeter, relay",
                   "the driver does not say what its instrument can be");
        return;
    }
    for (lua_Integer i = 1; lua_rawgeti(L, -1, i) != LUA_TNIL; i++) {
        if (lua_type(L, -1) != LUA_TSTRING)
            guest_fail(L, "write can = { \"source\" }", "can holds a %s", luaL_typename(L, -1));
        read_ability(L, lua_tostring(L, -1));
        lua_pop(L, 1);
    }
    lua_pop(L, 2);
}

/* --- settings -------------------------------------------------------------------------------- */

/* Pushes the defaults with what the bench file gave in their place. */
static void push_settings(lua_State *L)
{
    struct lua_driver *driver = driver_of(L);
    lua_newtable(L);
    int values = lua_gettop(L);
    if (!field_push(L, 1, "settings"))
        lua_newtable(L);
    int defaults = lua_gettop(L);
    if (!lua_istable(L, defaults))
        guest_fail(L, "write settings = { NAME = DEFAULT }", "settings is a %s",
                   luaL_typename(L, defaults));
    push_sorted_keys(L, defaults);
    int names = lua_gettop(L);
    for (lua_Integer i = 1; lua_rawgeti(L, names, i) != LUA_TNIL; i++) {
        if (lua_type(L, -1) != LUA_TSTRING)
            guest_fail(L, "write NAME = DEFAULT", "a setting has no name");
        lua_pushvalue(L, -1);
        lua_rawget(L, defaults);
        lua_rawset(L, values);
    }
    canonical_read(L, driver->settings);
    int given = lua_gettop(L);
    push_sorted_keys(L, given);
    names = lua_gettop(L);
    for (lua_Integer i = 1; lua_rawgeti(L, names, i) != LUA_TNIL; i++) {
        const char *name = luaL_tolstring(L, -1, NULL);
        char near[64], todo[128] = "see the driver file";
        if (!field_push(L, values, name)) {
            if (nearest_key(L, values, name, near, sizeof near))
                snprintf(todo, sizeof todo, "did you mean '%s'?", near);
            guest_fail(L, todo, "there is no setting '%.60s'", name);
        }
        field_push(L, given, name);
        if (lua_type(L, -1) != lua_type(L, -2))
            guest_fail(L, "", "the setting '%.60s' is a %s and should be a %s", name,
                       luaL_typename(L, -1), luaL_typename(L, -2));
        lua_setfield(L, values, name);
        lua_settop(L, names);
    }
    lua_settop(L, values);
}

/* { settings = ... } with the words as its methods; the driver may keep what it likes in it. */
static void make_self(lua_State *L)
{
    struct lua_driver *driver = driver_of(L);
    lua_newtable(L);
    push_settings(L);
    lua_setfield(L, -2, "settings");
    lua_createtable(L, 0, 2);
    driver_methods_push(L);
    lua_setfield(L, -2, "__index");
    lua_pushboolean(L, 0);
    lua_setfield(L, -2, "__metatable");
    lua_setmetatable(L, -2);
    driver->self_ref = luaL_ref(L, LUA_REGISTRYINDEX);
}

/* --- bytes ----------------------------------------------------------------------------------- */

static void keep(char **place, const char *text)
{
    free(*place);
    *place = text ? xstrdup(text) : NULL;
}

static void read_ending(lua_State *L)
{
    struct lua_driver *driver = driver_of(L);
    const char *ending = field_text(L, 1, "a driver", "ending");
    if (!ending)
        ending = "\n";
    if (strlen(ending) < 1 || strlen(ending) > 2)
        guest_fail(L, "write ending = \"\\r\\n\", say", "the ending has not 1 or 2 bytes");
    string_copy(driver->ending, sizeof driver->ending, ending);
}

/* A text, or a function of self that gives one. */
static void read_safe(lua_State *L)
{
    struct lua_driver *driver = driver_of(L);
    if (!field_push(L, 1, "safe"))
        return;
    if (lua_isfunction(L, -1)) {
        lua_rawgeti(L, LUA_REGISTRYINDEX, driver->self_ref);
        lua_call(L, 1, 1);
    }
    if (lua_type(L, -1) != LUA_TSTRING || lua_rawlen(L, -1) == 0)
        guest_fail(L, "write safe = \"OUTP OFF\"", "safe is no text");
    driver_push_line(L, -1);
    if (!driver->safe) /* the instrument holds the first; a later opening gives the same */
        keep(&driver->safe, lua_tostring(L, -1));
    lua_pop(L, 2);
}

static void read_sync(lua_State *L)
{
    static const char *const names[] = {"ask", "answer", NULL};
    struct lua_driver *driver = driver_of(L);
    if (!field_push(L, 1, "sync"))
        return;
    if (!lua_istable(L, -1))
        guest_fail(L, "write sync = { ask = \"*IDN?\" }", "sync is a %s", luaL_typename(L, -1));
    fields_check(L, -1, "sync", names);
    int sync = lua_gettop(L);
    const char *answer = field_text(L, sync, "sync", "answer");
    if (!field_text(L, sync, "sync", "ask"))
        guest_fail(L, "write sync = { ask = \"*IDN?\" }", "sync asks nothing");
    field_push(L, sync, "ask");
    driver_push_line(L, -1);
    if (!driver->sync) {
        keep(&driver->sync, lua_tostring(L, -1));
        keep(&driver->sync_known, answer);
    }
    lua_settop(L, sync - 1);
}

/* --- the word -------------------------------------------------------------------------------- */

static void keep_tasks(lua_State *L)
{
    struct lua_driver *driver = driver_of(L);
    for (int i = 0; i < DRIVER_TASKS; i++) {
        if (!field_push(L, 1, driver_task_names[i]))
            continue;
        if (i == DRIVER_READ && lua_istable(L, -1)) {
            if (!driver->questions.count) /* as with `safe` */
                questions_read(L, -1, driver->self_ref, driver->driver.can, &driver->questions);
            lua_pop(L, 1);
            continue;
        }
        if (!lua_isfunction(L, -1))
            guest_fail(L, "write it as function(self) ... end", "%s is a %s", driver_task_names[i],
                       luaL_typename(L, -1));
        driver->task_ref[i] = luaL_ref(L, LUA_REGISTRYINDEX);
    }
}

int word_driver(lua_State *L)
{
    struct lua_driver *driver = driver_of(L);
    lua_settop(L, 1);
    if (!lua_istable(L, 1))
        return guest_fail(L, "write driver { ... }", "driver wants a table");
    if (driver->defined)
        return guest_fail(L, "put each into its own file", "a file defines one driver");
    fields_check(L, 1, "a driver", keys);
    const char *title = field_text(L, 1, "a driver", "title");
    if (!title || !*title)
        return guest_fail(L, "add title = \"...\"", "the driver has no title");
    string_copy(driver->title, sizeof driver->title, title);
    need(L, "instrument", "identify");
    read_ending(L);
    read_can(L);
    make_self(L);
    read_safe(L);
    read_sync(L);
    keep_tasks(L);
    lua_settop(L, 1);
    lua_pushvalue(L, 1);
    lua_rawsetp(L, LUA_REGISTRYINDEX, driver); /* to know it again when it is returned */
    driver->defined = true;
    return 1;
}
