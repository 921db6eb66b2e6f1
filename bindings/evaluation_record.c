/* The words that read the record: listings as tables of rows, and the readings of a step. */
#include "bindings/evaluation_internal.h"

#include <lauxlib.h>
#include <math.h>
#include <string.h>
#include <strings.h>

#include "base/rows.h"
#include "base/text.h"
#include "bindings/fields.h"
#include "logbook/cells.h"
#include "logbook/facts.h"
#include "logbook/steps.h"

/* --- rows ------------------------------------------------------------------------------------- */

static void push_value(lua_State *L, const json_t *value)
{
    const char *key;
    json_t *part;
    size_t i;
    luaL_checkstack(L, 4, NULL);
    switch (json_typeof(value)) {
    case JSON_STRING:
        lua_pushlstring(L, json_string_value(value), json_string_length(value));
        break;
    case JSON_INTEGER: lua_pushinteger(L, json_integer_value(value)); break;
    case JSON_REAL: lua_pushnumber(L, json_real_value(value)); break;
    case JSON_TRUE: lua_pushboolean(L, 1); break;
    case JSON_FALSE: lua_pushboolean(L, 0); break;
    case JSON_NULL: lua_pushnil(L); break;
    case JSON_ARRAY:
        lua_createtable(L, (int)json_array_size(value), 0);
        json_array_foreach(value, i, part)
        {
            push_value(L, part);
            lua_rawseti(L, -2, (lua_Integer)i + 1);
        }
        break;
    case JSON_OBJECT:
        lua_createtable(L, 0, (int)json_object_size(value));
        json_object_foreach((json_t *)value, key, part)
        {
            lua_pushstring(L, key);
            push_value(L, part);
            lua_rawset(L, -3);
        }
        break;
    }
}

/* What a filter may name, and the row's field it is compared with; those with none are the
 * listing's own (struct listing_filter). */
struct filter {
    const char *name, *field;
};

#define FILTERS_MOST 6

struct words {
    enum listing listing;
    struct filter filters[FILTERS_MOST];
};

static bool passes(const json_t *row, const struct filter *filters, const char *const *wanted)
{
    for (int i = 0; i < FILTERS_MOST && filters[i].name; i++)
        if (wanted[i] && filters[i].field &&
            strcasecmp(row_text(row, filters[i].field), wanted[i]) != 0)
            return false;
    return true;
}

/* Upvalue: struct words. Called as logbook:results { cell = "A" }. */
static int word_list(lua_State *L)
{
    const struct words *words = lua_touserdata(L, lua_upvalueindex(1));
    struct evaluation *evaluation = evaluation_of(L);
    struct listing_filter filter = {0};
    const char *wanted[FILTERS_MOST] = {NULL}, *allowed[FILTERS_MOST + 1] = {NULL};
    struct error error;
    if (!lua_istable(L, 1))
        return guest_fail(L, "write logbook:results { ... }, with a colon",
                          "it is called without the logbook");
    lua_settop(L, 2);
    for (int i = 0; i < FILTERS_MOST && words->filters[i].name; i++)
        allowed[i] = words->filters[i].name;
    if (!lua_isnil(L, 2)) {
        if (!lua_istable(L, 2))
            return guest_fail(L, "write logbook:results { cell = \"A-01\" }",
                              "what to look for is a %s", luaL_typename(L, 2));
        fields_check(L, 2, "what to look for", allowed);
        for (int i = 0; allowed[i]; i++) {
            if (strcmp(allowed[i], "run") == 0) {
                filter.run = (int64_t)number_field(L, 2, "what to look for", "run", 0);
                continue;
            }
            wanted[i] = field_text(L, 2, "what to look for", allowed[i]);
            if (strcmp(allowed[i], "cell") == 0)
                filter.label = wanted[i];
            else if (!words->filters[i].field)
                filter.name = wanted[i];
        }
    }
    struct cell_record cell; /* a label that is not there is a slip, not an empty answer */
    if (filter.label && logbook_cell(evaluation->host->logbook, filter.label, &cell, &error))
        return guest_raise(L, &error);
    json_decref(evaluation->held);
    evaluation->held = NULL;
    if (logbook_list(evaluation->host->logbook, words->listing, &filter, &evaluation->held, &error))
        return guest_raise(L, &error);
    size_t i;
    json_t *row;
    lua_Integer n = 0;
    lua_newtable(L);
    json_array_foreach(evaluation->held, i, row)
    {
        if (!passes(row, words->filters, wanted))
            continue;
        push_value(L, row);
        lua_rawseti(L, -2, ++n);
    }
    guest_charge(L, 20 * json_array_size(evaluation->held));
    return 1;
}

