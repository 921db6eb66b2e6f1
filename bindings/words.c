/* The words that are there everywhere: record, note, ask, now, wait, wait_until, random, quantity,
 * restart_with; and from combine.c mean, total. */
#include <lauxlib.h>
#include <math.h>
#include <string.h>

#include "bindings/canonical.h"
#include "bindings/combine.h"
#include "bindings/fields.h"
#include "bindings/script_internal.h"

/* --- record ----------------------------------------------------------------------------------- */

/* The declared result of that name, or raises. */
static int find_result(lua_State *L, const char *name)
{
    const struct script *script = script_of(L);
    for (int i = 0; i < script->result_count; i++)
        if (strcmp(script->results[i].name, name) == 0)
            return i;
    const char *names[RESULTS_MOST + 1];
    for (int i = 0; i < script->result_count; i++)
        names[i] = script->results[i].name;
    names[script->result_count] = NULL;
    const char *near = nearest_name(name, names);
    char todo[128];
    if (near)
        snprintf(todo, sizeof todo, "did you mean '%.60s'?", near);
    else
        snprintf(todo, sizeof todo, "add %.60s = \"UNIT\" to results", name);
    guest_fail(L, todo, "the protocol declares no result '%.60s'", name);
    return -1;
}

/* What one of `unit` is in the declared unit of result `i`. */
static double unit_ratio(lua_State *L, int i, const char *unit)
{
    const struct script *script = script_of(L);
    const struct script_result *result = &script->results[i];
    const struct result_kind *kind = &script->result_kinds[i];
    if (strcmp(unit, result->unit) == 0)
        return 1;
    enum dimension dimension = DIM_NUMBER;
    double factor = 1;
    if (*unit && strcmp(unit, "1") != 0 && unit_find(unit, &dimension, &factor) != 0)
        guest_fail(L, "give the unit of the value", "record '%s': there is no unit '%.40s'",
                   result->name, unit);
    if (dimension != kind->dimension)
        guest_fail(L, "give the value in the declared unit",
                   "record '%s' is declared in %s, not %s", result->name, result->unit,
                   *unit ? unit : "a plain number");
    return factor / kind->factor;
}

static void add_field(struct text *args, const char *name, double number)
{
    text_add(args, ",\"");
    text_add(args, name);
    text_add(args, "\":");
    text_add_number(args, number);
}

/* The fourth argument: a standard uncertainty, or { uncertainty = , freedom = }, or nothing.
 * Written into the journal's arguments in the order of their names. */
static void read_uncertainty(lua_State *L, struct script_request *request, const char *name,
                             double ratio)
{
    static const char *const options[] = {"uncertainty", "freedom", NULL};
    lua_settop(L, 4);
    if (lua_isnil(L, 4))
        return;
    if (lua_istable(L, 4)) {
        fields_check(L, 4, "record's options", options);
        if (field_push(L, 4, "freedom")) {
            request->freedom = luaL_checknumber(L, -1);
            lua_pop(L, 1);
        }
        if (!field_push(L, 4, "uncertainty"))
            return;
        lua_replace(L, 4);
    }
    if (lua_type(L, 4) != LUA_TNUMBER)
        guest_fail(L, "give the standard uncertainty, in the same unit",
                   "record '%s': the uncertainty is a %s", name, luaL_typename(L, 4));
    double uncertainty = lua_tonumber(L, 4) * ratio;
    if (!isfinite(uncertainty) || uncertainty < 0)
        guest_fail(L, "give the standard uncertainty, in the same unit",
                   "record '%s': the uncertainty is no positive number", name);
    if (request->freedom < 1)
        guest_fail(L, "leave it out where the uncertainty is well known",
                   "record '%s': there is less than one degree of freedom", name);
    request->uncertainty = uncertainty;
}

static int word_record(lua_State *L)
{
    struct script *script = script_of(L);
    struct script_request *request = request_begin(L, REQUEST_RECORD, "record");
    const char *name = luaL_checkstring(L, 1);
    int i = find_result(L, name);
    if (lua_type(L, 2) != LUA_TNUMBER)
        return guest_fail(L, "give a number", "record '%s': the value is a %s", name,
                          luaL_typename(L, 2));
    const char *unit = luaL_optstring(L, 3, "");
    double ratio = unit_ratio(L, i, unit);
    request->text = script->results[i].name;
    request->unit = script->results[i].unit;
    request->value = lua_tonumber(L, 2) * ratio;
    if (!isfinite(request->value))
        return guest_fail(L, "check the calculation", "record '%s': the value is not finite", name);
    read_uncertainty(L, request, name, ratio);

    struct text *args = &script->args;
    text_add(args, "{\"name\":");
    text_add_json_string(args, request->text, strlen(request->text));
    if (isfinite(request->freedom))
        add_field(args, "freedom", request->freedom);
    if (isfinite(request->uncertainty))
        add_field(args, "uncertainty", request->uncertainty);
    text_add(args, ",\"unit\":");
    text_add_json_string(args, request->unit, strlen(request->unit));
    add_field(args, "value", request->value);
    text_add(args, "}");
    return request_yield(L, take_nothing);
}

