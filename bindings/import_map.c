/* Reading a map: the words `import` and `column`. */
#include "bindings/import_map.h"

#include <lauxlib.h>
#include <math.h>
#include <string.h>

#include "base/quantity.h"
#include "base/text.h"
#include "bindings/accuracy_words.h"
#include "bindings/fields.h"
#include "bindings/returned.h"
#include "bindings/sandbox.h"

#define SKIP_MOST   100000
#define COLUMN_MOST 1000

struct map_reader {
    const char *name, *text;
    size_t length;
    struct import_map *out;
};

/* --- columns ---------------------------------------------------------------------------------- */

/* column(NAME or NUMBER, UNIT) */
static int word_column(lua_State *L)
{
    lua_settop(L, 2);
    if (lua_type(L, 1) == LUA_TNUMBER) {
        lua_Number number = lua_tonumber(L, 1);
        if (!lua_isinteger(L, 1) || number < 1 || number > COLUMN_MOST)
            return guest_fail(L, "count the columns from 1", "there is no such column");
    } else if (lua_type(L, 1) != LUA_TSTRING || lua_rawlen(L, 1) == 0 ||
               lua_rawlen(L, 1) >= sizeof((struct import_column *)0)->name) {
        return guest_fail(L, "write column(\"U\", \"mV\") or column(3, \"mV\")",
                          "a column is named by its header or its number");
    }
    if (!lua_isnil(L, 2) && lua_type(L, 2) != LUA_TSTRING)
        return guest_fail(L, "write it as text, such as \"mV\"", "the unit is a %s",
                          luaL_typename(L, 2));
    lua_createtable(L, 0, 2);
    lua_pushvalue(L, 1);
    lua_setfield(L, -2, "at");
    lua_pushvalue(L, 2);
    lua_setfield(L, -2, "unit");
    return 1;
}

/* The factor of the unit to SI. */
static double factor_of(lua_State *L, const char *field, const char *unit, enum dimension wanted)
{
    enum dimension dimension;
    double factor;
    if (!unit)
        guest_fail(L, "units are never guessed: write it, as in column(\"U\", \"mV\")",
                   "the unit of '%s' is missing", field);
    else if (unit_find(unit, &dimension, &factor))
        guest_fail(L, "see docs/imports.md for the units", "%s: there is no unit '%.40s'", field,
                   unit);
    else if (dimension != wanted)
        guest_fail(L, "look whether the columns are mixed up",
                   "%s: '%.40s' is a unit of %s, not of %s", field, unit, dimension_name(dimension),
                   dimension_name(wanted));
    else
        return factor;
    return NAN;
}

static bool read_column(lua_State *L, const char *field, enum dimension dimension,
                        struct import_column *column)
{
    static const char *const names[] = {"at", "unit", NULL};
    struct map_reader *reader = guest_user(L);
    if (!field_push(L, 1, field))
        return false;
    if (!lua_istable(L, -1))
        guest_fail(L, "write it as column(\"NAME\", \"UNIT\")", "'%s' is no column", field);
    fields_check(L, -1, "a column", names);
    column->there = true;
    if (!field_push(L, -1, "at"))
        guest_fail(L, "write it as column(\"NAME\", \"UNIT\")", "'%s' is no column", field);
    if (lua_type(L, -1) == LUA_TNUMBER)
        column->number = (int)lua_tointeger(L, -1);
    else
        string_copy(column->name, sizeof column->name, lua_tostring(L, -1));
    lua_pop(L, 1);
    const char *unit = field_text(L, -1, field, "unit");
    if (column == &reader->out->time && unit && strcmp(unit, "hms") == 0)
        reader->out->time_form = IMPORT_HMS;
    else if (column == &reader->out->time && unit && strcmp(unit, "date") == 0)
        reader->out->time_form = IMPORT_DATE;
    else if (column != &reader->out->step)
        column->factor = factor_of(L, field, unit, dimension);
    lua_pop(L, 1);
    return true;
}

static void read_columns(lua_State *L, struct import_map *map)
{
    const struct {
        const char *name;
        enum dimension dimension;
        struct import_column *column;
        bool needed;
    } columns[] = {
        {"time", DIM_TIME, &map->time, true},
        {"voltage", DIM_VOLTAGE, &map->voltage, true},
        {"current", DIM_CURRENT, &map->current, true},
        {"temperature", DIM_TEMPERATURE, &map->temperature, false},
        {"charge", DIM_CHARGE, &map->charge, false},
        {"step", DIM_NUMBER, &map->step, false},
    };
    for (size_t i = 0; i < sizeof columns / sizeof *columns; i++) {
        bool there = read_column(L, columns[i].name, columns[i].dimension, columns[i].column);
        if (!there && columns[i].needed)
            guest_fail(L, "name its column and unit", "which column is the %s is not said",
                       columns[i].name);
        if (there && !map->header && !columns[i].column->number)
            guest_fail(L, "name columns by their number", "'%s' has a name, but there is no header",
                       columns[i].name);
    }
}

/* --- the rest --------------------------------------------------------------------------------- */

static char read_mark(lua_State *L, const char *field, const char *allowed, char usual)
{
    const char *text = field_text(L, 1, "an import", field);
    if (!text)
        return usual;
    char mark = strcmp(text, "tab") == 0 ? '\t' : text[0];
    if (!mark || (text[1] && mark != '\t') || !strchr(allowed, mark))
        guest_fail(L, "see docs/imports.md", "'%.20s' cannot be the %s", text, field);
    return mark;
}