/* --- readings --------------------------------------------------------------------------------- */

/* Into C's own memory first: the callback may not raise. */
static int take_sample(void *context, int64_t k, const struct sample *sample)
{
    struct evaluation *e = context;
    (void)k;
    if (e->count == e->room) {
        if (e->count == EVALUATION_READINGS_MOST)
            return 1;
        e->room = e->room ? 2 * e->room : 1024;
        if (e->room > EVALUATION_READINGS_MOST)
            e->room = EVALUATION_READINGS_MOST;
        e->seconds = xrealloc(e->seconds, e->room * sizeof(double));
        e->volts = xrealloc(e->volts, e->room * sizeof(double));
        e->amperes = xrealloc(e->amperes, e->room * sizeof(double));
        e->degrees = xrealloc(e->degrees, e->room * sizeof(double));
    }
    e->seconds[e->count] = (double)sample->t_us / 1e6;
    e->volts[e->count] = sample->voltage;
    e->amperes[e->count] = sample->current;
    e->degrees[e->count++] = sample->temperature;
    return 0;
}

static void set_array(lua_State *L, const char *name, const double *values, size_t count)
{
    lua_createtable(L, (int)count, 0);
    for (size_t i = 0; i < count; i++) {
        if (isnan(values[i]))
            lua_pushboolean(L, 0); /* a hole would end the array */
        else
            lua_pushnumber(L, values[i]);
        lua_rawseti(L, -2, (lua_Integer)i + 1);
    }
    lua_setfield(L, -2, name);
}

static int word_readings(lua_State *L)
{
    struct evaluation *e = evaluation_of(L);
    struct error error;
    if (!lua_istable(L, 1))
        return guest_fail(L, "write logbook:readings(step), with a colon",
                          "it is called without the logbook");
    if (lua_istable(L, 2)) {
        field_push(L, 2, "step");
        lua_replace(L, 2);
    }
    if (!lua_isinteger(L, 2))
        return guest_fail(L, "give a row of logbook:steps(), or its field step",
                          "which step is not said");
    e->count = 0;
    if (logbook_samples(e->host->logbook, lua_tointeger(L, 2), take_sample, e, &error))
        return guest_raise(L, &error);
    if (e->count == EVALUATION_READINGS_MOST)
        return guest_fail(L, "evaluate shorter steps",
                          "the step has over %d readings: more than are held at a time",
                          EVALUATION_READINGS_MOST);
    guest_charge(L, 10 * e->count);
    lua_createtable(L, 0, 5);
    lua_pushinteger(L, (lua_Integer)e->count);
    lua_setfield(L, -2, "count");
    set_array(L, "seconds", e->seconds, e->count);
    set_array(L, "V", e->volts, e->count);
    set_array(L, "A", e->amperes, e->count);
    bool warm = false;
    for (size_t i = 0; i < e->count && !warm; i++)
        warm = !isnan(e->degrees[i]);
    if (warm)
        set_array(L, "degC", e->degrees, e->count);
    return 1;
}

void evaluation_push_record(lua_State *L)
{
    static const struct {
        const char *name;
        struct words words;
    } lists[] = {
        {"models", {LIST_MODELS, {{"name", NULL}}}},
        {"cells", {LIST_CELLS, {{"cell", NULL}, {"model", "model"}}}},
        {"runs",
         {LIST_RUNS,
          {{"cell", NULL},
           {"run", NULL},
           {"kind", "kind"},
           {"script", "script"},
           {"state", "state"}}}},
        {"steps", {LIST_STEPS, {{"cell", NULL}, {"run", NULL}, {"kind", "kind"}, {"how", "how"}}}},
        {"results",
         {LIST_RESULTS,
          {{"cell", NULL},
           {"run", NULL},
           {"name", NULL},
           {"model", "model"},
           {"script", "script"}}}},
        {"events", {LIST_EVENTS, {{"run", NULL}, {"level", "level"}}}},
        {"gaps", {LIST_GAPS, {{"run", NULL}}}},
    };
    lua_newtable(L);
    for (size_t i = 0; i < sizeof lists / sizeof *lists; i++) {
        lua_pushlightuserdata(L, (void *)&lists[i].words);
        lua_pushcclosure(L, word_list, 1);
        lua_setfield(L, -2, lists[i].name);
    }
    lua_pushcfunction(L, word_readings);
    lua_setfield(L, -2, "readings");
}
