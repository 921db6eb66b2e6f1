/* What the files of the sandbox share: the guest itself. Nobody else includes this. */
#ifndef PERDURE_BINDINGS_SANDBOX_INTERNAL_H
#define PERDURE_BINDINGS_SANDBOX_INTERNAL_H

#include "base/text.h"
#include "bindings/sandbox.h"

/* Why a guest was stopped, for good. */
enum fatal { FATAL_NONE, FATAL_WORK, FATAL_DEPTH, FATAL_MEMORY };

struct guest {
    lua_State *main;      /* set-up, predicates */
    lua_State *coroutine; /* the script itself; anchored in the registry */
    lua_State *running;   /* the one of the two that runs; NULL: none */
    void *user;
    struct guest_limits limits;
    struct random random;
    size_t used;             /* bytes */
    long work, work_most;    /* instructions, of this round */
    int64_t processor_began; /* ns; 0: not yet looked in this round */
    int pcalls;              /* begun and not left */
    enum fatal fatal;
    bool short_of_memory; /* some was refused in this round */
    bool deep;            /* the memory last refused was wanted below many levels of calls */
    char where[128];      /* FILE:LINE of the last failure on the main thread */
    struct error raised;
    struct text raised_text; /* as the script sees it */
};

static inline struct guest *guest_of(lua_State *L)
{
    return *(struct guest **)lua_getextraspace(L);
}

/* FILE:LINE of the innermost function of the script at or above `level`, and its line; "" and 0
 * when there is none. `where` may be NULL. */
int guest_find_line(lua_State *L, int level, char *where, size_t size);

/* Makes an error of the value on top of `L`, which may still hold the failed calls: a stop and a
 * lack of memory in words of ours, what a word raised as it was, the rest as the script said it.
 * `where` is for those that do not know their place. Returns the error's code. */
int guest_fail_with(struct guest *guest, lua_State *L, int status, const char *where,
                    struct error *error);

#endif
