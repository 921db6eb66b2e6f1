/* `simulated { ... }` and `limits { ... }`: every key in one table. */
#include "bindings/simulated_spec.h"

#include <lauxlib.h>
#include <math.h>
#include <string.h>

#include "bindings/fields.h"
#include "bindings/sandbox.h"

#define TYPE_NAME "perdure.simulated"

enum form { FORM_QUANTITY, FORM_FRACTION, FORM_PLAIN };

struct key {
    const char *name;
    enum form form;
    enum dimension dimension;
    size_t offset;
};

#define TRUTH(field)   offsetof(struct simcell_truth, field)
#define CHANNEL(field) offsetof(struct simulated_spec, field)
#define LIMIT(field)   offsetof(struct limits, field)

/* A fraction may be written 0.98 or "98 %". Plain ones have no unit of their own here: farad, joule
 * a kelvin, watt a kelvin. */
static const struct key truth_keys[] = {
    {"capacity", FORM_QUANTITY, DIM_CHARGE, TRUTH(capacity)},
    {"r0", FORM_QUANTITY, DIM_RESISTANCE, TRUTH(r0)},
    {"r1", FORM_QUANTITY, DIM_RESISTANCE, TRUTH(r1)},
    {"c1", FORM_PLAIN, DIM_NUMBER, TRUTH(c1)},
    {"efficiency", FORM_FRACTION, DIM_RATIO, TRUTH(efficiency)},
    {"knee", FORM_FRACTION, DIM_RATIO, TRUTH(knee)},
    {"overcharge_dip", FORM_QUANTITY, DIM_VOLTAGE, TRUTH(overcharge_dip)},
    {"self_discharge", FORM_FRACTION, DIM_RATIO, TRUTH(self_discharge)},
    {"fade", FORM_FRACTION, DIM_RATIO, TRUTH(fade)},
    {"growth", FORM_FRACTION, DIM_RATIO, TRUTH(growth)},
    {"heat_capacity", FORM_PLAIN, DIM_NUMBER, TRUTH(heat_capacity)},
    {"heat_transfer", FORM_PLAIN, DIM_NUMBER, TRUTH(heat_transfer)},
    {"ambient", FORM_QUANTITY, DIM_TEMPERATURE, TRUTH(ambient)},
    {"noise", FORM_QUANTITY, DIM_VOLTAGE, TRUTH(noise_voltage)},
    {"noise_temperature", FORM_QUANTITY, DIM_TEMPERATURE_DIFFERENCE, TRUTH(noise_temperature)},
    {"soc_new", FORM_FRACTION, DIM_RATIO, TRUTH(soc_new)},
    {NULL, FORM_PLAIN, DIM_NUMBER, 0},
};

