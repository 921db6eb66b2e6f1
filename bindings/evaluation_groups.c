/* Words for groups of cells: means, scatter, differences, ranks, rankings. Each reads its numbers,
 * calls one function of core/analysis, and gives what came back; what cannot be had is nil and
 * why. */
#include "bindings/evaluation_internal.h"

#include <lauxlib.h>
#include <math.h>
#include <string.h>

#include "analysis/compare.h"
#include "analysis/ranking.h"
#include "analysis/ranks.h"
#include "analysis/summary.h"
#include "bindings/fields.h"

#define GROUPS_MOST 64

/* --- arguments and answers -------------------------------------------------------------------- */

double *numbers_at(lua_State *L, int index, const char *what, size_t *count)
{
    index = lua_absindex(L, index);
    if (!lua_istable(L, index))
        guest_fail(L, "give an array of numbers, such as values(rows)", "%s is a %s", what,
                   luaL_typename(L, index));
    *count = lua_rawlen(L, index);
    guest_charge(L, 3 * *count);
    double *numbers = lua_newuserdatauv(L, (*count + 1) * sizeof *numbers, 0);
    for (size_t i = 0; i < *count; i++) {
        if (lua_rawgeti(L, index, (lua_Integer)i + 1) != LUA_TNUMBER)
            guest_fail(L, "leave out what was not measured", "%s: value %d is a %s", what,
                       (int)i + 1, luaL_typename(L, -1));
        numbers[i] = lua_tonumber(L, -1);
        lua_pop(L, 1);
    }
    return numbers;
}

size_t points_at(lua_State *L, int index, const char *what, double **x, double **y)
{
    size_t count, others;
    *x = numbers_at(L, index, what, &count);
    *y = numbers_at(L, index + 1, what, &others);
    if (count != others)
        guest_fail(L, "give as many of one as of the other", "%s: %d and %d values", what,
                   (int)count, (int)others);
    guest_charge(L, 100 * count);
    return count;
}

double *block_at(lua_State *L, int index, const char *what, size_t *rows, size_t *columns)
{
    if (!lua_istable(L, index))
        guest_fail(L, "write {{1, 2, 3}, {2, 1, 3}}", "%s wants rows of numbers", what);
    *rows = lua_rawlen(L, index);
    *columns = 0;
    if (*rows && lua_rawgeti(L, index, 1) == LUA_TTABLE)
        *columns = lua_rawlen(L, -1);
    lua_settop(L, index);
    double *block = lua_newuserdatauv(L, (*rows * *columns + 1) * sizeof *block, 0);
    for (size_t r = 0; r < *rows; r++) {
        size_t count;
        lua_rawgeti(L, index, (lua_Integer)r + 1);
        const double *row = numbers_at(L, -1, what, &count);
        if (count != *columns)
            guest_fail(L, "give each the same number of values", "%s: row %d has %d values, not %d",
                       what, (int)r + 1, (int)count, (int)*columns);
        memcpy(block + r * *columns, row, count * sizeof *block);
        lua_pop(L, 2);
    }
    return block;
}

double number_field(lua_State *L, int index, const char *what, const char *name, double usual)
{
    if (!field_push(L, index, name))
        return usual;
    if (lua_type(L, -1) != LUA_TNUMBER)
        guest_fail(L, "give a number", "%s: '%s' is a %s", what, name, luaL_typename(L, -1));
    double number = lua_tonumber(L, -1);
    lua_pop(L, 1);
    return number;
}

double confidence_at(lua_State *L, int index)
{
    double confidence = luaL_optnumber(L, index, 0.95);
    if (!(confidence > 0 && confidence < 1))
        guest_fail(L, "give a part such as 0.95", "%g is no confidence", confidence);
    return confidence;
}

static void set_number(lua_State *L, const char *name, double number)
{
    if (isnan(number))
        return;
    lua_pushnumber(L, number);
    lua_setfield(L, -2, name);
}

void push_doubles(lua_State *L, const void *from, const struct double_field *fields)
{
    lua_createtable(L, 0, 12);
    for (; fields->name; fields++)
        set_number(L, fields->name,
                   *(const double *)(const void *)((const char *)from + fields->offset));
}

