/* Studies: the functions behind the study words, which are in study.lua. */
#include "bindings/study.h"

#include <lauxlib.h>
#include <math.h>
#include <string.h>

#include "bindings/canonical.h"
#include "bindings/fields.h"
#include "bindings/script_internal.h"
#include "study_lua.h" /* the text of study.lua, made by the build */

/* fail(why, what to do): raised at the study's own line. */
static int study_fail(lua_State *L)
{
    return guest_fail(L, luaL_checkstring(L, 2), "%s", luaL_checkstring(L, 1));
}

/* An empty table has no keys to tell an object from a list: here it is an object. */
static void write_object(lua_State *L, int index, struct text *out, const char *what)
{
    lua_pushnil(L);
    if (lua_next(L, index)) {
        lua_pop(L, 2);
        canonical_write(L, index, out, what);
    } else {
        text_add(out, "{}");
    }
}

/* The outcome's list of runs. */
static int take_runs(lua_State *L, int status, lua_KContext context)
{
    (void)status, (void)context;
    canonical_read(L, script_of(L)->outcome);
    lua_getfield(L, -1, "runs");
    return 1;
}

/* The option `channel`: a name for all cells, or a table LABEL -> NAME, which is written after an
 * empty name; gives the place of its text, 0 for none. */
static size_t write_channel(lua_State *L, struct text *words)
{
    size_t at = 0;
    const char *channel = NULL;
    bool there = field_push(L, 4, "channel");
    if (there && lua_istable(L, -1)) {
        for (lua_pushnil(L); lua_next(L, -2); lua_pop(L, 1))
            if (lua_type(L, -2) != LUA_TSTRING || lua_type(L, -1) != LUA_TSTRING)
                guest_fail(L, "write { [\"REF-01\"] = \"A1\" }",
                           "perform: the table of channels is not by label");
        text_add_bytes(words, "", 1);
        at = words->length;
        write_object(L, lua_gettop(L), words, "perform: channels");
    } else {
        channel = field_text(L, 4, "perform's options", "channel");
        text_add(words, channel ? channel : "");
    }
    text_add_bytes(words, "", 1);
    lua_settop(L, 4);
    return at;
}

/* perform(name, labels, params, options) */
static int study_perform(lua_State *L)
{
    static const char *const known[] = {"channel", "placed", NULL};
    struct script *script = script_of(L);
    struct script_request *request = request_begin(L, REQUEST_PERFORM, "perform");
    const char *name = luaL_checkstring(L, 1);
    lua_settop(L, 4);
    if (!lua_istable(L, 3) || !lua_istable(L, 4))
        return guest_fail(L, "write { rate = \"500 mA\" }", "perform: parameters are no table");
    fields_check(L, 4, "perform's options", known);

    /* One text after another; their places are known once nothing is added any more. */
    struct text *words = &script->words;
    canonical_write(L, 2, words, "perform: cells");
    text_add_bytes(words, "", 1);
    size_t params = words->length;
    write_object(L, 3, words, "perform: parameters");
    text_add_bytes(words, "", 1);
    size_t label = words->length;
    size_t channels = write_channel(L, words);
    size_t protocol = words->length;
    text_add(words, name);

    request->cells = words->bytes;
    request->params = words->bytes + params;
    request->label = words->bytes + label;
    request->channels = channels ? words->bytes + channels : NULL;
    request->text = words->bytes + protocol;
    struct text *args = &script->args;
    text_add(args, "{\"cells\":");
    text_add(args, request->cells);
    text_add(args, ",\"channel\":");
    if (request->channels)
        text_add(args, request->channels);
    else
        text_add_json_string(args, request->label, strlen(request->label));
    text_add(args, ",\"params\":");
    text_add(args, request->params);
    if (field_yes(L, 4, "perform's options", "placed"))
        text_add(args, ",\"placed\":true"); /* what the engine asks a person follows from this */
    text_add(args, ",\"protocol\":");
    text_add_json_string(args, name, strlen(name));
    text_add(args, "}");
    return request_yield(L, take_runs);
}

