/* Guests: one Lua state a script, cut off from the machine, bounded in memory and work, and the
 * same in every process. Relies on stock Lua 5.4 and on base.
 *
 * 1. Nothing is pushed from outside a protected call or a coroutine: over the memory cap Lua
 *    raises, and an unprotected raise would end the process.
 * 2. Work is counted, not timed: the same script is stopped at the same instruction everywhere. A
 *    processor-time backstop stands behind the count, for instructions that are unusually dear.
 * 3. A guest that was stopped, or that ran out of memory, is never resumed: `fatal` stays set,
 *    every further instruction raises again, and the scripts' pcall passes it on. */
#ifndef PERDURE_BINDINGS_SANDBOX_H
#define PERDURE_BINDINGS_SANDBOX_H

#include <lua.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/error.h"
#include "base/random.h"

#define GUEST_MEMORY_MOST (32u << 20) /* bytes held by one guest */
#define GUEST_BLOCK_MOST  (4u << 20)  /* one table's part, or the stack */
#define GUEST_STRING_MOST (64u << 10) /* one string: bounds what a single instruction can cost */
#define GUEST_TEXT_MOST   (1u << 20)  /* a script's or module's text */

#define GUEST_WORK        3000000 /* instructions from one request to the next: some 15 ms */
#define GUEST_WORK_INSIDE 200000  /* the same for a predicate, on every reading */

struct guest;

/* What one guest may have and do; the usual are those above. */
struct guest_limits {
    size_t memory, block, string; /* bytes, as above */
    long work;                    /* instructions from one request to the next */
    int64_t processor_ns;         /* the same in processor time: see 2. */
};

/* `user` is for whoever made the guest; a word finds it again with guest_user. */
int guest_open(struct guest **out, uint64_t seed, void *user, struct error *error);
int guest_open_within(struct guest **out, const struct guest_limits *limits, uint64_t seed,
                      void *user, struct error *error);
void guest_close(struct guest *guest);

void *guest_user(lua_State *L);
struct random *guest_random(lua_State *L);
size_t guest_memory(const struct guest *guest); /* bytes held now */

/* Calls `function` with `data` as a light userdata, protected, on the guest's main thread, where
 * nothing can wait. Values do not come back: the function keeps them in the registry or in
 * *data. */
int guest_call(struct guest *guest, lua_CFunction function, void *data, long work,
               struct error *error);

enum guest_end { GUEST_RETURNED, GUEST_WAITS, GUEST_FAILED };

/* Begins `function` (protected, with `data`) as the guest's coroutine, or goes on where it yielded.
 * On GUEST_FAILED the error is filled, its `what` FILE:LINE, and the guest only good to close. */
enum guest_end guest_begin(struct guest *guest, lua_CFunction function, void *data,
                           struct error *error);
enum guest_end guest_resume(struct guest *guest, struct error *error);

/* Pushes the compiled text, or raises what is wrong with it. */
void guest_load(lua_State *L, const char *name, const char *text, size_t length);

/* The same for a text of ours: errors are put down to the script's line that called it. */
void guest_load_own(lua_State *L, const char *name, const char *text, size_t length);

/* Counts work that a C function does, in instructions; raises when it is too much. */
void guest_charge(lua_State *L, size_t work);

/* Between the two, processor time is not put down to the script: what a word of it has done
 * outside, such as opening one instrument of a thousand. Nothing may be raised in between. */
int64_t guest_pause(lua_State *L);
void guest_unpause(lua_State *L, int64_t since);

/* Around each pcall of a script: raises when too many are nested. */
void guest_enter_pcall(lua_State *L);
void guest_leave_pcall(lua_State *L);

/* Whether a failure with this status is not the script's to catch: a stop, or no memory. */
bool guest_must_pass(lua_State *L, int status);

/* Raise an error at the line of the script that runs. The script may catch its text; when it does
 * not, its parts arrive in the caller's struct error as they were. Do not return. */
int guest_raise(lua_State *L, const struct error *error);
/* The same for an error that knows its own FILE:LINE. */
int guest_raise_there(lua_State *L, const struct error *error);
int guest_fail(lua_State *L, const char *todo, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* The line of the script that runs now; 0 when none does. */
int guest_line(lua_State *L);

/* library.c, tables.c, strings.c: what scripts are offered instead of the stock library. */
int library_open(lua_State *L);
int tables_open(lua_State *L);
int strings_open(lua_State *L);
int word_random(lua_State *L);

/* Pushes the keys of the table at `index` as an array: numbers first, then text, then booleans,
 * each in rising order. Raises for a key of another type, whose order would be its address. */
void push_sorted_keys(lua_State *L, int index);

/* Pushes what tostring gives: no address is ever shown. */
void push_text(lua_State *L, int index);

#endif