/* --- note ------------------------------------------------------------------------------------- */

static int request_note(lua_State *L)
{
    struct script *script = script_of(L);
    struct script_request *request = request_begin(L, REQUEST_NOTE, "note");
    int count = lua_gettop(L);
    for (int i = 1; i <= count; i++) {
        size_t length;
        push_text(L, i);
        const char *bytes = lua_tolstring(L, -1, &length);
        if (i > 1)
            text_add(&script->words, " ");
        text_add_bytes(&script->words, bytes, length);
        lua_pop(L, 1);
    }
    text_add(&script->args, "{\"text\":");
    text_add_json_string(&script->args, script->words.bytes ? script->words.bytes : "",
                         script->words.length);
    text_add(&script->args, "}");
    request->text = script->words.bytes ? script->words.bytes : "";
    return request_yield(L, take_nothing);
}

static int word_note(lua_State *L)
{
    luaL_checkany(L, 1);
    return request_note(L);
}

/* --- ask -------------------------------------------------------------------------------------- */

static const char *const ask_fields[] = {"text", "kind", "unit", "least", "most", "choices", NULL};

/* A number or a text as answered; true for "done". */
static int take_answer(lua_State *L, int status, lua_KContext context)
{
    (void)status, (void)context;
    canonical_read(L, script_of(L)->outcome);
    if (lua_istable(L, -1) && field_push(L, -1, "value"))
        lua_remove(L, -2);
    if (lua_isinteger(L, -1)) { /* what a person reads off is a measure, not a count */
        lua_pushnumber(L, lua_tonumber(L, -1));
        lua_replace(L, -2);
    }
    return 1;
}

/* Number, text, choice or done; from what is there when not said. */
static const char *ask_kind(lua_State *L, bool has_choices)
{
    static const char *const kinds[] = {"number", "text", "choice", "done", NULL};
    const char *kind = field_text(L, 1, "ask", "kind");
    if (!kind) {
        if (has_choices)
            return "choice";
        bool number = false;
        for (int i = 2; i <= 4 && !number; i++)
            if ((number = field_push(L, 1, ask_fields[i])))
                lua_pop(L, 1);
        return number ? "number" : "done";
    }
    for (int i = 0; kinds[i]; i++)
        if (strcmp(kinds[i], kind) == 0)
            return kinds[i];
    guest_fail(L, "use number, text, choice or done", "ask: there is no kind '%.40s'", kind);
    return NULL;
}

/* A limit of the answer, in bench units. */
static void add_limit(lua_State *L, struct text *expects, const char *name,
                      enum dimension dimension, double factor)
{
    char what[40];
    if (!field_push(L, 1, name))
        return;
    snprintf(what, sizeof what, "ask: %s", name);
    double limit =
        lua_type(L, -1) == LUA_TNUMBER
            ? lua_tonumber(L, -1)
            : quantity_at(L, -1, dimension, script_of(L)->cell.rated_charge, what) / factor;
    if (!isfinite(limit))
        guest_fail(L, "give a number", "%s is not finite", what);
    add_field(expects, name, limit);
    lua_pop(L, 1);
}

static void add_choices(lua_State *L, struct text *expects)
{
    size_t count = lua_istable(L, -1) ? lua_rawlen(L, -1) : 0;
    if (count < 2)
        guest_fail(L, "write choices = { \"yes\", \"no\" }", "ask: choices is not a list of texts");
    for (size_t i = 1; i <= count; i++) {
        if (lua_rawgeti(L, -1, (lua_Integer)i) != LUA_TSTRING)
            guest_fail(L, "write choices = { \"yes\", \"no\" }", "ask: a choice is not a text");
        lua_pop(L, 1);
    }
    text_add(expects, ",\"choices\":");
    canonical_write(L, -1, expects, "ask: choices");
}

static int word_ask(lua_State *L)
{
    struct script *script = script_of(L);
    struct script_request *request = request_begin(L, REQUEST_ASK, "ask");
    lua_settop(L, 1);
    luaL_checktype(L, 1, LUA_TTABLE);
    fields_check(L, 1, "ask", ask_fields);
    const char *text = field_text(L, 1, "ask", "text");
    if (!text || !*text)
        return guest_fail(L, "add text = \"...\"", "ask has no text to show");
    text_add(&script->words, text);

    struct text *expects = &script->expects;
    bool has_choices = field_push(L, 1, "choices");
    if (has_choices)
        lua_pop(L, 1);
    const char *kind = ask_kind(L, has_choices);
    text_add(expects, "{\"kind\":\"");
    text_add(expects, kind);
    text_add(expects, "\"");
    bool number = strcmp(kind, "number") == 0;
    const char *unit = field_text(L, 1, "ask", "unit");
    enum dimension dimension = DIM_NUMBER;
    double factor = 1;
    if (unit && !number)
        return guest_fail(L, "leave it out, or use kind = \"number\"", "ask: a %s has no unit",
                          kind);
    if (unit && *unit && strcmp(unit, "1") != 0 && unit_find(unit, &dimension, &factor) != 0)
        return guest_fail(L, "use A, V, s, Ah, Wh, W, ohm, degC", "ask: there is no unit '%.40s'",
                          unit);
    if (unit) {
        text_add(expects, ",\"unit\":");
        text_add_json_string(expects, unit, strlen(unit));
    }
    add_limit(L, expects, "least", dimension, factor);
    add_limit(L, expects, "most", dimension, factor);
    if (has_choices != (strcmp(kind, "choice") == 0))
        return guest_fail(L, "name both or none", "ask: choices go with kind = \"choice\"");
    if (has_choices) {
        field_push(L, 1, "choices");
        add_choices(L, expects);
    }
    text_add(expects, "}");
    canonical_write(L, 1, &script->args, "ask");
    request->text = script->words.bytes;
    request->expects = expects->bytes;
    return request_yield(L, take_answer);
}

