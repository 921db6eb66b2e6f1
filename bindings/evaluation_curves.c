/* Words for courses and curves: fits, retention, what a curve gave, resistance. */
#include "bindings/evaluation_internal.h"

#include <lauxlib.h>
#include <math.h>
#include <string.h>

#include "analysis/curve.h"
#include "analysis/fit.h"
#include "analysis/resistance.h"
#include "analysis/retention.h"
#include "bindings/fields.h"

/* --- fits ------------------------------------------------------------------------------------- */

static const struct fit_form *form_at(lua_State *L, int index)
{
    static const struct {
        const char *name;
        const struct fit_form *form;
    } forms[] = {{"line", &fit_line}, {"exponential", &fit_exponential}, {"power", &fit_power}};
    const char *name = luaL_checkstring(L, index);
    for (size_t i = 0; i < sizeof forms / sizeof *forms; i++)
        if (strcmp(forms[i].name, name) == 0)
            return forms[i].form;
    guest_fail(L, "say line, exponential or power", "there is no form '%.40s'", name);
    return NULL;
}

/* Upvalue: the fit. at(x[, confidence]) */
static int fit_word_at(lua_State *L)
{
    static const struct double_field fields[] = {DOUBLE_FIELD(fit_band, x),
                                                 DOUBLE_FIELD(fit_band, value),
                                                 DOUBLE_FIELD(fit_band, standard_error),
                                                 DOUBLE_FIELD(fit_band, low),
                                                 DOUBLE_FIELD(fit_band, high),
                                                 DOUBLE_FIELD(fit_band, predicted_low),
                                                 DOUBLE_FIELD(fit_band, predicted_high),
                                                 {NULL, 0}};
    const struct fit *fit = lua_touserdata(L, lua_upvalueindex(1));
    struct fit_band band;
    enum analysis_status status = fit_at(fit, luaL_checknumber(L, 1), confidence_at(L, 2), &band);
    if (isnan(band.value))
        return push_none(L, status);
    push_doubles(L, &band, fields);
    lua_pushboolean(L, band.extrapolated);
    lua_setfield(L, -2, "extrapolated");
    return 1;
}

/* reaches(level[, confidence]) */
static int fit_word_reaches(lua_State *L)
{
    static const struct double_field fields[] = {
        DOUBLE_FIELD(fit_crossing, level),          DOUBLE_FIELD(fit_crossing, x),
        DOUBLE_FIELD(fit_crossing, standard_error), DOUBLE_FIELD(fit_crossing, low),
        DOUBLE_FIELD(fit_crossing, high),           {NULL, 0}};
    const struct fit *fit = lua_touserdata(L, lua_upvalueindex(1));
    struct fit_crossing crossing;
    enum analysis_status status =
        fit_reaches(fit, luaL_checknumber(L, 1), confidence_at(L, 2), &crossing);
    if (status != ANALYSIS_OK)
        return push_none(L, status);
    push_doubles(L, &crossing, fields);
    lua_pushboolean(L, crossing.extrapolated);
    lua_setfield(L, -2, "extrapolated");
    return 1;
}

static void push_fit(lua_State *L, const struct fit *fit)
{
    static const struct double_field fields[] = {DOUBLE_FIELD(fit, residual_sd),
                                                 DOUBLE_FIELD(fit, freedom),
                                                 DOUBLE_FIELD(fit, r_squared),
                                                 DOUBLE_FIELD(fit, aicc),
                                                 DOUBLE_FIELD(fit, x_least),
                                                 DOUBLE_FIELD(fit, x_most),
                                                 {NULL, 0}};
    push_doubles(L, fit, fields);
    lua_pushstring(L, fit->form->name);
    lua_setfield(L, -2, "form");
    lua_pushstring(L, fit->form->formula);
    lua_setfield(L, -2, "formula");
    push_numbers(L, fit->value, fit->form->parameters);
    lua_setfield(L, -2, "parameters");
    push_numbers(L, fit->standard_error, fit->form->parameters);
    lua_setfield(L, -2, "errors");
    struct fit *kept = lua_newuserdatauv(L, sizeof *kept, 0);
    *kept = *fit;
    lua_pushvalue(L, -1);
    lua_pushcclosure(L, fit_word_at, 1);
    lua_setfield(L, -3, "at");
    lua_pushcclosure(L, fit_word_reaches, 1);
    lua_setfield(L, -2, "reaches");
}

