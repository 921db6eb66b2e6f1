/* Running an evaluation. */
#include "bindings/evaluation_internal.h"

#include <lauxlib.h>
#include <stdlib.h>
#include <string.h>

#include "base/calendar.h"
#include "base/quantity.h"
#include "base/text.h"
#include "bindings/fields.h"
#include "bindings/returned.h"

/* evaluation { title = "...", run = function(logbook, p) ... end } */
static int word_evaluation(lua_State *L)
{
    static const char *const names[] = {"title", "run", NULL};
    struct evaluation *evaluation = evaluation_of(L);
    lua_settop(L, 1);
    if (!lua_istable(L, 1))
        return guest_fail(L, "write evaluation { title = ..., run = function(logbook) ... end }",
                          "evaluation wants a table");
    fields_check(L, 1, "an evaluation", names);
    const char *title = field_text(L, 1, "an evaluation", "title");
    string_copy(evaluation->title, sizeof evaluation->title, title ? title : "");
    if (!field_push(L, 1, "run") || !lua_isfunction(L, -1))
        return guest_fail(L, "add run = function(logbook) ... end",
                          "the evaluation has no run function");
    if (evaluation->run_ref != LUA_NOREF)
        return guest_fail(L, "one file, one evaluation", "evaluation is called twice");
    evaluation->run_ref = luaL_ref(L, LUA_REGISTRYINDEX);
    lua_pushvalue(L, 1);
    lua_rawsetp(L, LUA_REGISTRYINDEX, evaluation);
    return 1;
}

static int word_quantity(lua_State *L)
{
    struct quantity quantity;
    struct error error;
    if (quantity_parse(luaL_checkstring(L, 1), &quantity, &error))
        return guest_raise(L, &error);
    lua_pushnumber(L, quantity_to_bench(quantity.value, quantity.dimension));
    lua_pushstring(L, dimension_unit(quantity.dimension));
    return 2;
}

/* days("2026-03-02T08:00:00Z", "2026-04-13T08:00:00Z"): from one instant on record to another */
static int word_days(lua_State *L)
{
    utc_us at[2] = {0, 0};
    for (int i = 0; i < 2; i++) {
        struct error error;
        error_clear(&error);
        if (utc_parse(luaL_checkstring(L, i + 1), &at[i], &error))
            return guest_raise(L, &error);
    }
    lua_pushnumber(L, (double)(at[1] - at[0]) / (86400.0 * US_PER_S));
    return 1;
}

static int open_words(lua_State *L)
{
    static const luaL_Reg words[] = {{"evaluation", word_evaluation},
                                     {"days", word_days},
                                     {"quantity", word_quantity},
                                     {"random", word_random},
                                     {NULL, NULL}};
    lua_pushglobaltable(L);
    luaL_setfuncs(L, words, 0);
    evaluation_open_output(L);
    evaluation_open_groups(L);
    evaluation_open_lasting(L);
    evaluation_open_curves(L);
    evaluation_open_uncertainty(L);
    return 0;
}

static void push_params(lua_State *L, const json_t *params)
{
    const char *name;
    json_t *value;
    lua_newtable(L);
    json_object_foreach((json_t *)params, name, value)
    {
        lua_pushstring(L, json_string_value(value));
        lua_setfield(L, -2, name);
    }
}

static int run_file(lua_State *L)
{
    struct evaluation *evaluation = lua_touserdata(L, 1);
    returned_push(L, &(struct returned_file){evaluation->name, evaluation->text, evaluation->length,
                                             evaluation, "evaluation",
                                             "the file does not return an evaluation"});
    lua_settop(L, 0);
    lua_rawgeti(L, LUA_REGISTRYINDEX, evaluation->run_ref);
    evaluation_push_record(L);
    push_params(L, evaluation->host->params);
    lua_call(L, 2, 0);
    return 0;
}

int evaluation_run(const char *name, const char *text, size_t length,
                   const struct evaluation_host *host, char title[128], struct error *error)
{
    static const struct guest_limits limits = {EVALUATION_MEMORY_MOST, EVALUATION_MEMORY_MOST / 4,
                                               EVALUATION_STRING_MOST, EVALUATION_WORK,
                                               EVALUATION_SECONDS * 1000000000LL};
    struct evaluation evaluation = {
        .host = host, .name = name, .text = text, .length = length, .run_ref = LUA_NOREF};
    struct guest *guest;
    int code = guest_open_within(&guest, &limits, logbook_seed(host->logbook), &evaluation, error);
    if (code)
        return code;
    code = guest_call(guest, open_words, NULL, GUEST_WORK, error);
    if (!code && guest_begin(guest, run_file, &evaluation, error) != GUEST_RETURNED)
        code = ERROR_SCRIPT;
    guest_close(guest);
    json_decref(evaluation.held);
    free(evaluation.seconds);
    free(evaluation.volts);
    free(evaluation.amperes);
    free(evaluation.degrees);
    if (title)
        string_copy(title, 128, evaluation.title);
    if (code && !error->what[0])
        string_copy(error->what, sizeof error->what, name);
    return code;
}
