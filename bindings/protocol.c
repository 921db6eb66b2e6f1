/* The words that define a protocol: `protocol { title, params, results, run }`, and `require`. */
#include <lauxlib.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "bindings/canonical.h"
#include "bindings/doubled.h"
#include "bindings/fields.h"
#include "bindings/script_internal.h"

/* --- parameters ------------------------------------------------------------------------------- */

static const char *const parameter_fields[] = {"unit", "default", "about", NULL};

enum parameter_type { PARAMETER_QUANTITY, PARAMETER_TEXT, PARAMETER_TRUTH };

/* "" and "1" are the unit of a plain number (UCUM writes 1). */
static bool find_unit(const char *unit, enum dimension *dimension, double *factor)
{
    if (!*unit || strcmp(unit, "1") == 0) {
        *dimension = DIM_NUMBER;
        *factor = 1;
        return true;
    }
    return unit_find(unit, dimension, factor) == 0;
}

/* The type of the parameter whose definition is at the top. */
static enum parameter_type parameter_type(lua_State *L, const char *what, enum dimension *dimension)
{
    const char *unit = field_text(L, -1, what, "unit");
    if (!unit) {
        int type = LUA_TNIL;
        if (field_push(L, -1, "default")) {
            type = lua_type(L, -1);
            lua_pop(L, 1);
        }
        *dimension = DIM_NUMBER;
        return type == LUA_TNUMBER    ? PARAMETER_QUANTITY
               : type == LUA_TBOOLEAN ? PARAMETER_TRUTH
                                      : PARAMETER_TEXT;
    }
    if (strcmp(unit, "text") == 0)
        return PARAMETER_TEXT;
    double factor;
    if (!find_unit(unit, dimension, &factor))
        guest_fail(L, "use A, V, s, Ah, Wh, W, ohm, degC, K, It, % or text",
                   "%s: there is no unit '%.40s'", what, unit);
    if (*unit && strcmp(unit, "1") != 0 && strcmp(unit, dimension_unit(*dimension)) != 0) {
        char todo[80];
        snprintf(todo, sizeof todo, "write unit = \"%s\"; values may still be given in %.20s",
                 dimension_unit(*dimension), unit);
        guest_fail(L, todo, "%s: run gets a %s in %s, not in %.20s", what,
                   dimension_name(*dimension), dimension_unit(*dimension), unit);
    }
    return PARAMETER_QUANTITY;
}

/* A text that is a number alone, as --set gives it: then it is in bench units. */
static void read_plain_number(lua_State *L)
{
    char *end;
    const char *text = lua_tostring(L, -1);
    double number = strtod(text, &end);
    if (end != text && !*end && isfinite(number)) {
        if (!lua_stringtonumber(L, text))
            lua_pushnumber(L, number);
        lua_replace(L, -2);
    }
}

/* Replaces the raw value at the top by what run is to get. */
static void convert_value(lua_State *L, enum parameter_type type, enum dimension dimension,
                          const char *what)
{
    const struct script *script = script_of(L);
    switch (type) {
    case PARAMETER_TEXT:
        if (lua_type(L, -1) == LUA_TNUMBER)
            lua_tostring(L, -1);
        if (lua_type(L, -1) != LUA_TSTRING)
            guest_fail(L, "give a text", "%s is a %s", what, luaL_typename(L, -1));
        return;
    case PARAMETER_TRUTH: {
        const char *text = lua_tostring(L, -1);
        bool is_true = text ? strcmp(text, "true") == 0 : lua_toboolean(L, -1);
        if (!lua_isboolean(L, -1) && !is_true && (!text || strcmp(text, "false") != 0))
            guest_fail(L, "write true or false", "%s is neither true nor false", what);
        lua_pushboolean(L, is_true);
        lua_replace(L, -2);
        return;
    }
    case PARAMETER_QUANTITY: break;
    }
    if (lua_type(L, -1) == LUA_TSTRING)
        read_plain_number(L);
    if (lua_isinteger(L, -1))
        return; /* a count stays a count */
    double si = quantity_at(L, -1, dimension, script->cell.rated_charge, what);
    lua_pushnumber(L, quantity_to_bench(si, dimension));
    lua_replace(L, -2);
}

static void keep_parameter(lua_State *L, const char *name, const char *unit, const char *about)
{
    struct script *script = script_of(L);
    if (script->parameter_count == PARAMETERS_MOST) {
        guest_fail(L, "use fewer", "more than %d params", PARAMETERS_MOST);
        return;
    }
    push_text(L, -1);
    struct script_parameter *parameter = &script->parameters[script->parameter_count++];
    parameter->name = xstrdup(name);
    parameter->unit = xstrdup(unit ? unit : "");
    parameter->value = xstrdup(lua_tostring(L, -1));
    parameter->about = xstrdup(about ? about : "");
    lua_pop(L, 1);
}

