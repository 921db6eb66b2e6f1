/* Instruments as a bench file names them. */
#include "bindings/instrument_spec.h"

#include <lauxlib.h>
#include <math.h>
#include <string.h>

#include "base/text.h"
#include "bindings/bench_reader.h"
#include "bindings/canonical.h"
#include "bindings/driver.h"
#include "bindings/fields.h"
#include "bindings/keys.h"

#define TYPE_NAME  "perdure.instrument"
#define ROUTE_NAME "perdure.route"

#define CAN_ALL (CAN_SOURCE | CAN_SINK | CAN_METER | CAN_THERMOMETER | CAN_RELAY | CAN_OHMMETER)

static int collect(lua_State *L)
{
    struct instrument_words *words = luaL_checkudata(L, 1, TYPE_NAME);
    if (words->driver)
        words->driver->ops->close(words->driver);
    words->driver = NULL;
    return 0;
}

static void set_type(lua_State *L, const char *name, lua_CFunction gc)
{
    if (luaL_newmetatable(L, name)) {
        lua_pushboolean(L, 0);
        lua_setfield(L, -2, "__metatable");
        if (gc) {
            lua_pushcfunction(L, gc);
            lua_setfield(L, -2, "__gc");
        }
    }
    lua_setmetatable(L, -2);
}

/* --- instrument { ... } ---------------------------------------------------------------------- */

static void read_expected(lua_State *L, struct scpi_identity *expected)
{
    static const char *const names[] = {"maker", "model", "serial", NULL};
    static const char what[] = "identity";
    if (!field_push(L, 1, "identity"))
        return;
    if (!lua_istable(L, -1))
        guest_fail(L, "write identity = { serial = \"0001\" }", "identity is a %s",
                   luaL_typename(L, -1));
    fields_check(L, -1, what, names);
    const char *maker = field_text(L, -1, what, "maker"), *model = field_text(L, -1, what, "model");
    const char *serial = field_text(L, -1, what, "serial");
    string_copy(expected->maker, sizeof expected->maker, maker ? maker : "");
    string_copy(expected->model, sizeof expected->model, model ? model : "");
    string_copy(expected->serial, sizeof expected->serial, serial ? serial : "");
    lua_pop(L, 1);
}

/* The driver's own file says what is wrong with it, at its line. */
static void load_driver(lua_State *L, const char *word, struct instrument_words *words)
{
    const struct bench_access *access = reader_of(L)->access;
    struct text *settings = &reader_of(L)->scratch;
    struct error error;
    text_clear(settings);
    words->can = CAN_ALL;
    if (!access)
        return;
    if (field_push(L, 1, "settings")) {
        if (!lua_istable(L, -1))
            guest_fail(L, "write settings = { NAME = VALUE }", "settings is a %s",
                       luaL_typename(L, -1));
        canonical_write(L, -1, settings, "settings");
        lua_pop(L, 1);
    }
    bool given = settings->length > 2; /* an empty table is written as an empty list */
    const int64_t since = guest_pause(L);
    int code = lua_driver_find(&words->driver, word, access->folder, given ? settings->bytes : NULL,
                               &error);
    guest_unpause(L, since);
    if (code)
        guest_raise(L, &error);
    words->can = words->driver->can;
}

int word_instrument(lua_State *L)
{
    static const char *const names[] = {"driver",   "link",   "name",       "identity",
                                        "settings", "limits", "resolution", NULL};
    static const struct key keys[] = {
        {"resolution", FORM_QUANTITY, DIM_VOLTAGE, offsetof(struct instrument_words, resolution)},
        {NULL, FORM_PLAIN, DIM_NUMBER, 0},
    };
    static const char what[] = "an instrument";
    lua_settop(L, 1);
    if (!lua_istable(L, 1))
        return guest_fail(L, "write instrument { driver = ..., link = ... }",
                          "instrument wants a table");
    fields_check(L, 1, what, names);

    struct instrument_words *words = lua_newuserdatauv(L, sizeof *words, 0);
    memset(words, 0, sizeof *words);
    set_type(L, TYPE_NAME, collect);
    words->limits = LIMITS_NONE;
    words->resolution = NAN;
    const char *driver = field_text(L, 1, what, "driver");
    if (!driver || !*driver)
        return guest_fail(L, "add driver = \"supply\", say", "the instrument has no driver");
    const struct link_words *link = field_push(L, 1, "link") ? link_words_at(L, -1) : NULL;
    if (!link)
        return guest_fail(L, "add link = serial(\"/dev/serial/by-id/...\"), tcp, usbtmc or pty",
                          "the instrument has no link");
    words->link = *link;
    lua_pop(L, 1);
    const char *name = field_text(L, 1, what, "name");
    if (name)
        string_copy(words->name, sizeof words->name, name);
    else
        snprintf(words->name, sizeof words->name, "%.24s at %.32s", driver, words->link.path);
    read_expected(L, &words->expected);
    if (field_push(L, 1, "limits")) {
        limits_read(L, lua_gettop(L), &words->limits);
        lua_pop(L, 1);
    }
    keys_read(L, 1, keys, words, what);
    load_driver(L, driver, words);
    return 1;
}

/* --- route(instrument, number) --------------------------------------------------------------- */

int word_route(lua_State *L)
{
    lua_settop(L, 2);
    struct instrument_words *instrument = luaL_testudata(L, 1, TYPE_NAME);
    int isint;
    lua_Integer point = lua_tointegerx(L, 2, &isint);
    if (!instrument)
        return guest_fail(L, "write route(board, 3)", "route wants an instrument");
    if (!isint || point < 1 || point > 100000)
        return guest_fail(L, "write route(board, 3)",
                          "route wants the number of an input or relay");
    struct route_words *kept = lua_newuserdatauv(L, sizeof *kept, 1);
    kept->instrument = instrument;
    kept->point = (int)point;
    lua_pushvalue(L, 1);
    lua_setiuservalue(L, -2, 1);
    set_type(L, ROUTE_NAME, NULL);
    return 1;
}

bool route_words_at(lua_State *L, int index, struct route_words *out)
{
    const struct route_words *route = luaL_testudata(L, index, ROUTE_NAME);
    struct instrument_words *instrument = luaL_testudata(L, index, TYPE_NAME);
    *out = (struct route_words){NULL, 0};
    if (route)
        *out = *route;
    else if (instrument)
        out->instrument = instrument;
    else
        return false;
    lua_pushvalue(L, index);
    return true;
}

/* --- opening --------------------------------------------------------------------------------- */

struct instrument *instrument_words_open(lua_State *L, struct instrument_words *words)
{
    struct bench_reader *reader = reader_of(L);
    const struct bench_access *access = reader->access;
    struct error error;
    if (words->instrument)
        return words->instrument;
    const struct link_spec link = link_words_spec(&words->link);
    struct instrument_spec spec = {
        .name = words->name,
        .link = &link,
        .driver = words->driver,
        .expected = words->expected,
        .limits = words->limits,
        .resolution = words->resolution,
        .clock = reader->clock,
        .guardian = access->guardian,
        .guardian_id = reader->out->instrument_count,
        .tell = access->tell,
        .trace = access->trace,
        .owner = access->owner,
    };
    words->driver = NULL; /* taken over, whatever comes */
    const int64_t since = guest_pause(L);
    int code = instrument_open(access->uv_loop, &spec, &words->instrument, &error);
    guest_unpause(L, since);
    if (code)
        guest_raise(L, &error);
    bench_add_instrument(reader->out, words->instrument);
    return words->instrument;
}