/* --- time ------------------------------------------------------------------------------------- */

static double now_seconds(const struct script *script)
{
    return (double)script->now / (double)US_PER_S;
}

static int word_now(lua_State *L)
{
    lua_pushnumber(L, now_seconds(script_of(L)));
    return 1;
}

static int word_wait(lua_State *L)
{
    struct script *script = script_of(L);
    struct script_request *request = request_begin(L, REQUEST_WAIT, "wait");
    luaL_checkany(L, 1);
    lua_settop(L, 1);
    if (lua_type(L, 1) == LUA_TSTRING) {
        struct error error;
        if (duration_parse(lua_tostring(L, 1), &request->wait, &error))
            return guest_raise(L, &error);
    } else {
        double seconds = luaL_checknumber(L, 1);
        if (!(seconds >= 0 && seconds < 1e10))
            return guest_fail(L, "give seconds, or a text such as \"42 d\"",
                              "wait: the time is negative or not finite");
        request->wait.seconds = seconds;
    }
    text_add(&script->args, "{\"time\":");
    canonical_write(L, 1, &script->args, "wait");
    text_add(&script->args, "}");
    return request_yield(L, take_nothing);
}

static int word_wait_until(lua_State *L)
{
    struct script *script = script_of(L);
    struct script_request *request = request_begin(L, REQUEST_WAIT, "wait_until");
    int64_t read = 0;
    bool civil = false;
    luaL_checkany(L, 1);
    if (lua_type(L, 1) == LUA_TSTRING) {
        struct error error;
        if (civil_parse(lua_tostring(L, 1), &read, &civil, &error))
            return guest_raise(L, &error);
        request->until = civil ? zone_instant(script->zone, read) : read;
    } else {
        double seconds = luaL_checknumber(L, 1);
        if (!(fabs(seconds) < 1e11))
            return guest_fail(L, "give a date, or seconds as now() does",
                              "wait_until: no such time");
        request->until = (utc_us)llround(seconds * (double)US_PER_S);
    }
    if (request->until == 0)
        request->until = 1; /* 0 would mean no date; the instant is past either way */
    char date[40];
    if (civil && script->zone) /* as it was written, whatever rules the zone will have */
        text_addf(&script->args, "{\"until\":\"%s\",\"zone\":\"%s\"}",
                  civil_format(read, date, sizeof date), zone_name(script->zone));
    else
        text_addf(&script->args, "{\"until\":\"%s\"}",
                  utc_format(request->until, date, sizeof date));
    return request_yield(L, take_nothing);
}

/* --- quantities, restart ---------------------------------------------------------------------- */

static int word_quantity(lua_State *L)
{
    const struct script *script = script_of(L);
    struct quantity quantity;
    struct error error;
    const char *text = luaL_checkstring(L, 1);
    if (quantity_parse(text, &quantity, &error))
        return guest_raise(L, &error);
    if (quantity.dimension == DIM_RATE && script->cell.rated_charge > 0) {
        if (quantity_read(text, DIM_CURRENT, script->cell.rated_charge, &quantity.value, &error))
            return guest_raise(L, &error);
        quantity.dimension = DIM_CURRENT;
    }
    lua_pushnumber(L, quantity_to_bench(quantity.value, quantity.dimension));
    return 1;
}

static int word_restart_with(lua_State *L)
{
    struct script *script = script_of(L);
    struct script_request *request = request_begin(L, REQUEST_RESTART, "restart_with");
    luaL_checkany(L, 1);
    canonical_write(L, 1, &script->words, "the state");
    text_add(&script->args, "{\"state\":");
    text_add_bytes(&script->args, script->words.bytes, script->words.length);
    text_add(&script->args, "}");
    request->state = script->words.bytes;
    return request_yield(L, take_nothing);
}

void words_open(lua_State *L)
{
    static const luaL_Reg words[] = {
        {"ask", word_ask},
        {"mean", word_mean},
        {"note", word_note},
        {"now", word_now},
        {"print", request_note},
        {"quantity", word_quantity},
        {"random", word_random},
        {"record", word_record},
        {"restart_with", word_restart_with},
        {"total", word_total},
        {"wait", word_wait},
        {"wait_until", word_wait_until},
        {NULL, NULL},
    };
    lua_pushglobaltable(L);
    luaL_setfuncs(L, words, 0);
    lua_pop(L, 1);
}