int push_none(lua_State *L, enum analysis_status status)
{
    lua_pushnil(L);
    lua_pushstring(L, analysis_status_text(status));
    return 2;
}

int push_facts(lua_State *L, enum analysis_status status, const void *from,
               const struct double_field *fields)
{
    if (status != ANALYSIS_OK)
        return push_none(L, status);
    push_doubles(L, from, fields);
    return 1;
}

void push_numbers(lua_State *L, const double *numbers, size_t count)
{
    lua_createtable(L, (int)count, 0);
    for (size_t i = 0; i < count; i++) {
        lua_pushnumber(L, numbers[i]);
        lua_rawseti(L, -2, (lua_Integer)i + 1);
    }
}

int push_number(lua_State *L, enum analysis_status status, double number)
{
    if (isnan(number))
        return push_none(L, status);
    lua_pushnumber(L, number);
    return 1;
}

/* --- one group -------------------------------------------------------------------------------- */

static enum analysis_status summarise(lua_State *L, const char *what, struct summary *out)
{
    size_t count;
    double confidence = confidence_at(L, 2);
    double *values = numbers_at(L, 1, what, &count);
    return summary_of(values, count, confidence, out);
}

static int word_mean(lua_State *L)
{
    struct summary s;
    enum analysis_status status = summarise(L, "mean", &s);
    return push_number(L, status, s.mean);
}

static int word_spread(lua_State *L)
{
    struct summary s;
    enum analysis_status status = summarise(L, "spread", &s);
    return push_number(L, status, s.sd);
}

static int word_interval(lua_State *L)
{
    struct summary s;
    enum analysis_status status = summarise(L, "interval", &s);
    if (isnan(s.low))
        return push_none(L, status);
    lua_pushnumber(L, s.low);
    lua_pushnumber(L, s.high);
    return 2;
}

static int word_summary(lua_State *L)
{
    static const struct double_field fields[] = {DOUBLE_FIELD(summary, mean),
                                                 DOUBLE_FIELD(summary, sd),
                                                 DOUBLE_FIELD(summary, standard_error),
                                                 DOUBLE_FIELD(summary, confidence),
                                                 DOUBLE_FIELD(summary, low),
                                                 DOUBLE_FIELD(summary, high),
                                                 DOUBLE_FIELD(summary, minimum),
                                                 DOUBLE_FIELD(summary, lower_quartile),
                                                 DOUBLE_FIELD(summary, median),
                                                 DOUBLE_FIELD(summary, upper_quartile),
                                                 DOUBLE_FIELD(summary, maximum),
                                                 {NULL, 0}};
    struct summary s;
    enum analysis_status status = summarise(L, "summary", &s);
    if (isnan(s.mean))
        return push_none(L, status);
    push_doubles(L, &s, fields);
    lua_pushinteger(L, (lua_Integer)s.count);
    lua_setfield(L, -2, "count");
    return 1;
}

static int word_quantile(lua_State *L)
{
    size_t count;
    double part = luaL_checknumber(L, 2), out;
    double *values = numbers_at(L, 1, "quantile", &count);
    enum analysis_status status = summary_quantile(values, count, part, &out);
    return push_number(L, status, out);
}

/* outlier(values[, risk]): the place of the one out of line, or nil and why. */
static int word_outlier(lua_State *L)
{
    size_t count;
    double risk = luaL_optnumber(L, 2, 0.05);
    double *values = numbers_at(L, 1, "outlier", &count);
    struct outlier out;
    enum analysis_status status = summary_outlier(values, count, risk, &out);
    if (status != ANALYSIS_OK)
        return push_none(L, status);
    if (!out.found) {
        lua_pushnil(L);
        lua_pushliteral(L, "none is out of line");
        return 2;
    }
    lua_pushinteger(L, (lua_Integer)out.index + 1);
    return 1;
}

/* --- two groups and more ---------------------------------------------------------------------- */

