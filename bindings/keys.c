/* Reading tables by tables; limits and ticks. */
#include "bindings/keys.h"

#include <lauxlib.h>
#include <math.h>

#include "bindings/fields.h"
#include "bindings/sandbox.h"

const char **keys_add_names(const char **names, const struct key *keys)
{
    for (; keys->name; keys++)
        *names++ = keys->name;
    *names = NULL;
    return names;
}

double key_value(lua_State *L, const struct key *key, const char *what)
{
    char name[96];
    snprintf(name, sizeof name, "%s: %s", what, key->name);
    if (key->form != FORM_QUANTITY && lua_type(L, -1) == LUA_TNUMBER) {
        double number = lua_tonumber(L, -1);
        if (!isfinite(number))
            guest_fail(L, "give a number", "%s is not finite", name);
        return number;
    }
    if (key->form == FORM_PLAIN)
        guest_fail(L, "give a plain number", "%s is a %s", name, luaL_typename(L, -1));
    return quantity_at(L, -1, key->dimension, 0, name);
}

int keys_read(lua_State *L, int table, const struct key *keys, void *into, const char *what)
{
    int found = 0;
    for (; keys->name; keys++) {
        if (!field_push(L, table, keys->name))
            continue;
        *(double *)(void *)((char *)into + keys->offset) = key_value(L, keys, what);
        lua_pop(L, 1);
        found++;
    }
    return found;
}

/* --- what every channel has ------------------------------------------------------------------ */

#define CHANNEL(field) offsetof(struct channel_keys, field)
#define LIMIT(field)   offsetof(struct limits, field)

const struct key channel_keys[] = {
    {"tick", FORM_QUANTITY, DIM_TIME, CHANNEL(tick_least)},
    {"tick_most", FORM_QUANTITY, DIM_TIME, CHANNEL(tick_most)},
    {"rest_most", FORM_QUANTITY, DIM_TIME, CHANNEL(rest_most)},
    {"void_after", FORM_QUANTITY, DIM_TIME, CHANNEL(void_after)},
    {NULL, FORM_PLAIN, DIM_NUMBER, 0},
};

static const struct key limit_keys[] = {
    {"voltage_least", FORM_QUANTITY, DIM_VOLTAGE, LIMIT(voltage_least)},
    {"voltage_most", FORM_QUANTITY, DIM_VOLTAGE, LIMIT(voltage_most)},
    {"charge_current_most", FORM_QUANTITY, DIM_CURRENT, LIMIT(charge_current_most)},
    {"discharge_current_most", FORM_QUANTITY, DIM_CURRENT, LIMIT(discharge_current_most)},
    {"charge_temperature_least", FORM_QUANTITY, DIM_TEMPERATURE, LIMIT(charge_temperature_least)},
    {"charge_temperature_most", FORM_QUANTITY, DIM_TEMPERATURE, LIMIT(charge_temperature_most)},
    {"discharge_temperature_least", FORM_QUANTITY, DIM_TEMPERATURE,
     LIMIT(discharge_temperature_least)},
    {"discharge_temperature_most", FORM_QUANTITY, DIM_TEMPERATURE,
     LIMIT(discharge_temperature_most)},
    {"reading_age_most", FORM_QUANTITY, DIM_TIME, LIMIT(reading_age_most)},
    {NULL, FORM_PLAIN, DIM_NUMBER, 0},
};

void limits_read(lua_State *L, int table, struct limits *limits)
{
    const char *names[KEYS_MOST];
    keys_add_names(names, limit_keys);
    if (!lua_istable(L, table))
        guest_fail(L, "write limits = { voltage_most = \"1.8 V\" }", "limits is a %s",
                   luaL_typename(L, table));
    fields_check(L, table, "limits", names);
    *limits = LIMITS_NONE;
    keys_read(L, table, limit_keys, limits, "limits");
}

int word_limits(lua_State *L)
{
    struct limits limits;
    lua_settop(L, 1);
    limits_read(L, 1, &limits); /* here for its line; the channel that has it reads it again */
    return 1;
}

/* Beyond what is possible it is a unit that is wrong, 1800 for 1800 mV. An instrument may well have
 * wider limits of its own. */
static void check_plausible(lua_State *L, const struct limits *limits)
{
    const double volts[] = {limits->voltage_least, limits->voltage_most};
    const double amperes[] = {limits->charge_current_most, limits->discharge_current_most};
    for (size_t i = 0; i < 2; i++) {
        if (isfinite(volts[i]) && fabs(volts[i]) > VOLTAGE_POSSIBLE)
            guest_fail(L, "write it with its unit, such as \"1.8 V\": a plain number is in volts",
                       "limits: %.6g V is no limit of a cell", volts[i]);
        if (isfinite(amperes[i]) && fabs(amperes[i]) > CURRENT_POSSIBLE)
            guest_fail(L, "write it with its unit, such as \"2 A\": a plain number is in amperes",
                       "limits: %.6g A is no limit of a cell", amperes[i]);
    }
}

void channel_keys_read(lua_State *L, int table, struct channel_keys *into, const char *what)
{
    *into = (struct channel_keys){NAN, NAN, NAN, NAN, LIMITS_NONE};
    keys_read(L, table, channel_keys, into, what);
    if (into->tick_least <= 0 || into->tick_most <= 0 || into->rest_most <= 0)
        guest_fail(L, "give a time above zero", "%s: a tick of no length", what);
    if (field_push(L, table, "limits")) {
        limits_read(L, lua_gettop(L), &into->limits);
        check_plausible(L, &into->limits);
        lua_pop(L, 1);
    }
}

static void set_if_given(double *value, double given)
{
    if (!isnan(given))
        *value = given;
}

void channel_keys_apply(const struct channel_keys *keys, struct channel *channel)
{
    channel->limits = limits_meet(&channel->limits, &keys->limits);
    set_if_given(&channel->tick_least, keys->tick_least);
    set_if_given(&channel->tick_most, keys->tick_most);
    set_if_given(&channel->rest_most, keys->rest_most);
    set_if_given(&channel->void_after, keys->void_after);
}
