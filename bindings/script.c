/* A script as the engine sees it: opened, resumed with outcomes, asked for its predicate,
 * closed. */
#include "bindings/returned.h"
#include "bindings/script_internal.h"
#include "bindings/study.h"

#include <lauxlib.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/random.h"
#include "bindings/canonical.h"
#include "bindings/fields.h"

/* --- requests --------------------------------------------------------------------------------- */

struct script_request *request_begin(lua_State *L, enum request_kind kind, const char *name)
{
    struct script *script = script_of(L);
    if (script->stage == STAGE_ASIDE)
        guest_fail(L, "only look at the reading there", "'%s' cannot be used inside `when`", name);
    if (script->stage != STAGE_RUNNING)
        guest_fail(L, "move it into the run function", "'%s' can only be used inside run", name);
    if (!lua_isyieldable(L))
        guest_fail(L, "call it from plain code",
                   "'%s' cannot be used inside a comparator, a metamethod or a gsub function",
                   name);
    text_clear(&script->args);
    text_clear(&script->words);
    text_clear(&script->expects);
    struct script_request *request = script->request;
    memset(request, 0, sizeof *request);
    request->kind = kind;
    request->name = name;
    request->uncertainty = request->freedom = NAN;
    request->line = guest_line(L);
    return request;
}

/* {"error": "..."} from the record is raised as if the primitive had failed just now. */
static void raise_outcome(lua_State *L)
{
    static const char key[] = "{\"error\":";
    struct script *script = script_of(L);
    if (!script->outcome || strncmp(script->outcome, key, sizeof key - 1) != 0)
        return;
    canonical_read(L, script->outcome);
    const char *message = field_push(L, -1, "error") ? luaL_tolstring(L, -1, NULL) : "failed";
    struct error error;
    error_set(&error, ERROR_FAILED, "", "", "%s", message);
    guest_raise(L, &error);
}

static int take_outcome(lua_State *L, int status, lua_KContext context)
{
    raise_outcome(L);
    return ((lua_KFunction)context)(L, status, 0);
}

int take_nothing(lua_State *L, int status, lua_KContext context)
{
    (void)L, (void)status, (void)context;
    return 0;
}

int request_yield(lua_State *L, lua_KFunction go_on)
{
    struct script *script = script_of(L);
    script->request->args = script->args.bytes;
    lua_settop(L, 0);
    return lua_yieldk(L, 0, (lua_KContext)go_on, take_outcome);
}

/* A failure in code that has no line, as when run is a word of ours, is at least the file's. */
static void name_file(const struct script *script, struct error *error)
{
    if (error && !error->what[0])
        string_copy(error->what, sizeof error->what, script->name);
}

/* --- opening ---------------------------------------------------------------------------------- */

static int open_words(lua_State *L)
{
    protocol_open(L);
    words_open(L);
    return 0;
}

/* The text's top level; what it returns must be what `protocol` made. */
static int run_top(lua_State *L)
{
    struct script *script = script_of(L);
    const struct script_context *context = lua_touserdata(L, 1);
    returned_push(L, &(struct returned_file){context->name, context->text, context->length, script,
                                             "protocol",
                                             "the script does not return a protocol or a study"});
    lua_pushnil(L);
    lua_rawsetp(L, LUA_REGISTRYINDEX, script);
    return 0;
}

static void script_close(struct script *script)
{
    if (!script)
        return;
    guest_close(script->guest);
    free(script->name);
    free(script->params);
    free(script->state);
    free(script->cells);
    free(script->module_text);
    for (int i = 0; i < script->parameter_count; i++) {
        free((char *)script->parameters[i].name);
        free((char *)script->parameters[i].unit);
        free((char *)script->parameters[i].value);
        free((char *)script->parameters[i].about);
    }
    for (int i = 0; i < script->result_count; i++) {
        free((char *)script->results[i].name);
        free((char *)script->results[i].unit);
    }
    text_free(&script->args);
    text_free(&script->words);
    text_free(&script->expects);
    free(script);
}

/* Draws go on differently in each segment of a run that restarts itself. */
static uint64_t script_seed(const struct script_context *context)
{
    return seed_for(context->seed, context->state ? context->state : "script");
}

static int script_open(struct script **out, const struct script_context *context,
                       struct error *error)
{
    struct script *script = xcalloc(1, sizeof *script);
    script->name = xstrdup(context->name);
    script->params = xstrdup(context->params ? context->params : "{}");
    script->state = context->state ? xstrdup(context->state) : NULL;
    script->cells = context->cells ? xstrdup(context->cells) : NULL;
    script->cell = context->cell;
    script->zone = context->zone;
    script->module = context->module;
    script->owner = context->owner;
    script->run_ref = script->params_ref = script->cell_ref = script->when_ref = LUA_NOREF;