static const struct key channel_keys[] = {
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

#define KEYS_MOST 40

static const char **add_names(const char **names, const struct key *keys)
{
    for (; keys->name; keys++)
        *names++ = keys->name;
    *names = NULL;
    return names;
}

/* The value at the top, in SI. */
static double value_at(lua_State *L, const struct key *key, const char *what)
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

/* Sets every field of *into that the table names; says how many. */
static int read_keys(lua_State *L, int table, const struct key *keys, void *into, const char *what)
{
    int found = 0;
    for (; keys->name; keys++) {
        if (!field_push(L, table, keys->name))
            continue;
        *(double *)(void *)((char *)into + keys->offset) = value_at(L, keys, what);
        lua_pop(L, 1);
        found++;
    }
    return found;
}

/* --- the truth -------------------------------------------------------------------------------- */

static double point_at(lua_State *L, int i, const char *name)
{
    const struct key key = {name, i == 1 ? FORM_FRACTION : FORM_QUANTITY,
                            i == 1 ? DIM_RATIO : DIM_VOLTAGE, 0};
    lua_rawgeti(L, -1, i);
    double value = value_at(L, &key, "simulated");
    lua_pop(L, 1);
    return value;
}

/* One voltage, or a list of { state of charge, voltage }. */
static void read_open_circuit(lua_State *L, struct simcell_truth *truth)
{
    static const char todo[] = "write \"1.25 V\", or { { 0, \"1.0 V\" }, { 1, \"1.4 V\" } }";
    if (!lua_istable(L, -1)) {
        truth->ocv_points = 1;
        truth->ocv_soc[0] = 0;
        truth->ocv[0] = quantity_at(L, -1, DIM_VOLTAGE, 0, "simulated: open_circuit");
        return;
    }
    size_t count = lua_rawlen(L, -1);
    if (count < 2 || count > SIMCELL_OCV_POINTS)
        guest_fail(L, todo, "simulated: open_circuit has %zu points, and needs 2 to %d", count,
                   SIMCELL_OCV_POINTS);
    truth->ocv_points = (int)count;
    for (int i = 0; i < truth->ocv_points; i++) {
        if (lua_rawgeti(L, -1, i + 1) != LUA_TTABLE || lua_rawlen(L, -1) != 2)
            guest_fail(L, todo, "simulated: point %d of open_circuit is no pair", i + 1);
        truth->ocv_soc[i] = point_at(L, 1, "open_circuit (state of charge)");
        truth->ocv[i] = point_at(L, 2, "open_circuit (voltage)");
        lua_pop(L, 1);
    }
}

/* A cell without losses, noise or ageing: what the file names is the whole truth, and results have
 * closed forms. */
static const struct simcell_truth ideal = {
    .ocv_points = 0,
    .efficiency = 1,
    .knee = 1,
    .heat_capacity = 27, /* J/K: 27 g at about 1 J/K a gram, an AA cell; from memory */
    .heat_transfer = 0.08,
    .ambient = 20,
    .soc_new = 0.5,
};

/* From the typical cell of a chemistry that the file names, else from the ideal one. */
static void begin_truth(lua_State *L, int table, struct simcell_truth *truth)
{
    const char *chemistry = field_text(L, table, "simulated", "chemistry");
    if (!chemistry) {
        *truth = ideal;
        return;
    }
    struct cell_facts facts = {.profile = profile_find(chemistry)};
    if (!facts.profile)
        guest_fail(L, "use NiMH, NiCd or Li-ion, say", "simulated: there is no chemistry '%.40s'",
                   chemistry);
    facts.rated_charge = 2.0 * 3600;
    if (field_push(L, table, "capacity")) {
        facts.rated_charge = quantity_at(L, -1, DIM_CHARGE, 0, "simulated: capacity");
        lua_pop(L, 1);
    }
    simcell_truth_typical(truth, &facts);
}

static void read_truth(lua_State *L, int table, struct simulated_spec *spec)
{
    begin_truth(L, table, &spec->truth);
    int found = read_keys(L, table, truth_keys, &spec->truth, "simulated");
    if (field_push(L, table, "open_circuit")) {
        read_open_circuit(L, &spec->truth);
        lua_pop(L, 1);
        found++;
    }
    bool chemistry = field_push(L, table, "chemistry");
    if (chemistry)
        lua_pop(L, 1);
    spec->has_truth = found > 0 || chemistry;
    if (!spec->has_truth)
        return;
    if (!chemistry && (spec->truth.capacity <= 0 || spec->truth.ocv_points == 0))
        guest_fail(L, "add both, or chemistry = \"NiMH\" to begin from a typical cell",
                   "simulated: a cell's truth needs capacity and open_circuit");
    struct error error;
    if (simcell_truth_check(&spec->truth, &error))
        guest_raise(L, &error);
}

/* --- the words -------------------------------------------------------------------------------- */

static void read_limits(lua_State *L, int table, struct limits *limits)
{
    const char *names[KEYS_MOST];
    add_names(names, limit_keys);
    if (!lua_istable(L, table))
        guest_fail(L, "write limits = { voltage_most = \"1.8 V\" }", "limits is a %s",
                   luaL_typename(L, table));
    fields_check(L, table, "limits", names);
    *limits = LIMITS_NONE;
    read_keys(L, table, limit_keys, limits, "limits");
}

int word_limits(lua_State *L)
{
    struct limits limits;
    lua_settop(L, 1);
    read_limits(L, 1, &limits); /* here for its line; the channel that has it reads it again */
    return 1;
}

int word_simulated(lua_State *L)
{
    const char *names[KEYS_MOST];
    const char **end = add_names(add_names(names, truth_keys), channel_keys);
    *end++ = "open_circuit";
    *end++ = "chemistry";
    *end++ = "limits";
    *end = NULL;
    lua_settop(L, 1);
    if (!lua_istable(L, 1))
        return guest_fail(L, "write simulated { ... }", "simulated wants a table");
    fields_check(L, 1, "simulated", names);

    struct simulated_spec spec = {.limits = LIMITS_NONE,
                                  .tick_least = NAN,
                                  .tick_most = NAN,
                                  .rest_most = NAN,
                                  .void_after = NAN};
    read_truth(L, 1, &spec);
    read_keys(L, 1, channel_keys, &spec, "simulated");
    if (spec.tick_least <= 0 || spec.tick_most <= 0 || spec.rest_most <= 0)
        return guest_fail(L, "give a time above zero", "simulated: a tick of no length");
    if (field_push(L, 1, "limits"))
        read_limits(L, lua_gettop(L), &spec.limits);

    struct simulated_spec *kept = lua_newuserdatauv(L, sizeof *kept, 0);
    *kept = spec;
    if (luaL_newmetatable(L, TYPE_NAME)) {
        lua_pushboolean(L, 0);
        lua_setfield(L, -2, "__metatable");
    }
    lua_setmetatable(L, -2);
    return 1;
}

const struct simulated_spec *simulated_spec_at(lua_State *L, int index)
{
    return luaL_testudata(L, index, TYPE_NAME);
}