/* fit("power", x, y) */
static int word_fit(lua_State *L)
{
    double *x, *y;
    struct fit fit;
    const struct fit_form *form = form_at(L, 1);
    lua_settop(L, 3);
    size_t count = points_at(L, 2, "fit", &x, &y);
    enum analysis_status status = fit_points(form, x, y, count, &fit);
    if (status != ANALYSIS_OK)
        return push_none(L, status);
    push_fit(L, &fit);
    return 1;
}

/* fit_best(x, y): of the three forms the one with the least AICc. */
static int word_fit_best(lua_State *L)
{
    double *x, *y;
    struct fit_choice choice;
    lua_settop(L, 2);
    size_t count = points_at(L, 1, "fit_best", &x, &y);
    enum analysis_status status = fit_choose(x, y, count, &choice);
    if (status != ANALYSIS_OK || choice.best < 0)
        return push_none(L, status != ANALYSIS_OK ? status : ANALYSIS_NO_FIT);
    push_fit(L, &choice.fits[choice.best]);
    return 1;
}

/* --- shelf ----------------------------------------------------------------------------------- */

/* retention(left, fresh[, {u_left =, u_fresh =, correlation =}]): ratio, and where one is stated
 * its standard uncertainty */
static int word_retention(lua_State *L)
{
    static const char *const names[] = {"u_left", "u_fresh", "correlation", NULL};
    double ratio, u, left = luaL_checknumber(L, 1), fresh = luaL_checknumber(L, 2);
    double u_left = 0, u_fresh = 0, correlation = 0;
    if (lua_istable(L, 3)) {
        fields_check(L, 3, "retention", names);
        u_left = number_field(L, 3, "retention", "u_left", 0);
        u_fresh = number_field(L, 3, "retention", "u_fresh", 0);
        correlation = number_field(L, 3, "retention", "correlation", 0);
    }
    enum analysis_status status =
        retention_ratio(left, u_left, fresh, u_fresh, correlation, &ratio, &u);
    if (status != ANALYSIS_OK)
        return push_none(L, status);
    lua_pushnumber(L, ratio);
    if (!(u > 0)) /* nothing was stated: unknown, never zero */
        return 1;
    lua_pushnumber(L, u);
    return 2;
}

static int word_loss_a_day(lua_State *L)
{
    double loss;
    enum analysis_status status =
        retention_loss_a_day(luaL_checknumber(L, 1), luaL_checknumber(L, 2), &loss);
    return push_number(L, status, loss);
}

/* --- curves ----------------------------------------------------------------------------------- */

/* What logbook:readings gives. */
static void curve_at(lua_State *L, int index, const char *what, struct curve *curve)
{
    static const char *const names[] = {"seconds", "V", "A"};
    const double *arrays[3];
    size_t counts[3];
    if (!lua_istable(L, index))
        guest_fail(L, "give logbook:readings(step)", "%s wants readings", what);
    for (int i = 0; i < 3; i++) {
        if (!field_push(L, index, names[i]))
            guest_fail(L, "give logbook:readings(step)", "%s: the readings have no '%s'", what,
                       names[i]);
        arrays[i] = numbers_at(L, -1, names[i], &counts[i]);
    }
    if (counts[0] != counts[1] || counts[0] != counts[2])
        guest_fail(L, "cut all three alike", "%s: seconds, V and A differ in length", what);
    *curve = (struct curve){arrays[0], arrays[1], arrays[2], counts[0]};
}

/* measure(readings[, {end_voltage =, gap =}]) */
static int word_measure(lua_State *L)
{
    static const char *const names[] = {"end_voltage", "gap", NULL};
    static const struct double_field fields[] = {DOUBLE_FIELD(curve_measures, duration),
                                                 DOUBLE_FIELD(curve_measures, first_voltage),
                                                 DOUBLE_FIELD(curve_measures, last_voltage),
                                                 DOUBLE_FIELD(curve_measures, mean_voltage),
                                                 DOUBLE_FIELD(curve_measures, mid_voltage),
                                                 DOUBLE_FIELD(curve_measures, gap_time),
                                                 {NULL, 0}};
    struct curve_options options = {NAN, NAN, NAN};
    struct curve_measures out;
    struct curve curve;
    if (lua_istable(L, 2)) {
        fields_check(L, 2, "measure", names);
        options.end_voltage = number_field(L, 2, "measure", "end_voltage", NAN);
        options.gap = number_field(L, 2, "measure", "gap", NAN);
    }
    curve_at(L, 1, "measure", &curve);
    enum analysis_status status = curve_measure(&curve, &options, &out);
    if (status != ANALYSIS_OK)
        return push_none(L, status);
    push_doubles(L, &out, fields);
    lua_pushnumber(L, out.charge / 3600);
    lua_setfield(L, -2, "charge_Ah");
    lua_pushnumber(L, out.energy / 3600);
    lua_setfield(L, -2, "energy_Wh");
    lua_pushboolean(L, out.reached);
    lua_setfield(L, -2, "reached");
    lua_pushinteger(L, (lua_Integer)out.gaps);
    lua_setfield(L, -2, "gaps");
    return 1;
}

