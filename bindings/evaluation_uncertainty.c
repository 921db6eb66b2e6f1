/* Words for uncertainty, as JCGM 100 has it: the table `uncertainty`, and a channel against a
 * standard. */
#include "bindings/evaluation_internal.h"

#include <lauxlib.h>
#include <math.h>

#include "analysis/bias.h"
#include "analysis/uncertainty.h"
#include "bindings/fields.h"

static double *square_at(lua_State *L, int index, const char *what, size_t side)
{
    size_t rows, columns;
    double *block = block_at(L, index, what, &rows, &columns);
    if (rows != side || columns != side)
        guest_fail(L, "give a row and a column for each input", "%s: %d rows of %d, not %d of %d",
                   what, (int)rows, (int)columns, (int)side, (int)side);
    return block;
}

static void push_block(lua_State *L, const double *block, size_t rows, size_t columns)
{
    lua_createtable(L, (int)rows, 0);
    for (size_t r = 0; r < rows; r++) {
        push_numbers(L, block + r * columns, columns);
        lua_rawseti(L, -2, (lua_Integer)r + 1);
    }
}

/* uncertainty.combine({ {sensitivity =, standard =, freedom =}, ... }[, confidence[,
 * correlations]]) */
static int word_combine(lua_State *L)
{
    static const char *const names[] = {"sensitivity", "standard", "freedom", NULL};
    static const struct double_field fields[] = {
        DOUBLE_FIELD(uncertainty, standard),   DOUBLE_FIELD(uncertainty, freedom),
        DOUBLE_FIELD(uncertainty, coverage),   DOUBLE_FIELD(uncertainty, expanded),
        DOUBLE_FIELD(uncertainty, confidence), {NULL, 0}};
    double confidence = confidence_at(L, 2);
    lua_settop(L, 3);
    if (!lua_istable(L, 1))
        return guest_fail(L, "write { {standard = 0.01}, {standard = 0.02, sensitivity = 2} }",
                          "combine wants the inputs");
    size_t count = lua_rawlen(L, 1);
    struct uncertainty_input *inputs = lua_newuserdatauv(L, (count + 1) * sizeof *inputs, 0);
    for (size_t i = 0; i < count; i++) {
        if (lua_rawgeti(L, 1, (lua_Integer)i + 1) != LUA_TTABLE)
            return guest_fail(L, "write {standard = 0.01}", "input %d is no table", (int)i + 1);
        fields_check(L, -1, "an input", names);
        inputs[i] = (struct uncertainty_input){
            .sensitivity = number_field(L, -1, "an input", "sensitivity", 1),
            .standard = number_field(L, -1, "an input", "standard", NAN),
            .freedom = number_field(L, -1, "an input", "freedom", INFINITY)};
        lua_pop(L, 1);
    }
    const double *correlation = NULL;
    if (!lua_isnil(L, 3)) {
        lua_insert(L, 1); /* the inputs stay: block_at drops what is above */
        correlation = square_at(L, 4, "combine, correlations", count);
    }
    struct uncertainty out;
    enum analysis_status status = uncertainty_combine(inputs, count, correlation, confidence, &out);
    return push_facts(L, status, &out, fields);
}

/* uncertainty.means{{first reading of each quantity}, {second}, ...}: the means, and the covariance
 * of the means. */
static int word_means(lua_State *L)
{
    size_t readings, quantities;
    lua_settop(L, 1);
    const double *x = block_at(L, 1, "means", &readings, &quantities);
    guest_charge(L, readings * quantities * quantities);
    double *means = lua_newuserdatauv(L, (quantities + 1) * (quantities + 1) * sizeof *means, 0);
    double *covariance = means + quantities;
    enum analysis_status status = uncertainty_of_means(x, readings, quantities, means, covariance);
    if (status != ANALYSIS_OK)
        return push_none(L, status);
    push_numbers(L, means, quantities);
    push_block(L, covariance, quantities, quantities);
    return 2;
}

/* uncertainty.propagate(jacobian, covariance): rows of outputs, a column for each input. */
static int word_propagate(lua_State *L)
{
    size_t outputs, inputs;
    lua_settop(L, 2);
    lua_insert(L, 1); /* covariance, jacobian: block_at drops what is above */
    const double *jacobian = block_at(L, 2, "propagate, jacobian", &outputs, &inputs);
    lua_insert(L, 1);
    const double *covariance = square_at(L, 2, "propagate, covariance", inputs);
    guest_charge(L, outputs * inputs * (inputs + outputs));
    double *out = lua_newuserdatauv(L, (outputs * outputs + 1) * sizeof *out, 0);
    enum analysis_status status = uncertainty_propagate(jacobian, outputs, inputs, covariance, out);
    if (status != ANALYSIS_OK)
        return push_none(L, status);
    push_block(L, out, outputs, outputs);
    return 1;
}

static int push_type_b(lua_State *L, double (*type_b)(double))
{
    return push_number(L, ANALYSIS_OUT_OF_RANGE, type_b(luaL_checknumber(L, 1)));
}

static int word_rectangular(lua_State *L)
{
    return push_type_b(L, type_b_rectangular);
}

static int word_triangular(lua_State *L)
{
    return push_type_b(L, type_b_triangular);
}

static int word_arcsine(lua_State *L)
{
    return push_type_b(L, type_b_arcsine);
}

static int word_resolution(lua_State *L)
{
    return push_type_b(L, type_b_resolution);
}

static int word_freedom(lua_State *L)
{
    return push_type_b(L, type_b_freedom);
}

static int word_coverage(lua_State *L)
{
    double freedom = luaL_optnumber(L, 2, (lua_Number)INFINITY);
    return push_number(L, ANALYSIS_TOO_FEW, coverage_factor(confidence_at(L, 1), freedom));
}

/* against_standard(readings, known, u_known): how much too high a channel reads. */
static int word_against_standard(lua_State *L)
{
    static const struct double_field fields[] = {
        DOUBLE_FIELD(channel_bias, bias), DOUBLE_FIELD(channel_bias, standard_error), {NULL, 0}};
    size_t count;
    double known = luaL_checknumber(L, 2), u_known = luaL_checknumber(L, 3);
    const double *readings = numbers_at(L, 1, "against_standard", &count);
    struct channel_bias out;
    enum analysis_status status =
        bias_from_standard(readings, count, known, u_known, BIAS_ADDITIVE, &out);
    return push_facts(L, status, &out, fields);
}

void evaluation_open_uncertainty(lua_State *L)
{
    static const luaL_Reg words[] = {{"arcsine", word_arcsine},
                                     {"combine", word_combine},
                                     {"coverage", word_coverage},
                                     {"freedom", word_freedom},
                                     {"means", word_means},
                                     {"propagate", word_propagate},
                                     {"rectangular", word_rectangular},
                                     {"resolution", word_resolution},
                                     {"triangular", word_triangular},
                                     {NULL, NULL}};
    lua_pushglobaltable(L);
    luaL_newlib(L, words);
    lua_setfield(L, -2, "uncertainty");
    lua_pushcfunction(L, word_against_standard);
    lua_setfield(L, -2, "against_standard");
    lua_pop(L, 1);
}