    int code = guest_open(&script->guest, script_seed(context), script, error);
    if (!code)
        code = guest_call(script->guest, open_words, NULL, GUEST_WORK, error);
    if (!code && guest_begin(script->guest, run_top, (void *)context, error) != GUEST_RETURNED)
        code = ERROR_SCRIPT;
    if (code) {
        name_file(script, error);
        script_close(script);
        return code;
    }
    script->stage = STAGE_READY;
    *out = script;
    return 0;
}

/* --- running ---------------------------------------------------------------------------------- */

static int after_run(lua_State *L, int status, lua_KContext context)
{
    (void)L, (void)status, (void)context;
    return 0;
}

/* run(cell, p) or run(s, p), and the state as a third after a restart. */
static int run_script(lua_State *L)
{
    struct script *script = script_of(L);
    lua_rawgeti(L, LUA_REGISTRYINDEX, script->run_ref);
    if (script->is_study)
        study_push(L);
    else
        cell_push(L);
    lua_rawgeti(L, LUA_REGISTRYINDEX, script->params_ref);
    if (script->state)
        canonical_read(L, script->state);
    else
        lua_pushnil(L);
    lua_callk(L, 3, 0, 0, after_run);
    return after_run(L, LUA_OK, 0);
}

static enum script_status script_resume(struct script *script, const char *outcome, utc_us now,
                                        struct script_request *request, struct error *error)
{
    bool begin = script->stage == STAGE_READY;
    script->request = request;
    script->outcome = outcome;
    script->now = now;
    if (begin)
        script->stage = STAGE_RUNNING;
    enum guest_end end = begin ? guest_begin(script->guest, run_script, NULL, error)
                               : guest_resume(script->guest, error);
    script->request = NULL;
    script->outcome = NULL;
    switch (end) {
    case GUEST_WAITS: return SCRIPT_AWAITS;
    case GUEST_RETURNED: script->stage = STAGE_OVER; return SCRIPT_DONE;
    case GUEST_FAILED: break;
    }
    name_file(script, error);
    script->stage = STAGE_OVER;
    return SCRIPT_FAILED;
}

/* --- the predicate ---------------------------------------------------------------------------- */

struct question {
    const struct reading *reading;
    const struct step *step;
    bool *holds;
};

static void set_number(lua_State *L, const char *name, double value)
{
    if (!isfinite(value))
        return;
    lua_pushnumber(L, value);
    lua_setfield(L, -2, name);
}

/* Bench units. Current, charge and energy count in the step's own direction, as in its arguments:
 * positive while a discharge discharges. */
static void push_reading(lua_State *L, const struct reading *reading, const struct step *step)
{
    static const char *const names[] = {"voltage", "current", "temperature", "elapsed",
                                        "charge",  "energy",  NULL};
    lua_createtable(L, 0, 6);
    bool outward = step->plan.kind == STEP_DISCHARGE || step->plan.kind == STEP_PULSE;
    set_number(L, "voltage", reading->voltage);
    set_number(L, "current", outward ? -reading->current : reading->current);
    set_number(L, "temperature", reading->temperature);
    set_number(L, "elapsed", step->active);
    set_number(L, "charge", quantity_to_bench(step->charge, DIM_CHARGE));
    set_number(L, "energy", quantity_to_bench(step->energy, DIM_ENERGY));
    fields_strict(L, "a reading", names);
}

static int evaluate(lua_State *L)
{
    struct question *question = lua_touserdata(L, 1);
    push_reading(L, question->reading, question->step);
    *question->holds = step_when(L);
    return 0;
}

static int script_predicate(struct script *script, const struct reading *reading,
                            const struct step *step, bool *holds, struct error *error)
{
    struct question question = {reading, step, holds};
    enum script_stage before = script->stage;
    *holds = false;
    script->stage = STAGE_ASIDE;
    int code = guest_call(script->guest, evaluate, &question, GUEST_WORK_INSIDE, error);
    script->stage = before;
    if (code)
        name_file(script, error);
    return code;
}

/* --- the definition, for others --------------------------------------------------------------- */

bool script_is_study(const struct script *script)
{
    return script->is_study;
}

const char *script_title(const struct script *script)
{
    return script->title;
}

int script_parameters(const struct script *script, const struct script_parameter **out)
{
    *out = script->parameters;
    return script->parameter_count;
}

int script_results(const struct script *script, const struct script_result **out)
{
    *out = script->results;
    return script->result_count;
}

size_t script_memory(const struct script *script)
{
    return guest_memory(script->guest);
}

const struct script_ops *lua_script_ops(void)
{
    static const struct script_ops ops = {
        .version = LUA_RELEASE,
        .open = script_open,
        .resume = script_resume,
        .predicate = script_predicate,
        .close = script_close,
    };
    return &ops;
}
