/* A value out of several outcomes of one channel.
 *
 * What a channel misreads it misreads in the same way each time, so its uncertainty adds up in a
 * sum and stays what it is in a mean: no part of it averages out. The scatter of repeated values
 * does: a mean carries s / sqrt(n) of it, with n - 1 degrees of freedom (JCGM 100:2008, 4.2.3).
 * Where an outcome states no uncertainty, neither does what is made of it. */
#include "bindings/combine.h"

#include <lauxlib.h>
#include <math.h>

#include "analysis/uncertainty.h"
#include "base/text.h"
#include "bindings/fields.h"
#include "bindings/sandbox.h"

struct values {
    lua_Unsigned count;
    double mean, squares; /* of deviations from the mean: Welford's way */
    double standard;      /* sum of the uncertainties; NAN when one is not known */
};

static double number_of(lua_State *L, const char *field, lua_Unsigned i)
{
    if (!field_push(L, -1, field))
        guest_fail(L, "name what these steps measure", "outcome %d has no '%.40s'", (int)i, field);
    if (lua_type(L, -1) != LUA_TNUMBER || !isfinite(lua_tonumber(L, -1)))
        guest_fail(L, "name what these steps measure", "'%.40s' of outcome %d is no number", field,
                   (int)i);
    double number = lua_tonumber(L, -1);
    lua_pop(L, 1);
    return number;
}

static double uncertainty_of(lua_State *L, const char *field)
{
    char name[64];
    snprintf(name, sizeof name, "%.40s_uncertainty", field);
    if (!field_push(L, -1, name))
        return NAN;
    double number = lua_type(L, -1) == LUA_TNUMBER ? lua_tonumber(L, -1) : NAN;
    lua_pop(L, 1);
    return number >= 0 ? number : NAN;
}

static struct values values_of(lua_State *L, const char *word)
{
    struct values values = {.count = 0};
    const char *field = luaL_checkstring(L, 2);
    if (!lua_istable(L, 1))
        guest_fail(L, "give a list of outcomes", "%s: the outcomes are a %s", word,
                   luaL_typename(L, 1));
    lua_Unsigned count = lua_rawlen(L, 1);
    if (!count)
        guest_fail(L, "give one outcome or more", "%s: there are no outcomes", word);
    guest_charge(L, count * 4);
    for (lua_Unsigned i = 1; i <= count; i++) {
        if (lua_rawgeti(L, 1, (lua_Integer)i) != LUA_TTABLE)
            guest_fail(L, "give a list of outcomes", "%s: entry %d is a %s", word, (int)i,
                       luaL_typename(L, -1));
        double value = number_of(L, field, i), before = values.mean;
        values.count++;
        values.mean += (value - before) / (double)values.count;
        values.squares += (value - before) * (value - values.mean);
        values.standard += uncertainty_of(L, field);
        lua_pop(L, 1);
    }
    return values;
}

static int give(lua_State *L, double value, double standard, double freedom)
{
    lua_pushnumber(L, value);
    if (!isfinite(standard))
        return 1;
    lua_createtable(L, 0, 2);
    lua_pushnumber(L, standard);
    lua_setfield(L, -2, "uncertainty");
    if (isfinite(freedom)) {
        lua_pushnumber(L, freedom);
        lua_setfield(L, -2, "freedom");
    }
    return 2;
}

int word_total(lua_State *L)
{
    struct values values = values_of(L, "total");
    return give(L, values.mean * (double)values.count, values.standard, INFINITY);
}

int word_mean(lua_State *L)
{
    struct values values = values_of(L, "mean");
    double n = (double)values.count;
    struct uncertainty_input inputs[] = {
        {1, values.standard / n, INFINITY},
        {1, n > 1 ? sqrt(values.squares / (n - 1) / n) : 0, n - 1},
    };
    struct uncertainty out = {.standard = NAN, .freedom = INFINITY};
    if (isfinite(values.standard))
        uncertainty_combine(inputs, n > 1 ? 2 : 1, NULL, 0.95, &out);
    return give(L, values.mean, out.standard, fmax(out.freedom, 1)); /* rounding aside */
}
