/* From a script's table to a plan: cell:charge, cell:discharge, cell:rest, cell:pulse,
 * cell:read. */
#include "bindings/steps.h"

#include <lauxlib.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

#include "bindings/canonical.h"
#include "bindings/fields.h"
#include "bindings/script_internal.h"
#include "step/plan.h"

enum argument_place {
    PLACE_DRIVE,  /* what to drive: beside `stop` */
    PLACE_STOP,   /* inside stop = { ... } */
    PLACE_RECORD, /* what to record: beside `stop` */
    PLACE_LEVELS  /* a pulse's two levels: a list of two */
};

struct step_argument {
    const char *name;
    enum argument_place place;
    enum dimension dimension;
    unsigned kinds; /* 1 << enum step_kind, or'ed */
    size_t offset;  /* of the double in struct step_plan; BY_NAME: it is not one of them */
};

#define CHARGE    (1u << STEP_CHARGE)
#define DISCHARGE (1u << STEP_DISCHARGE)
#define REST      (1u << STEP_REST)
#define PULSE     (1u << STEP_PULSE)
#define READ      (1u << STEP_READ)
#define DRIVEN    (CHARGE | DISCHARGE)
#define LASTING   (CHARGE | DISCHARGE | REST)
#define RECORDED  (LASTING | PULSE)
#define AT(field) offsetof(struct step_plan, field)
#define BY_NAME   SIZE_MAX

/* Every argument of every step; ended by one without a name. */
static const struct step_argument arguments[] = {
    /* Drives, given positive: the step's name says which way it flows. */
    {"current", PLACE_DRIVE, DIM_CURRENT, DRIVEN, BY_NAME},
    {"power", PLACE_DRIVE, DIM_POWER, DRIVEN, BY_NAME},
    {"resistance", PLACE_DRIVE, DIM_RESISTANCE, DISCHARGE, BY_NAME},
    {"voltage", PLACE_DRIVE, DIM_VOLTAGE, CHARGE, AT(drive.ceiling)},
    /* Of a read: with the resistance by alternating current, true, or without, false. */
    {"resistance", PLACE_DRIVE, DIM_RESISTANCE, READ, BY_NAME},
    {"time", PLACE_DRIVE, DIM_TIME, REST, AT(time)},
    {"current", PLACE_LEVELS, DIM_CURRENT, PULSE, BY_NAME},
    {"time", PLACE_LEVELS, DIM_TIME, PULSE, BY_NAME},

    /* Ends: what each means stands with STEP_ENDS in step/plan.h. */
    {"time", PLACE_STOP, DIM_TIME, LASTING, AT(time)},
    {"voltage", PLACE_STOP, DIM_VOLTAGE, LASTING, AT(voltage)},
    {"current", PLACE_STOP, DIM_CURRENT, DRIVEN, AT(current)},
    {"charge", PLACE_STOP, DIM_CHARGE, DRIVEN, AT(charge)},
    {"energy", PLACE_STOP, DIM_ENERGY, DRIVEN, AT(energy)},
    {"drop", PLACE_STOP, DIM_VOLTAGE, DRIVEN, AT(drop)},
    {"blind", PLACE_STOP, DIM_TIME, LASTING, AT(blind)},
    {"flat", PLACE_STOP, DIM_VOLTAGE_RATE, LASTING, AT(flat)},
    {"temperature", PLACE_STOP, DIM_TEMPERATURE, LASTING, AT(temperature)},
    {"temperature_rate", PLACE_STOP, DIM_TEMPERATURE_RATE, LASTING, AT(temperature_rate)},
    {"when", PLACE_STOP, DIM_NUMBER, LASTING, BY_NAME},

    /* Rows: at an interval, or on a change. */
    {"every", PLACE_RECORD, DIM_TIME, RECORDED, AT(every)},
    {"by_voltage", PLACE_RECORD, DIM_VOLTAGE, RECORDED, AT(by_voltage)},
    {"by_current", PLACE_RECORD, DIM_CURRENT, RECORDED, AT(by_current)},
    {"by_temperature", PLACE_RECORD, DIM_TEMPERATURE_DIFFERENCE, RECORDED, AT(by_temperature)},
    {NULL, PLACE_DRIVE, DIM_NUMBER, 0, 0},
};

#define NAMES_MOST (sizeof arguments / sizeof *arguments + 1)

/* --- reading the table ------------------------------------------------------------------------ */