/* efficiency(out, into): of charges or of energies, between the same states. */
static int word_efficiency(lua_State *L)
{
    double part;
    enum analysis_status status =
        curve_efficiency(luaL_checknumber(L, 1), luaL_checknumber(L, 2), &part);
    return push_number(L, status, part);
}

static int word_resistance_two_step(lua_State *L)
{
    double ohm;
    enum analysis_status status =
        resistance_two_step(luaL_checknumber(L, 1), luaL_checknumber(L, 2), luaL_checknumber(L, 3),
                            luaL_checknumber(L, 4), &ohm);
    return push_number(L, status, ohm);
}

/* resistance_from_pulse(readings, first_time, second_time) */
static int word_resistance_from_pulse(lua_State *L)
{
    static const struct double_field fields[] = {
        DOUBLE_FIELD(two_step, u1), DOUBLE_FIELD(two_step, i1),  DOUBLE_FIELD(two_step, u2),
        DOUBLE_FIELD(two_step, i2), DOUBLE_FIELD(two_step, ohm), {NULL, 0}};
    double first = luaL_checknumber(L, 2), second = luaL_checknumber(L, 3);
    struct two_step out;
    struct curve curve;
    curve_at(L, 1, "resistance_from_pulse", &curve);
    enum analysis_status status = resistance_of_pulse(&curve, first, second, &out);
    return push_facts(L, status, &out, fields);
}

/* `before` and then `after`, which begins where that ends. Lua keeps the memory. */
static struct curve joined(lua_State *L, const struct curve *before, const struct curve *after)
{
    size_t count = before->count + after->count;
    double *t = lua_newuserdatauv(L, (3 * count + 1) * sizeof *t, 0);
    double *v = t + count, *i = v + count;
    double end = before->count ? before->time[before->count - 1] : 0;
    double begin = after->count ? after->time[0] : 0;
    for (size_t k = 0; k < count; k++) {
        const struct curve *from = k < before->count ? before : after;
        size_t at = from == before ? k : k - before->count;
        t[k] = from == before ? from->time[at] : end + (from->time[at] - begin);
        v[k] = from->voltage[at];
        i[k] = from->current[at];
    }
    return (struct curve){t, v, i, count};
}

/* resistance_parts(readings[, {before = readings, held = seconds}]) */
static int word_resistance_parts(lua_State *L)
{
    static const char *const names[] = {"before", "held", NULL};
    static const struct double_field fields[] = {
        DOUBLE_FIELD(resistance_parts, r0),          DOUBLE_FIELD(resistance_parts, r0_error),
        DOUBLE_FIELD(resistance_parts, r1),          DOUBLE_FIELD(resistance_parts, r1_error),
        DOUBLE_FIELD(resistance_parts, tau),         DOUBLE_FIELD(resistance_parts, tau_error),
        DOUBLE_FIELD(resistance_parts, end_voltage), DOUBLE_FIELD(resistance_parts, residual_sd),
        DOUBLE_FIELD(resistance_parts, freedom),     {NULL, 0}};
    struct resistance_parts out;
    struct curve curve, before;
    double held = NAN;
    lua_settop(L, 2);
    curve_at(L, 1, "resistance_parts", &curve);
    if (lua_istable(L, 2)) {
        fields_check(L, 2, "resistance_parts", names);
        held = number_field(L, 2, "resistance_parts", "held", NAN);
        if (field_push(L, 2, "before")) {
            curve_at(L, lua_gettop(L), "resistance_parts", &before);
            curve = joined(L, &before, &curve);
        }
    }
    enum analysis_status status = resistance_of_change(&curve, held, &out);
    return push_facts(L, status, &out, fields);
}

void evaluation_open_curves(lua_State *L)
{
    static const luaL_Reg words[] = {{"efficiency", word_efficiency},
                                     {"fit", word_fit},
                                     {"fit_best", word_fit_best},
                                     {"loss_a_day", word_loss_a_day},
                                     {"measure", word_measure},
                                     {"resistance_from_pulse", word_resistance_from_pulse},
                                     {"resistance_parts", word_resistance_parts},
                                     {"resistance_two_step", word_resistance_two_step},
                                     {"retention", word_retention},
                                     {NULL, NULL}};
    lua_pushglobaltable(L);
    luaL_setfuncs(L, words, 0);
    lua_pop(L, 1);
}
