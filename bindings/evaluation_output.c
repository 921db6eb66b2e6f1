/* The words that put out: say, table_of, write_csv; and two that sort rows. */
#include "bindings/evaluation_internal.h"

#include <lauxlib.h>
#include <math.h>
#include <string.h>

#include "base/text.h"
#include "bindings/fields.h"

/* --- values as JSON --------------------------------------------------------------------------- */

/* What is no number has no JSON: null. */
static json_t *value_of(lua_State *L, int index)
{
    size_t length;
    const char *text;
    json_t *json;
    switch (lua_type(L, index)) {
    case LUA_TNIL: return json_null();
    case LUA_TBOOLEAN: return json_boolean(lua_toboolean(L, index));
    case LUA_TNUMBER:
        if (lua_isinteger(L, index))
            return json_integer(lua_tointeger(L, index));
        return isfinite(lua_tonumber(L, index)) ? json_real(lua_tonumber(L, index)) : json_null();
    case LUA_TSTRING:
        text = lua_tolstring(L, index, &length);
        json = json_stringn(text, length);
        return json ? json : json_string("(not UTF-8)");
    default: return json_string(luaL_typename(L, index));
    }
}

/* Hands it to the host; evaluation->held is what is put out. */
static void put(lua_State *L, const char *kind, json_t *content)
{
    struct evaluation *evaluation = evaluation_of(L);
    struct error error;
    json_decref(evaluation->held);
    evaluation->held = json_pack("{s:o}", kind, content);
    error_clear(&error);
    if (evaluation->host->put(evaluation->host->owner, evaluation->held, &error))
        guest_raise(L, &error);
}

/* Pushes the value as a person reads it: 1.9 and not 1.8999999999999999. */
static void push_shown(lua_State *L, int index)
{
    char digits[40];
    if (lua_type(L, index) == LUA_TNUMBER && !lua_isinteger(L, index)) {
        snprintf(digits, sizeof digits, "%.10g", lua_tonumber(L, index));
        lua_pushstring(L, digits);
    } else {
        push_text(L, index);
    }
}

static int word_say(lua_State *L)
{
    int count = lua_gettop(L);
    lua_pushliteral(L, "");
    for (int i = 1; i <= count; i++) {
        lua_pushstring(L, i > 1 ? " " : "");
        push_shown(L, i);
        lua_concat(L, 3);
    }
    put(L, "say", value_of(L, -1));
    return 0;
}

/* --- tables ----------------------------------------------------------------------------------- */

/* {title = "...", columns = {...}, rows = {{...}, ...}}; a row is an array, or has the columns'
 * names as keys. */
static json_t *table_at(lua_State *L, int index, const char *what)
{
    struct evaluation *evaluation = evaluation_of(L);
    if (!lua_istable(L, index) || !field_push(L, index, "columns") || !lua_istable(L, -1) ||
        !field_push(L, index, "rows") || !lua_istable(L, -1)) {
        guest_fail(L, "write { columns = {\"model\", \"mean\"}, rows = {{\"A\", 1.9}} }",
                   "%s wants columns and rows", what);
        return NULL;
    }
    int rows = lua_gettop(L), columns = rows - 1;
    size_t width = lua_rawlen(L, columns), height = lua_rawlen(L, rows);
    json_t *names = json_array(), *lines = json_array();
    json_decref(evaluation->held); /* owns both until they are put out */
    evaluation->held = json_pack("{s:o, s:o}", "columns", names, "rows", lines);
    for (size_t c = 1; c <= width; c++) {
        lua_rawgeti(L, columns, (lua_Integer)c);
        if (lua_type(L, -1) != LUA_TSTRING)
            guest_fail(L, "name columns by texts", "%s: column %d has no name", what, (int)c);
        json_array_append_new(names, value_of(L, -1));
        lua_pop(L, 1);
    }
    guest_charge(L, 5 * width * height);
    for (size_t r = 1; r <= height; r++) {
        json_t *line = json_array();
        json_array_append_new(lines, line);
        if (lua_rawgeti(L, rows, (lua_Integer)r) != LUA_TTABLE)
            guest_fail(L, "write rows = {{\"A\", 1.9}}", "%s: row %d is no table", what, (int)r);
        for (size_t c = 1; c <= width; c++) {
            if (lua_rawgeti(L, -1, (lua_Integer)c) == LUA_TNIL) {
                lua_pop(L, 1);
                lua_rawgeti(L, columns, (lua_Integer)c);
                lua_rawget(L, -2);
            }
            json_array_append_new(line, value_of(L, -1));
            lua_pop(L, 1);
        }
        lua_pop(L, 1);
    }
    lua_settop(L, index);
    return json_incref(evaluation->held);
}