/* Names of what a kind takes inside `stop`, or beside it; ended by NULL. */
static void argument_names(enum step_kind kind, bool inside, const char **names)
{
    for (const struct step_argument *a = arguments; a->name; a++)
        if (a->kinds & 1u << kind && (a->place == PLACE_STOP) == inside)
            *names++ = a->name;
    if (!inside && (1u << kind) & LASTING)
        *names++ = "stop";
    *names = NULL;
}

static bool has_name(const char *const *names, const char *name)
{
    while (*names && strcmp(*names, name) != 0)
        names++;
    return *names != NULL;
}

/* An end that stands beside `stop`, or a drive inside it, is the commonest slip: say where it
 * goes. */
static void check_names(lua_State *L, int index, enum step_kind kind, bool inside, const char *what)
{
    const char *names[NAMES_MOST], *others[NAMES_MOST];
    argument_names(kind, inside, names);
    argument_names(kind, !inside, others);
    push_sorted_keys(L, index);
    int keys = lua_gettop(L);
    for (lua_Integer i = 1; lua_rawgeti(L, keys, i) != LUA_TNIL; i++) {
        if (lua_type(L, -1) == LUA_TSTRING) {
            const char *key = lua_tostring(L, -1);
            if (!has_name(names, key) && has_name(others, key))
                guest_fail(L, inside ? "write it beside stop" : "write it inside stop = { ... }",
                           "%s has no '%s'", what, key);
        }
        lua_pop(L, 1);
    }
    lua_settop(L, keys - 1);
    fields_check(L, index, what, names);
}

static double argument_at(lua_State *L, const struct step_argument *argument, const char *method)
{
    char what[96];
    snprintf(what, sizeof what, "%s: %s%s", method, argument->place == PLACE_STOP ? "stop." : "",
             argument->name);
    double si = quantity_at(L, -1, argument->dimension, script_of(L)->cell.rated_charge, what);
    return si;
}

static void set_drive(lua_State *L, struct step_plan *plan, const struct step_argument *argument,
                      double amount, const char *method)
{
    if (plan->drive.mode != DRIVE_OFF)
        guest_fail(L, "name one", "%s names more than one of current, power and resistance",
                   method);
    if (amount <= 0)
        guest_fail(L, "give it positive: the step's name says which way it flows",
                   "%s: %s is not above zero", method, argument->name);
    bool outward = plan->kind == STEP_DISCHARGE;
    switch (argument->dimension) {
    case DIM_CURRENT: plan->drive.mode = DRIVE_CURRENT; break;
    case DIM_POWER: plan->drive.mode = DRIVE_POWER; break;
    default:
        plan->drive.mode = DRIVE_RESISTANCE;
        outward = false;
        break;
    }
    plan->drive.amount = outward ? -amount : amount;
}

static void set_levels(lua_State *L, struct step_plan *plan, const struct step_argument *argument,
                       const char *method)
{
    int list = lua_gettop(L);
    if (!lua_istable(L, list) || lua_rawlen(L, list) != PULSE_LEVELS)
        guest_fail(L,
                   argument->dimension == DIM_TIME ? "write time = { \"10 s\", \"3 s\" }"
                                                   : "write current = { \"0.2 It\", \"2 It\" }",
                   "%s: %s is not a list of %d", method, argument->name, PULSE_LEVELS);
    for (int i = 0; i < PULSE_LEVELS; i++) {
        lua_rawgeti(L, list, i + 1);
        double amount = argument_at(L, argument, method);
        if (amount <= 0)
            guest_fail(L, "give it positive: a pulse discharges", "%s: %s is not above zero",
                       method, argument->name);
        if (argument->dimension == DIM_TIME)
            plan->level_time[i] = amount;
        else
            plan->level[i] = (struct drive){DRIVE_CURRENT, -amount, NAN};
        lua_pop(L, 1);
    }
}

/* Keeps the function for step_when. */
static void set_when(lua_State *L, struct step_plan *plan, const char *method)
{
    struct script *script = script_of(L);
    if (!lua_isfunction(L, -1))
        guest_fail(L, "write when = function(reading) return ... end", "%s: stop.when is a %s",
                   method, luaL_typename(L, -1));
    plan->when = true;
    lua_pushvalue(L, -1);
    script->when_ref = luaL_ref(L, LUA_REGISTRYINDEX);
}

