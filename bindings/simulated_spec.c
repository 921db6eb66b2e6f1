/* `simulated { ... }`: every key of a cell's truth in one table. */
#include "bindings/simulated_spec.h"

#include <lauxlib.h>
#include <math.h>
#include <string.h>

#include "bindings/accuracy_words.h"
#include "bindings/fields.h"
#include "bindings/sandbox.h"

#define TYPE_NAME "perdure.simulated"

#define TRUTH(field) offsetof(struct simcell_truth, field)

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

/* --- the truth ------------------------------------------------------------------------------- */

static double point_at(lua_State *L, int i, const char *name)
{
    const struct key key = {name, i == 1 ? FORM_FRACTION : FORM_QUANTITY,
                            i == 1 ? DIM_RATIO : DIM_VOLTAGE, 0};
    lua_rawgeti(L, -1, i);
    double value = key_value(L, &key, "simulated");
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
    int found = keys_read(L, table, truth_keys, &spec->truth, "simulated");
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

/* --- the words ------------------------------------------------------------------------------- */

int word_simulated(lua_State *L)
{
    const char *names[KEYS_MOST];
    const char **end = keys_add_names(keys_add_names(names, truth_keys), channel_keys);
    *end++ = "open_circuit";
    *end++ = "chemistry";
    *end++ = "limits";
    *end++ = "accuracy";
    *end++ = "misreads";
    *end = NULL;
    lua_settop(L, 1);
    if (!lua_istable(L, 1))
        return guest_fail(L, "write simulated { ... }", "simulated wants a table");
    fields_check(L, 1, "simulated", names);

    struct simulated_spec spec = {.has_truth = false};
    read_truth(L, 1, &spec);
    channel_keys_read(L, 1, &spec.channel, "simulated");
    accuracy_words_read(L, 1, &spec.accuracy);
    misreads_words_read(L, 1, &spec.misreads);

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