static int word_table_of(lua_State *L)
{
    static const char *const names[] = {"title", "columns", "rows", NULL};
    lua_settop(L, 1);
    if (lua_istable(L, 1))
        fields_check(L, 1, "a table", names);
    const char *title = lua_istable(L, 1) ? field_text(L, 1, "a table", "title") : NULL;
    json_t *table = table_at(L, 1, "table_of");
    if (title)
        json_object_set_new(table, "title", json_string(title));
    put(L, "table", table);
    return 0;
}

static int word_write_csv(lua_State *L)
{
    const char *name = luaL_checkstring(L, 1);
    if (!*name || *name == '.' ||
        strspn(name, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-.") !=
            strlen(name))
        return guest_fail(L, "name it by letters, digits, '_', '-' and points",
                          "a table is a file in the folder of -o, not a path");
    lua_settop(L, 2);
    json_t *table = table_at(L, 2, "write_csv");
    json_object_set_new(table, "name", json_string(name));
    put(L, "csv", table);
    return 0;
}

/* --- rows ------------------------------------------------------------------------------------- */

static int check_rows(lua_State *L, const char *what)
{
    if (!lua_istable(L, 1))
        return guest_fail(L, "give rows, as from logbook:results()", "%s wants rows", what);
    return 0;
}

/* values(rows, "value"): that field of each, in their order. */
static int word_values(lua_State *L)
{
    check_rows(L, "values");
    const char *field = luaL_optstring(L, 2, "value");
    lua_Integer count = (lua_Integer)lua_rawlen(L, 1), n = 0;
    lua_createtable(L, (int)count, 0);
    guest_charge(L, 4 * (size_t)count);
    for (lua_Integer i = 1; i <= count; i++) {
        if (lua_rawgeti(L, 1, i) != LUA_TTABLE)
            return guest_fail(L, "give rows, as from logbook:results()", "row %d is no table",
                              (int)i);
        if (field_push(L, -1, field)) {
            lua_rawseti(L, -3, ++n);
        }
        lua_pop(L, 1);
    }
    return 1;
}

/* by(rows, "model"): {[model] = rows of it}, their order kept. */
static int word_by(lua_State *L)
{
    check_rows(L, "by");
    const char *field = luaL_checkstring(L, 2);
    lua_settop(L, 2);
    lua_Integer count = (lua_Integer)lua_rawlen(L, 1);
    lua_newtable(L);
    guest_charge(L, 8 * (size_t)count);
    for (lua_Integer i = 1; i <= count; i++) {
        if (lua_rawgeti(L, 1, i) != LUA_TTABLE)
            return guest_fail(L, "give rows, as from logbook:results()", "row %d is no table",
                              (int)i);
        if (!field_push(L, -1, field)) {
            lua_pop(L, 1);
            continue;
        }
        lua_pushvalue(L, -1);
        if (lua_rawget(L, 3) != LUA_TTABLE) {
            lua_pop(L, 1);
            lua_newtable(L);
            lua_pushvalue(L, -2);
            lua_pushvalue(L, -2);
            lua_rawset(L, 3);
        }
        lua_pushvalue(L, -3);
        lua_rawseti(L, -2, (lua_Integer)lua_rawlen(L, -2) + 1);
        lua_settop(L, 3);
    }
    return 1;
}

void evaluation_open_output(lua_State *L)
{
    static const luaL_Reg words[] = {
        {"say", word_say}, {"table_of", word_table_of},   {"values", word_values},
        {"by", word_by},   {"write_csv", word_write_csv}, {NULL, NULL}};
    lua_pushglobaltable(L);
    luaL_setfuncs(L, words, 0);
    lua_pop(L, 1);
}
