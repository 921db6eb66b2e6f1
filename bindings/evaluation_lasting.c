/* Words for service: wear, before and after, how many cells last and whether models differ in it.
 */
#include "bindings/evaluation_internal.h"

#include <lauxlib.h>

#include "analysis/survival.h"
#include "analysis/wear.h"
#include "bindings/fields.h"

#define LOG_RANK_MOST 16

/* --- wear ------------------------------------------------------------------------------------- */

/* wear(cycles, values, reference, part): the cycles at which the checks pass part x reference, and
 * true; or the last check, and false. */
static int word_wear(lua_State *L)
{
    double *cycles, *values, reference = luaL_checknumber(L, 3), part = luaL_checknumber(L, 4);
    struct wear_event event;
    lua_settop(L, 4);
    size_t count = points_at(L, 1, "wear", &cycles, &values);
    struct wear_course course = {cycles, values, count, reference};
    enum analysis_status status = wear_observed(&course, part, &event);
    if (status != ANALYSIS_OK && status != ANALYSIS_NOT_REACHED)
        return push_none(L, status);
    lua_pushnumber(L, event.cycles);
    lua_pushboolean(L, event.reached);
    return 2;
}

/* paired(before, after[, confidence]): the same cells, before and after. */
static int word_paired(lua_State *L)
{
    static const struct double_field fields[] = {DOUBLE_FIELD(wear_pair, difference),
                                                 DOUBLE_FIELD(wear_pair, low),
                                                 DOUBLE_FIELD(wear_pair, high),
                                                 DOUBLE_FIELD(wear_pair, sd),
                                                 DOUBLE_FIELD(wear_pair, t),
                                                 DOUBLE_FIELD(wear_pair, freedom),
                                                 DOUBLE_FIELD(wear_pair, p),
                                                 DOUBLE_FIELD(wear_pair, change),
                                                 DOUBLE_FIELD(wear_pair, change_low),
                                                 DOUBLE_FIELD(wear_pair, change_high),
                                                 {NULL, 0}};
    double *before, *after, confidence = confidence_at(L, 3);
    struct wear_pair out;
    lua_settop(L, 2);
    size_t count = points_at(L, 1, "paired", &before, &after);
    enum analysis_status status = wear_paired(before, after, count, confidence, &out);
    return push_facts(L, status, &out, fields);
}

/* --- how many last ---------------------------------------------------------------------------- */

/* Arrays of one length: the times, and whether each cell ended there or was still going. */
static struct survivor *survivors_at(lua_State *L, int index, const char *what, size_t *count)
{
    static const char *const names[] = {"times", "ended", NULL};
    index = lua_absindex(L, index);
    if (!lua_istable(L, index))
        guest_fail(L, "write { times = {300, 350}, ended = {true, false} }", "%s wants cells",
                   what);
    fields_check(L, index, what, names);
    if (!field_push(L, index, "times") || !field_push(L, index, "ended") || !lua_istable(L, -1))
        guest_fail(L, "write { times = {300, 350}, ended = {true, false} }",
                   "%s: 'times' or 'ended' is missing", what);
    int ended = lua_gettop(L);
    const double *times = numbers_at(L, ended - 1, what, count);
    if (lua_rawlen(L, ended) != *count)
        guest_fail(L, "say of each cell whether it ended", "%s: %d times and %d of 'ended'", what,
                   (int)*count, (int)lua_rawlen(L, ended));
    guest_charge(L, 100 * *count);
    struct survivor *cells = lua_newuserdatauv(L, (*count + 1) * sizeof *cells, 0);
    for (size_t i = 0; i < *count; i++) {
        if (lua_rawgeti(L, ended, (lua_Integer)i + 1) != LUA_TBOOLEAN)
            guest_fail(L, "say true or false", "%s: 'ended' %d is a %s", what, (int)i + 1,
                       luaL_typename(L, -1));
        cells[i] = (struct survivor){times[i], lua_toboolean(L, -1)};
        lua_pop(L, 1);
    }
    return cells;
}

/* lasting({times =, ended =}[, confidence]): the part of cells that lasts, by Kaplan and Meier. */
static int word_lasting(lua_State *L)
{
    static const struct double_field fields[] = {DOUBLE_FIELD(survival, median),
                                                 DOUBLE_FIELD(survival, median_low),
                                                 DOUBLE_FIELD(survival, median_high),
                                                 {NULL, 0}};
    static const struct double_field step_fields[] = {
        DOUBLE_FIELD(survival_step, time),           DOUBLE_FIELD(survival_step, part),
        DOUBLE_FIELD(survival_step, standard_error), DOUBLE_FIELD(survival_step, low),
        DOUBLE_FIELD(survival_step, high),           {NULL, 0}};
    size_t count;
    double confidence = confidence_at(L, 2);
    struct survival out;
    lua_settop(L, 1);
    const struct survivor *cells = survivors_at(L, 1, "lasting", &count);
    struct survival_step *steps = lua_newuserdatauv(L, (count + 1) * sizeof *steps, 0);
    enum analysis_status status = survival_of(cells, count, confidence, steps, &out);
    if (status != ANALYSIS_OK && status != ANALYSIS_NOT_REACHED)
        return push_none(L, status);
    push_doubles(L, &out, fields);
    lua_createtable(L, (int)out.steps, 0);
    for (size_t i = 0; i < out.steps; i++) {
        push_doubles(L, &steps[i], step_fields);
        lua_pushinteger(L, (lua_Integer)steps[i].at_risk);
        lua_setfield(L, -2, "at_risk");
        lua_pushinteger(L, (lua_Integer)steps[i].ended);
        lua_setfield(L, -2, "ended");
        lua_rawseti(L, -2, (lua_Integer)i + 1);
    }
    lua_setfield(L, -2, "steps");
    return 1;
}

/* log_rank{ {times =, ended =}, ... }: do they last equally long? */
static int word_log_rank(lua_State *L)
{
    static const struct double_field fields[] = {DOUBLE_FIELD(log_rank, chi2),
                                                 DOUBLE_FIELD(log_rank, freedom),
                                                 DOUBLE_FIELD(log_rank, p),
                                                 {NULL, 0}};
    const struct survivor *cells[LOG_RANK_MOST];
    size_t counts[LOG_RANK_MOST], groups = lua_istable(L, 1) ? lua_rawlen(L, 1) : 0;
    struct log_rank out;
    if (groups < 2 || groups > LOG_RANK_MOST)
        return guest_fail(L, "write { {times = ..., ended = ...}, {times = ..., ended = ...} }",
                          "log_rank wants 2 to %d groups", LOG_RANK_MOST);
    luaL_checkstack(L, 6 * LOG_RANK_MOST, NULL);
    for (size_t g = 0; g < groups; g++) {
        lua_rawgeti(L, 1, (lua_Integer)g + 1);
        cells[g] = survivors_at(L, -1, "log_rank", &counts[g]);
    }
    enum analysis_status status = survival_log_rank(cells, counts, groups, NULL, &out);
    return push_facts(L, status, &out, fields);
}

void evaluation_open_lasting(lua_State *L)
{
    static const luaL_Reg words[] = {{"lasting", word_lasting},
                                     {"log_rank", word_log_rank},
                                     {"paired", word_paired},
                                     {"wear", word_wear},
                                     {NULL, NULL}};
    lua_pushglobaltable(L);
    luaL_setfuncs(L, words, 0);
    lua_pop(L, 1);
}
