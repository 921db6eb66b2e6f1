/* A script between its files: protocol.c fills the definition, steps.c and words.c make requests,
 * script.c opens, resumes and closes. */
#ifndef PERDURE_BINDINGS_SCRIPT_INTERNAL_H
#define PERDURE_BINDINGS_SCRIPT_INTERNAL_H

#include <lua.h>

#include "base/quantity.h"
#include "base/text.h"
#include "bindings/sandbox.h"
#include "bindings/script.h"

#define PARAMETERS_MOST 64
#define RESULTS_MOST    64

struct result_kind {
    enum dimension dimension;
    double factor; /* the unit in SI */
};

enum script_stage {
    STAGE_TOP,     /* the text's top level, or a module's: words that ask are refused */
    STAGE_READY,   /* defined; run not begun */
    STAGE_RUNNING, /* inside run */
    STAGE_ASIDE,   /* inside a predicate: words that ask are refused */
    STAGE_OVER
};

struct script {
    struct guest *guest;
    enum script_stage stage;

    /* Of the context, copied. */
    char *name, *params, *state, *cells;
    struct cell_facts cell;
    const struct zone *zone; /* not owned; NULL: UTC */
    int (*module)(void *owner, const char *name, char **text, size_t *length, struct error *error);
    void *owner;
    char *module_text; /* while it is compiled: freed when that fails too */

    /* The definition. */
    bool is_study;
    char title[128];
    int parameter_count, result_count;
    struct script_parameter parameters[PARAMETERS_MOST]; /* texts owned */
    struct script_result results[RESULTS_MOST];          /* texts owned */
    struct result_kind result_kinds[RESULTS_MOST];
    int run_ref, params_ref, cell_ref, when_ref; /* in the registry; LUA_NOREF when not there */

    /* While resumed. */
    struct script_request *request;
    const char *outcome;
    utc_us now;
    double latest;                    /* of a study's last wait: s since 1970 */
    struct text args, words, expects; /* what the request's strings point to */
};

static inline struct script *script_of(lua_State *L)
{
    return guest_user(L);
}

/* Begins a request: refuses when nothing can wait here. `name` must be static. */
struct script_request *request_begin(lua_State *L, enum request_kind kind, const char *name);

/* Hands it over. `go_on` runs when the outcome is there: script->outcome; an outcome that is an
 * error has been raised before. Use as `return request_yield(L, go_on)`. */
int request_yield(lua_State *L, lua_KFunction go_on);

/* Takes the outcome of a primitive that gives nothing back. */
int take_nothing(lua_State *L, int status, lua_KContext context);

/* Set globals: protocol, require; the words of words.c. */
void protocol_open(lua_State *L);
void words_open(lua_State *L);

/* Pushes the cell's object. */
void cell_push(lua_State *L);

/* The function that the last step's `when` named, on the reading at the top; pops it, and says. */
bool step_when(lua_State *L);

#endif