static void set_resistance(lua_State *L, struct step_plan *plan, const char *method)
{
    if (!lua_isboolean(L, -1))
        guest_fail(L, "write resistance = true, or leave it away",
                   "%s: resistance is a %s and not true or false", method, luaL_typename(L, -1));
    plan->resistance = lua_toboolean(L, -1) ? RESISTANCE_MUST : RESISTANCE_NEVER;
}

static void set_argument(lua_State *L, struct step_plan *plan, const struct step_argument *argument,
                         const char *method)
{
    if (argument->place == PLACE_LEVELS)
        set_levels(L, plan, argument, method);
    else if (strcmp(argument->name, "when") == 0)
        set_when(L, plan, method);
    else if (plan->kind == STEP_READ && strcmp(argument->name, "resistance") == 0)
        set_resistance(L, plan, method);
    else if (argument->offset == BY_NAME)
        set_drive(L, plan, argument, argument_at(L, argument, method), method);
    else
        *(double *)(void *)((char *)plan + argument->offset) = argument_at(L, argument, method);
}

static void read_plan(lua_State *L, int table, struct step_plan *plan, const char *method)
{
    check_names(L, table, plan->kind, false, method);
    int stop = 0;
    if (field_push(L, table, "stop")) {
        char what[48];
        stop = lua_gettop(L);
        snprintf(what, sizeof what, "%s: stop", method);
        if (!lua_istable(L, stop))
            guest_fail(L, "write stop = { time = \"1 h\" }", "%s is a %s", what,
                       luaL_typename(L, stop));
        check_names(L, stop, plan->kind, true, what);
        if (field_push(L, stop, "time") && field_push(L, table, "time"))
            guest_fail(L, "name one", "%s has a time inside and beside stop", method);
    }
    for (const struct step_argument *a = arguments; a->name; a++) {
        int from = a->place == PLACE_STOP ? stop : table;
        if (!(a->kinds & 1u << plan->kind) || !from || !field_push(L, from, a->name))
            continue;
        set_argument(L, plan, a, method);
        lua_pop(L, 1);
    }
}

/* --- the outcome ------------------------------------------------------------------------------ */

static const char *const outcome_fields[] = {
    "charge", "energy", "duration", "first_voltage", "last_voltage", "mean_voltage", "mid_voltage",
    "peak_voltage", "max_temperature", "last_current", "ended_by", "gaps", "gap_time", "quality",
    "resistance",
    /* where the bench states the channel's accuracy */
    "charge_uncertainty", "energy_uncertainty", "duration_uncertainty", "first_voltage_uncertainty",
    "last_voltage_uncertainty", "mean_voltage_uncertainty", "peak_voltage_uncertainty",
    "last_current_uncertainty", "max_temperature_uncertainty", "resistance_uncertainty", NULL};

static const char *const read_fields[] = {"voltage",
                                          "current",
                                          "temperature",
                                          "resistance_ac",
                                          "gaps",
                                          "quality",
                                          "voltage_uncertainty",
                                          "current_uncertainty",
                                          "temperature_uncertainty",
                                          "resistance_ac_uncertainty",
                                          NULL};

/* Every physical amount is a float, also a whole one: 36000 and 36000.5 behave alike in a
 * script. */
static void make_floats(lua_State *L, int table)
{
    for (const char *const *name = outcome_fields; *name; name++) {
        if (strcmp(*name, "gaps") == 0 || !field_push(L, table, *name))
            continue;
        if (lua_isinteger(L, -1)) {
            lua_pushnumber(L, lua_tonumber(L, -1));
            lua_setfield(L, table, *name);
        }
        lua_pop(L, 1);
    }
}

static int push_outcome(lua_State *L)
{
    const char *outcome = script_of(L)->outcome;
    canonical_read(L, outcome ? outcome : "{}");
    if (!lua_istable(L, -1))
        guest_fail(L, "check the logbook with audit", "the stored outcome of a step is no object");
    make_floats(L, lua_gettop(L));
    return lua_gettop(L);
}

static int take_step(lua_State *L, int status, lua_KContext context)
{
    (void)status, (void)context;
    push_outcome(L);
    fields_strict(L, "an outcome", outcome_fields);
    return 1;
}