/* Stack: definition of one parameter at the top. Pushes its value. */
static void resolve_parameter(lua_State *L, const char *name, int given)
{
    char what[96];
    snprintf(what, sizeof what, "params.%.60s", name);
    if (!lua_istable(L, -1)) {
        guest_fail(L, "write NAME = { unit = \"A\", default = \"0.2 It\", about = \"...\" }",
                   "%s is a %s and should be a table", what, luaL_typename(L, -1));
        return;
    }
    fields_check(L, -1, what, parameter_fields);
    enum dimension dimension = DIM_NUMBER;
    enum parameter_type type = parameter_type(L, what, &dimension);
    const char *unit = field_text(L, -1, what, "unit");
    const char *about = field_text(L, -1, what, "about");
    if (!field_push(L, given, name) && !field_push(L, -1, "default")) {
        char todo[120];
        snprintf(todo, sizeof todo, "add --set %.60s=VALUE", name);
        guest_fail(L, todo, "%s has no default and was not set", what);
        return;
    }
    convert_value(L, type, dimension, what);
    keep_parameter(L, name, type == PARAMETER_QUANTITY ? unit : "", about);
}

/* A --set that names no parameter. Raises with the nearest that there is. */
static void check_given(lua_State *L, int given, int definitions)
{
    push_sorted_keys(L, given);
    for (lua_Integer i = 1; lua_rawgeti(L, -1, i) != LUA_TNIL; i++) {
        const char *name = luaL_tolstring(L, -1, NULL);
        if (!field_push(L, definitions, name)) {
            char near[64], todo[128];
            string_copy(todo, sizeof todo, "see its params");
            if (nearest_key(L, definitions, name, near, sizeof near))
                snprintf(todo, sizeof todo, "did you mean '%s'?", near);
            guest_fail(L, todo, "the protocol has no parameter '%.60s'", name);
        }
        lua_pop(L, 3);
    }
    lua_pop(L, 2);
}

/* A mistyped name is a mistake, not nil. */
static int missing_parameter(lua_State *L)
{
    char near[64], todo[128] = "see the protocol's params";
    if (lua_type(L, 2) != LUA_TSTRING)
        return 0;
    const char *name = lua_tostring(L, 2);
    if (nearest_key(L, 1, name, near, sizeof near))
        snprintf(todo, sizeof todo, "did you mean '%s'?", near);
    return guest_fail(L, todo, "there is no parameter '%.60s'", name);
}

/* Makes the table that run gets as `p`, and keeps it. */
static void resolve_parameters(lua_State *L, int definition)
{
    struct script *script = script_of(L);
    int top = lua_gettop(L);
    lua_newtable(L);
    int values = lua_gettop(L);
    canonical_read(L, script->params);
    int given = lua_gettop(L);
    if (!lua_istable(L, given))
        guest_fail(L, "report this", "the params given are not an object");
    if (!field_push(L, definition, "params"))
        lua_newtable(L);
    if (!lua_istable(L, -1))
        guest_fail(L, "write params = { NAME = { ... } }", "params is a %s", luaL_typename(L, -1));
    int definitions = lua_gettop(L);
    check_given(L, given, definitions);

    push_sorted_keys(L, definitions);
    int keys = lua_gettop(L);
    for (lua_Integer i = 1; lua_rawgeti(L, keys, i) != LUA_TNIL; i++) {
        if (lua_type(L, -1) != LUA_TSTRING)
            guest_fail(L, "write NAME = { ... }", "params has a value without a name");
        const char *name = lua_tostring(L, -1);
        field_push(L, definitions, name);
        resolve_parameter(L, name, given);
        lua_setfield(L, values, name);
        lua_settop(L, keys);
    }
    lua_settop(L, values);
    lua_createtable(L, 0, 2);
    lua_pushcfunction(L, missing_parameter);
    lua_setfield(L, -2, "__index");
    lua_pushboolean(L, 0);
    lua_setfield(L, -2, "__metatable");
    lua_setmetatable(L, values);
    script->params_ref = luaL_ref(L, LUA_REGISTRYINDEX);
    lua_settop(L, top);
}

/* --- results ---------------------------------------------------------------------------------- */