/* place(kind, label, labels, detail) */
static int study_place(lua_State *L)
{
    struct script *script = script_of(L);
    struct script_request *request = request_begin(L, REQUEST_PLACE, "place");
    const char *kind = luaL_checkstring(L, 1), *label = luaL_checkstring(L, 2);
    if (!lua_istable(L, 4))
        return guest_fail(L, "write { temperature = \"20 degC\" }", "the details are no table");
    struct text *words = &script->words;
    canonical_write(L, 3, words, "the cells");
    text_add_bytes(words, "", 1);
    size_t detail = words->length;
    write_object(L, 4, words, "the details");
    text_add_bytes(words, "", 1);
    size_t label_at = words->length;
    text_add(words, label);
    text_add_bytes(words, "", 1);
    size_t kind_at = words->length;
    text_add(words, kind);

    request->cells = words->bytes;
    request->detail = words->bytes + detail;
    request->label = words->bytes + label_at;
    request->text = words->bytes + kind_at;
    struct text *args = &script->args;
    text_add(args, "{\"cells\":");
    text_add(args, request->cells);
    text_add(args, ",\"detail\":");
    text_add(args, request->detail);
    text_add(args, ",\"kind\":");
    text_add_json_string(args, kind, strlen(kind));
    text_add(args, ",\"label\":");
    text_add_json_string(args, label, strlen(label));
    text_add(args, "}");
    return request_yield(L, take_nothing);
}

static void duration_at(lua_State *L, int index, const char *what, struct duration *out)
{
    struct error error;
    if (lua_type(L, index) != LUA_TSTRING)
        guest_fail(L, "write \"P42D\" or \"2 d\"", "wait: the %s is no text", what);
    else if (duration_parse(lua_tostring(L, index), out, &error))
        guest_raise(L, &error);
}

/* The latest instant at which it is in time, seconds since 1970: as it was put on record, else by
 * the rules of today (and UTC has no others). */
static int take_latest(lua_State *L, int status, lua_KContext context)
{
    (void)status, (void)context;
    canonical_read(L, script_of(L)->outcome);
    if (!lua_isnumber(L, -1))
        lua_pushnumber(L, script_of(L)->latest);
    return 1;
}

/* wait_age(origin, age, early, late) */
static int study_wait_age(lua_State *L)
{
    struct script *script = script_of(L);
    struct script_request *request = request_begin(L, REQUEST_WAIT, "wait_age");
    struct duration age;
    utc_us origin = (utc_us)llround(luaL_checknumber(L, 1) * (double)US_PER_S);
    duration_at(L, 2, "age", &age);
    duration_at(L, 3, "early side of the window", &request->early);
    duration_at(L, 4, "late side of the window", &request->late);
    request->has_window = true;
    request->wait = age;
    request->until = zone_after(script->zone, origin, &age);
    script->latest =
        (double)zone_after(script->zone, request->until, &request->late) / (double)US_PER_S;

    char date[40];
    struct text *args = &script->args;
    text_add(args, "{\"age\":");
    canonical_write(L, 2, args, "wait");
    text_add(args, ",\"early\":");
    canonical_write(L, 3, args, "wait");
    text_add(args, ",\"late\":");
    canonical_write(L, 4, args, "wait");
    /* The journal must read the same should the rules of the zone be changed: no date by them. */
    utc_format(script->zone ? origin : request->until, date, sizeof date);
    text_addf(args, script->zone ? ",\"from\":\"%s\",\"zone\":\"%s\"}" : ",\"until\":\"%s\"}", date,
              zone_name(script->zone));
    return request_yield(L, take_latest);
}

void study_push(lua_State *L)
{
    static const luaL_Reg words[] = {{"fail", study_fail},
                                     {"perform", study_perform},
                                     {"place", study_place},
                                     {"wait_age", study_wait_age},
                                     {NULL, NULL}};
    static const char *const shared[] = {"now", "ask", "random", NULL};
    guest_load_own(L, "study words", study_lua, sizeof study_lua - 1);
    lua_newtable(L);
    luaL_setfuncs(L, words, 0);
    for (int i = 0; shared[i]; i++) {
        lua_getglobal(L, shared[i]);
        lua_setfield(L, -2, shared[i]);
    }
    /* about: LABEL -> what is on record of the cell */
    lua_newtable(L);
    canonical_read(L, script_of(L)->cells ? script_of(L)->cells : "[]");
    for (lua_Integer i = 1; lua_rawgeti(L, -1, i) != LUA_TNIL; i++) {
        lua_getfield(L, -1, "label");
        lua_insert(L, -2);
        lua_rawset(L, -4);
    }
    lua_pop(L, 2);
    lua_setfield(L, -2, "about");
    lua_call(L, 1, 1);
}