static const struct double_field difference_fields[] = {
    DOUBLE_FIELD(difference, mean),    DOUBLE_FIELD(difference, low),
    DOUBLE_FIELD(difference, high),    DOUBLE_FIELD(difference, t),
    DOUBLE_FIELD(difference, freedom), DOUBLE_FIELD(difference, p),
    DOUBLE_FIELD(difference, effect),  {NULL, 0}};

static int word_t_test(lua_State *L)
{
    struct group a, b;
    struct difference out;
    double confidence = confidence_at(L, 3);
    a.values = numbers_at(L, 1, "t_test, first group", &a.count);
    b.values = numbers_at(L, 2, "t_test, second group", &b.count);
    enum analysis_status status = compare_two(&a, &b, confidence, &out);
    return push_facts(L, status, &out, difference_fields);
}

static const struct double_field rank_test_fields[] = {DOUBLE_FIELD(rank_test, statistic),
                                                       DOUBLE_FIELD(rank_test, p),
                                                       DOUBLE_FIELD(rank_test, p_greater),
                                                       DOUBLE_FIELD(rank_test, p_less),
                                                       {NULL, 0}};

static int word_rank_test(lua_State *L)
{
    struct group a, b;
    struct rank_test out;
    a.values = numbers_at(L, 1, "rank_test, first group", &a.count);
    b.values = numbers_at(L, 2, "rank_test, second group", &b.count);
    enum analysis_status status = ranks_two(&a, &b, &out);
    return push_facts(L, status, &out, rank_test_fields);
}

/* paired_rank_test(before, after): the same cells, before and after. */
static int word_paired_rank_test(lua_State *L)
{
    double *before, *after;
    struct rank_test out;
    lua_settop(L, 2);
    size_t count = points_at(L, 1, "paired_rank_test", &before, &after);
    enum analysis_status status = ranks_paired(before, after, count, &out);
    return push_facts(L, status, &out, rank_test_fields);
}

static int word_holm(lua_State *L)
{
    size_t count;
    double *p = numbers_at(L, 1, "holm", &count);
    enum analysis_status status = compare_holm(p, count, p);
    if (status != ANALYSIS_OK)
        return push_none(L, status);
    push_numbers(L, p, count);
    return 1;
}

/* {NAME = {numbers}}: the groups in order of name; the array of names is left at *names. */
static size_t groups_at(lua_State *L, int index, const char *what, struct group *groups, int *names)
{
    if (!lua_istable(L, index))
        guest_fail(L, "write { A = values(...), B = values(...) }", "%s wants groups", what);
    push_sorted_keys(L, index);
    *names = lua_gettop(L);
    size_t count = lua_rawlen(L, *names);
    if (count > GROUPS_MOST)
        guest_fail(L, "compare fewer at a time", "%s: more than %d groups", what, GROUPS_MOST);
    luaL_checkstack(L, 2 * GROUPS_MOST + 8, NULL);
    for (size_t i = 0; i < count && i < GROUPS_MOST; i++) {
        lua_rawgeti(L, *names, (lua_Integer)i + 1);
        lua_rawget(L, index);
        groups[i].values = numbers_at(L, -1, what, &groups[i].count);
    }
    return count;
}

static void set_name(lua_State *L, const char *field, int names, size_t i)
{
    lua_rawgeti(L, names, (lua_Integer)i + 1);
    lua_setfield(L, -2, field);
}

/* compare(groups[, risk]): every group with every other, Welch and Holm. */
static int word_compare(lua_State *L)
{
    struct group groups[GROUPS_MOST];
    int names;
    double risk = luaL_optnumber(L, 2, 0.05);
    lua_settop(L, 1);
    size_t count = groups_at(L, 1, "compare", groups, &names);
    struct pair *pairs = lua_newuserdatauv(L, (PAIRS_OF(count) + 1) * sizeof *pairs, 0);
    enum analysis_status status = compare_pairs(groups, count, risk, pairs);
    if (status != ANALYSIS_OK)
        return push_none(L, status);
    lua_createtable(L, (int)PAIRS_OF(count), 0);
    for (size_t i = 0; i < PAIRS_OF(count); i++) {
        push_doubles(L, &pairs[i].difference, difference_fields);
        set_number(L, "p_adjusted", pairs[i].p_adjusted);
        set_name(L, "a", names, pairs[i].a);
        set_name(L, "b", names, pairs[i].b);
        lua_pushboolean(L, pairs[i].differ);
        lua_setfield(L, -2, "differ");
        if (pairs[i].status != ANALYSIS_OK) {
            lua_pushstring(L, analysis_status_text(pairs[i].status));
            lua_setfield(L, -2, "why");
        }
        lua_rawseti(L, -2, (lua_Integer)i + 1);
    }
    return 1;
}