static void read_results(lua_State *L, int definition)
{
    struct script *script = script_of(L);
    int top = lua_gettop(L);
    if (!field_push(L, definition, "results"))
        return;
    if (!lua_istable(L, -1))
        guest_fail(L, "write results = { NAME = \"UNIT\" }", "results is a %s",
                   luaL_typename(L, -1));
    int results = lua_gettop(L);
    push_sorted_keys(L, results);
    int keys = lua_gettop(L);
    for (lua_Integer i = 1; lua_rawgeti(L, keys, i) != LUA_TNIL; i++) {
        if (lua_type(L, -1) != LUA_TSTRING)
            guest_fail(L, "write NAME = \"UNIT\"", "results has a value without a name");
        const char *name = lua_tostring(L, -1);
        const char *unit = field_text(L, results, "results", name);
        if (script->result_count == RESULTS_MOST)
            guest_fail(L, "use fewer", "more than %d results", RESULTS_MOST);
        struct result_kind kind;
        if (!find_unit(unit, &kind.dimension, &kind.factor))
            guest_fail(L, "use A, V, s, Ah, Wh, W, ohm, degC, K, %, or 1 for a plain number",
                       "results.%.60s: there is no unit '%.40s'", name, unit);
        script->result_kinds[script->result_count] = kind;
        script->results[script->result_count].name = xstrdup(name);
        script->results[script->result_count].unit = xstrdup(unit);
        script->result_count++;
        lua_pop(L, 1);
    }
    lua_settop(L, top);
}

/* --- the words -------------------------------------------------------------------------------- */

static const char *const definition_fields[] = {"title", "params", "results", "run", NULL};

static int define(lua_State *L, const char *word, bool is_study)
{
    struct script *script = script_of(L);
    char what[24];
    snprintf(what, sizeof what, "a %s", word);
    lua_settop(L, 1);
    if (!lua_istable(L, 1))
        return guest_fail(L, "write it as NAME { ... }", "%s wants a table", word);
    if (script->run_ref != LUA_NOREF)
        return guest_fail(L, "put each into its own file",
                          "a script defines one protocol or study");
    fields_check(L, 1, what, definition_fields);
    const char *title = field_text(L, 1, what, "title");
    if (!title || !*title)
        return guest_fail(L, "add title = \"...\"", "the %s has no title", word);
    string_copy(script->title, sizeof script->title, title);
    script->is_study = is_study;
    resolve_parameters(L, 1);
    read_results(L, 1);
    if (!field_push(L, 1, "run") || !lua_isfunction(L, -1))
        return guest_fail(L,
                          is_study ? "add run = function(s, p) ... end"
                                   : "add run = function(cell, p) ... end",
                          "the %s has no run function", word);
    script->run_ref = luaL_ref(L, LUA_REGISTRYINDEX);
    lua_pushvalue(L, 1);
    lua_rawsetp(L, LUA_REGISTRYINDEX, script); /* to know it again when it is returned */
    return 1;
}

static int word_protocol(lua_State *L)
{
    return define(L, "protocol", false);
}

static int word_study(lua_State *L)
{
    return define(L, "study", true);
}

static bool plain_name(const char *name)
{
    size_t length = strlen(name);
    return length > 0 && length < 64 && name[0] != '.' &&
           strspn(name, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-.") ==
               length &&
           !strstr(name, "..");
}

static int word_require(lua_State *L)
{
    struct script *script = script_of(L);
    const char *name = luaL_checkstring(L, 1);
    lua_settop(L, 1);
    if (!plain_name(name))
        return guest_fail(L, "use letters, digits, _, - and single points",
                          "'%.60s' is not the name of a module", name);
    luaL_getsubtable(L, LUA_REGISTRYINDEX, "modules");
    lua_pushvalue(L, 1);
    if (lua_rawget(L, 2) != LUA_TNIL) {
        if (lua_isboolean(L, -1) && !lua_toboolean(L, -1))
            return guest_fail(L, "break the circle", "module '%s' requires itself", name);
        return 1;
    }
    lua_pushvalue(L, 1);
    lua_pushboolean(L, 0);
    lua_rawset(L, 2);

    struct error error;
    size_t length = 0;
    if (!script->module)
        return guest_fail(L, "put everything into one file", "there are no modules here");
    free(script->module_text);
    script->module_text = NULL;
    if (script->module(script->owner, name, &script->module_text, &length, &error))
        return guest_raise(L, &error);
    if (doubled_key(name, script->module_text, length, &error))
        return guest_raise_there(L, &error);
    guest_load(L, name, script->module_text, length);
    lua_call(L, 0, 1);
    if (lua_isnil(L, -1)) {
        lua_pushboolean(L, 1);
        lua_replace(L, -2);
    }
    lua_pushvalue(L, 1);
    lua_pushvalue(L, -2);
    lua_rawset(L, 2);
    return 1;
}

void protocol_open(lua_State *L)
{
    static const luaL_Reg words[] = {
        {"protocol", word_protocol},
        {"require", word_require},
        {"study", word_study},
        {NULL, NULL},
    };
    lua_pushglobaltable(L);
    luaL_setfuncs(L, words, 0);
    lua_pop(L, 1);
}