static double read_quantity(lua_State *L, const char *field, enum dimension dimension)
{
    if (!field_push(L, 1, field))
        return NAN;
    double si = quantity_at(L, -1, dimension, 0, field);
    lua_pop(L, 1);
    if (!(si >= 0))
        guest_fail(L, "give 0 or more", "%s is negative", field);
    return si;
}

/* "discharge", "discharge.energy", "3.mean_voltage" */
static void read_result(lua_State *L, const char *name, const char *from,
                        struct import_result *result)
{
    const char *point = strchr(from, '.');
    size_t length = point ? (size_t)(point - from) : strlen(from);
    const char *field = point ? point + 1 : "charge";
    if (strlen(name) >= sizeof result->name || length == 0 || length >= sizeof result->step ||
        !*field || strlen(field) >= sizeof result->field) {
        guest_fail(L, "write capacity = \"discharge\" or energy = \"discharge.energy\"",
                   "result '%.40s': '%.40s' names no step", name, from);
        return;
    }
    string_copy(result->name, sizeof result->name, name);
    string_copy(result->step, length + 1, from);
    string_copy(result->field, sizeof result->field, field);
}

static void read_results(lua_State *L, struct import_map *map)
{
    if (!field_push(L, 1, "results"))
        return;
    if (!lua_istable(L, -1))
        guest_fail(L, "write results = { capacity = \"discharge\" }", "results is no table");
    int table = lua_gettop(L);
    push_sorted_keys(L, table);
    for (lua_Integer i = 1; lua_rawgeti(L, -1, i) != LUA_TNIL; i++) {
        if (lua_type(L, -1) != LUA_TSTRING || map->results == IMPORT_RESULTS_MOST)
            guest_fail(L, "write results = { capacity = \"discharge\" }",
                       "a result has no name, or there are more than %d", IMPORT_RESULTS_MOST);
        const char *name = lua_tostring(L, -1);
        const char *from = field_text(L, table, "results", name);
        read_result(L, name, from, &map->result[map->results++]);
        lua_pop(L, 1);
    }
    lua_settop(L, 1);
}

static int word_import(lua_State *L)
{
    static const char *const names[] = {"time",      "voltage", "current",  "temperature",
                                        "charge",    "step",    "sign",     "delimiter",
                                        "decimal",   "header",  "skip",     "rest_below",
                                        "gap_after", "results", "accuracy", NULL};
    struct map_reader *reader = guest_user(L);
    struct import_map *map = reader->out;
    lua_settop(L, 1);
    if (!lua_istable(L, 1))
        return guest_fail(L, "write import { ... }", "import wants a table");
    fields_check(L, 1, "an import", names);
    *map = (struct import_map){.header = true};
    if (field_push(L, 1, "header")) {
        map->header = lua_toboolean(L, -1);
        lua_pop(L, 1);
    }
    read_columns(L, map);
    const char *sign = field_text(L, 1, "an import", "sign");
    map->discharge_positive = sign && strcmp(sign, "discharge-positive") == 0;
    if (sign && !map->discharge_positive && strcmp(sign, "charge-positive") != 0)
        return guest_fail(L, "say charge-positive or discharge-positive",
                          "the sign '%.40s' is not known", sign);
    map->delimiter = read_mark(L, "delimiter", ",;|\t ", ',');
    map->decimal = read_mark(L, "decimal", ".,", '.');
    if (map->delimiter == map->decimal)
        return guest_fail(L, "say which delimiter the file has, such as \";\"",
                          "the decimal mark and the delimiter are both '%c'", map->decimal);
    if (field_push(L, 1, "skip")) {
        lua_Number skip = lua_type(L, -1) == LUA_TNUMBER ? lua_tonumber(L, -1) : -1;
        if (!(skip >= 0 && skip <= SKIP_MOST && skip == floor(skip)))
            return guest_fail(L, "count the lines before the header", "skip is no such number");
        map->skip = (int)skip;
        lua_pop(L, 1);
    }
    map->rest_below = read_quantity(L, "rest_below", DIM_CURRENT);
    map->gap_after = read_quantity(L, "gap_after", DIM_TIME);
    accuracy_words_read(L, 1, &map->accuracy);
    read_results(L, map);
    lua_pushvalue(L, 1);
    lua_rawsetp(L, LUA_REGISTRYINDEX, reader);
    return 1;
}

/* --- the file --------------------------------------------------------------------------------- */

static int open_words(lua_State *L)
{
    static const luaL_Reg words[] = {
        {"column", word_column}, {"import", word_import}, {NULL, NULL}};
    lua_pushglobaltable(L);
    luaL_setfuncs(L, words, 0);
    return 0;
}

static int run_file(lua_State *L)
{
    struct map_reader *reader = lua_touserdata(L, 1);
    returned_push(L, &(struct returned_file){reader->name, reader->text, reader->length, reader,
                                             "import", "the file does not return a map"});
    return 0;
}

int import_map_read(const char *name, const char *text, size_t length, struct import_map *out,
                    struct error *error)
{
    struct map_reader reader = {.name = name, .text = text, .length = length, .out = out};
    struct guest *guest;
    int code = guest_open(&guest, 0, &reader, error);
    if (code)
        return code;
    code = guest_call(guest, open_words, NULL, GUEST_WORK, error);
    if (!code && guest_begin(guest, run_file, &reader, error) != GUEST_RETURNED)
        code = ERROR_SCRIPT;
    guest_close(guest);
    if (code && !error->what[0])
        string_copy(error->what, sizeof error->what, name);
    return code;
}