static int word_kruskal(lua_State *L)
{
    static const struct double_field fields[] = {DOUBLE_FIELD(rank_analysis, h),
                                                 DOUBLE_FIELD(rank_analysis, freedom),
                                                 DOUBLE_FIELD(rank_analysis, p),
                                                 {NULL, 0}};
    struct group groups[GROUPS_MOST];
    struct rank_analysis out;
    int names;
    lua_settop(L, 1);
    size_t count = groups_at(L, 1, "kruskal", groups, &names);
    enum analysis_status status = ranks_kruskal_wallis(groups, count, &out);
    return push_facts(L, status, &out, fields);
}

static int push_variance(lua_State *L, const char *word,
                         enum analysis_status (*analysis)(const struct group *, size_t,
                                                          struct variance_analysis *))
{
    static const struct double_field fields[] = {DOUBLE_FIELD(variance_analysis, f),
                                                 DOUBLE_FIELD(variance_analysis, between_freedom),
                                                 DOUBLE_FIELD(variance_analysis, within_freedom),
                                                 DOUBLE_FIELD(variance_analysis, between_squares),
                                                 DOUBLE_FIELD(variance_analysis, within_squares),
                                                 DOUBLE_FIELD(variance_analysis, residual_sd),
                                                 DOUBLE_FIELD(variance_analysis, r_squared),
                                                 DOUBLE_FIELD(variance_analysis, p),
                                                 {NULL, 0}};
    struct group groups[GROUPS_MOST];
    struct variance_analysis out;
    int names;
    lua_settop(L, 1);
    size_t count = groups_at(L, 1, word, groups, &names);
    enum analysis_status status = analysis(groups, count, &out);
    return push_facts(L, status, &out, fields);
}

static int word_anova(lua_State *L)
{
    return push_variance(L, "anova", compare_anova);
}

static int word_welch_anova(lua_State *L)
{
    return push_variance(L, "welch_anova", compare_welch_anova);
}

/* repeats{{readings of the first}, {readings of the second}, ...}: what comes from within a group,
 * and what from between. */
static int word_repeats(lua_State *L)
{
    static const struct double_field fields[] = {
        DOUBLE_FIELD(repeats, mean),    DOUBLE_FIELD(repeats, within),
        DOUBLE_FIELD(repeats, between), DOUBLE_FIELD(repeats, standard_error),
        DOUBLE_FIELD(repeats, freedom), DOUBLE_FIELD(repeats, f),
        DOUBLE_FIELD(repeats, p),       {NULL, 0}};
    size_t groups, readings;
    struct repeats out;
    lua_settop(L, 1);
    const double *values = block_at(L, 1, "repeats", &groups, &readings);
    enum analysis_status status = summary_of_repeats(values, groups, readings, &out);
    return push_facts(L, status, &out, fields);
}

/* --- rankings --------------------------------------------------------------------------------- */

/* agreement{{judge 1's values of the items}, ...}: Kendall's W and Friedman's test. */
static int word_agreement(lua_State *L)
{
    static const struct double_field fields[] = {DOUBLE_FIELD(agreement, w),
                                                 DOUBLE_FIELD(agreement, chi2),
                                                 DOUBLE_FIELD(agreement, freedom),
                                                 DOUBLE_FIELD(agreement, p),
                                                 {NULL, 0}};
    size_t judges, items;
    struct agreement out;
    lua_settop(L, 1);
    double *values = block_at(L, 1, "agreement", &judges, &items);
    enum analysis_status status = ranking_agreement(values, judges, items, &out);
    return push_facts(L, status, &out, fields);
}