static int take_read(lua_State *L, int status, lua_KContext context)
{
    static const char *const pairs[][2] = {
        {"voltage", "last_voltage"},
        {"current", "last_current"},
        {"temperature", "max_temperature"},
        {"voltage_uncertainty", "last_voltage_uncertainty"},
        {"current_uncertainty", "last_current_uncertainty"},
        {"temperature_uncertainty", "max_temperature_uncertainty"},
        {"resistance_ac", "resistance"},
        {"resistance_ac_uncertainty", "resistance_uncertainty"},
        {"gaps", "gaps"},
        {"quality", "quality"}};
    (void)status, (void)context;
    int outcome = push_outcome(L);
    lua_createtable(L, 0, 10);
    for (size_t i = 0; i < sizeof pairs / sizeof *pairs; i++)
        if (field_push(L, outcome, pairs[i][1]))
            lua_setfield(L, -2, pairs[i][0]);
    fields_strict(L, "a reading", read_fields);
    return 1;
}

bool step_when(lua_State *L)
{
    struct script *script = script_of(L);
    if (script->when_ref == LUA_NOREF)
        guest_fail(L, "report this", "the step has no `when`");
    lua_rawgeti(L, LUA_REGISTRYINDEX, script->when_ref);
    lua_insert(L, -2);
    lua_call(L, 1, 1);
    if (!lua_isboolean(L, -1) && !lua_isnil(L, -1)) {
        lua_Debug function; /* has returned: its place is where it was written */
        struct error error;
        char where[128];
        lua_rawgeti(L, LUA_REGISTRYINDEX, script->when_ref);
        lua_getinfo(L, ">S", &function);
        snprintf(where, sizeof where, "%s:%d", function.short_src, function.linedefined);
        error_set(&error, ERROR_SCRIPT, where, "return a comparison",
                  "stop.when returned a %s and not true or false", luaL_typename(L, -1));
        guest_raise_there(L, &error);
    }
    bool holds = lua_toboolean(L, -1);
    lua_pop(L, 1);
    return holds;
}

/* --- the methods ------------------------------------------------------------------------------ */

static void check_self(lua_State *L, const char *method)
{
    struct script *script = script_of(L);
    lua_rawgeti(L, LUA_REGISTRYINDEX, script->cell_ref);
    bool is_cell = lua_rawequal(L, 1, -1);
    lua_pop(L, 1);
    if (is_cell)
        return;
    char todo[80];
    snprintf(todo, sizeof todo, "write cell:%s { ... }, with a colon", method);
    guest_fail(L, todo, "%s was not called on the cell", method);
}

static int ask_step(lua_State *L, enum step_kind kind, const char *method)
{
    struct script *script = script_of(L);
    check_self(L, method);
    struct script_request *request = request_begin(L, REQUEST_STEP, method);
    lua_settop(L, 2);
    if (lua_isnil(L, 2)) {
        lua_newtable(L);
        lua_replace(L, 2);
    }
    if (!lua_istable(L, 2)) {
        char todo[80];
        snprintf(todo, sizeof todo, "write cell:%s { ... }", method);
        return guest_fail(L, todo, "%s wants a table and got a %s", method, luaL_typename(L, 2));
    }
    luaL_unref(L, LUA_REGISTRYINDEX, script->when_ref);
    script->when_ref = LUA_NOREF;
    step_plan_init(&request->plan, kind);
    read_plan(L, 2, &request->plan, method);
    canonical_write(L, 2, &script->args, method);

    /* Checked here so that a mistake is met at its own line; the engine checks again, with the
     * channel's limits, on the plan as it was asked for. */
    struct step_plan checked = request->plan;
    struct limits limits = profile_limits(script->cell.profile, script->cell.rated_charge);
    struct error error;
    error_clear(&error);
    if (step_plan_check(&checked, &script->cell, &limits, &error))
        return guest_raise(L, &error);
    return request_yield(L, kind == STEP_READ ? take_read : take_step);
}

static int cell_charge(lua_State *L)
{
    return ask_step(L, STEP_CHARGE, "charge");
}

static int cell_discharge(lua_State *L)
{
    return ask_step(L, STEP_DISCHARGE, "discharge");
}

static int cell_rest(lua_State *L)
{
    return ask_step(L, STEP_REST, "rest");
}

static int cell_pulse(lua_State *L)
{
    return ask_step(L, STEP_PULSE, "pulse");
}

static int cell_read(lua_State *L)
{
    return ask_step(L, STEP_READ, "read");
}

void steps_push(lua_State *L)
{
    static const luaL_Reg methods[] = {
        {"charge", cell_charge}, {"discharge", cell_discharge}, {"rest", cell_rest},
        {"pulse", cell_pulse},   {"read", cell_read},           {NULL, NULL},
    };
    luaL_newlib(L, methods);
}