static size_t criteria_at(lua_State *L, int index, struct criterion *criteria)
{
    static const char *const names[] = {"name", "lower_is_better", "weight", NULL};
    size_t count = lua_istable(L, index) ? lua_rawlen(L, index) : 0;
    if (!count || count > GROUPS_MOST)
        guest_fail(L, "write { {name = \"capacity\"}, {name = \"price\", lower_is_better = true} }",
                   "rank wants 1 to %d criteria", GROUPS_MOST);
    for (size_t i = 0; i < count && i < GROUPS_MOST; i++) {
        if (lua_rawgeti(L, index, (lua_Integer)i + 1) != LUA_TTABLE)
            guest_fail(L, "write {name = \"capacity\"}", "criterion %d is no table", (int)i + 1);
        fields_check(L, -1, "a criterion", names);
        criteria[i] = (struct criterion){.name = field_text(L, -1, "a criterion", "name"),
                                         .higher_is_better = true,
                                         .weight = number_field(L, -1, "a criterion", "weight", 1)};
        if (field_push(L, -1, "lower_is_better")) {
            criteria[i].higher_is_better = !lua_toboolean(L, -1);
            lua_pop(L, 1);
        }
        lua_pop(L, 1);
    }
    return count;
}

/* rank(criteria, {MODEL = {a value for each criterion}}): best first. */
static int word_rank(lua_State *L)
{
    struct criterion criteria[GROUPS_MOST];
    struct group groups[GROUPS_MOST];
    struct finish finishes[GROUPS_MOST];
    double values[GROUPS_MOST * GROUPS_MOST], ranks[GROUPS_MOST * GROUPS_MOST];
    int names;
    lua_settop(L, 2);
    size_t criterion_count = criteria_at(L, 1, criteria);
    size_t models = groups_at(L, 2, "rank", groups, &names);
    for (size_t m = 0; m < models; m++) {
        if (groups[m].count != criterion_count)
            return guest_fail(L, "give each model a value for each criterion",
                              "rank: a model has %d values, there are %d criteria",
                              (int)groups[m].count, (int)criterion_count);
        memcpy(values + m * criterion_count, groups[m].values, criterion_count * sizeof *values);
    }
    enum analysis_status status =
        ranking_of(criteria, criterion_count, values, models, ranks, finishes);
    if (status != ANALYSIS_OK)
        return push_none(L, status);
    lua_createtable(L, (int)models, 0);
    bool done[GROUPS_MOST] = {false};
    for (size_t n = 0; n < models; n++) {
        size_t best = models;
        for (size_t m = 0; m < models; m++)
            if (!done[m] &&
                (best == models || finishes[m].mean_finish < finishes[best].mean_finish))
                best = m;
        done[best] = true;
        lua_createtable(L, 0, 4);
        set_name(L, "model", names, best);
        set_number(L, "mean_finish", finishes[best].mean_finish);
        set_number(L, "place", finishes[best].place);
        push_numbers(L, ranks + best * criterion_count, criterion_count);
        lua_setfield(L, -2, "ranks");
        lua_rawseti(L, -2, (lua_Integer)n + 1);
    }
    return 1;
}

void evaluation_open_groups(lua_State *L)
{
    static const luaL_Reg words[] = {{"agreement", word_agreement},
                                     {"anova", word_anova},
                                     {"compare", word_compare},
                                     {"holm", word_holm},
                                     {"interval", word_interval},
                                     {"kruskal", word_kruskal},
                                     {"mean", word_mean},
                                     {"outlier", word_outlier},
                                     {"paired_rank_test", word_paired_rank_test},
                                     {"quantile", word_quantile},
                                     {"rank", word_rank},
                                     {"rank_test", word_rank_test},
                                     {"repeats", word_repeats},
                                     {"spread", word_spread},
                                     {"summary", word_summary},
                                     {"t_test", word_t_test},
                                     {"welch_anova", word_welch_anova},
                                     {NULL, NULL}};
    lua_pushglobaltable(L);
    luaL_setfuncs(L, words, 0);
    lua_pop(L, 1);
}
