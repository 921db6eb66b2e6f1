/* Guests: memory, work, protected calls. What becomes of a failure stands in sandbox_failure.c. */
#include "bindings/sandbox_internal.h"

#include <lauxlib.h>
#include <stdlib.h>
#include <time.h>

/* Instructions between two looks at the count. The dearest single instruction (comparing or joining
 * two strings of GUEST_STRING_MOST) takes some microseconds, so a look comes every few ms at
 * worst. */
#define WORK_STEP 1000

/* Processor time after which a guest is stopped whatever its count: some fifteen times what
 * GUEST_WORK ordinary instructions need on a common machine, so that no slow or busy one stops a
 * script that another lets run; and well below what the guardian takes for a dead engine. */
#ifdef __SANITIZE_ADDRESS__
#define PROCESSOR_NS_MOST 1000000000LL /* which makes every instruction some times dearer */
#else
#define PROCESSOR_NS_MOST 250000000LL
#endif

/* Levels of calls at which a script is stopped; and from which a lack of memory is put down to
 * them. The stock library would let it go on until the stack holds a million values. */
#define LEVELS_MOST 5000
#define DEEP        1000

/* Nested pcalls. A failure passes through each of them, and each looks through the stack. */
#define PCALLS_MOST 150

void *guest_user(lua_State *L)
{
    return guest_of(L)->user;
}

struct random *guest_random(lua_State *L)
{
    return &guest_of(L)->random;
}

size_t guest_memory(const struct guest *guest)
{
    return guest->used;
}

void guest_enter_pcall(lua_State *L)
{
    struct guest *guest = guest_of(L);
    if (guest->pcalls == PCALLS_MOST) {
        guest_fail(L, "end the recursion", "more than %d calls of pcall in each other",
                   PCALLS_MOST);
        return;
    }
    guest->pcalls++;
}

void guest_leave_pcall(lua_State *L)
{
    guest_of(L)->pcalls--;
}

bool guest_must_pass(lua_State *L, int status)
{
    struct guest *guest = guest_of(L);
    if (status == LUA_ERRMEM && guest->fatal == FATAL_NONE)
        guest->fatal = FATAL_MEMORY;
    return guest->fatal != FATAL_NONE;
}

/* --- memory ----------------------------------------------------------------------------------- */

/* Every new object comes with its type in place of an old size (Lua 5.4 manual, lua_Alloc). */
static bool refused(const struct guest *guest, const void *block, size_t old, size_t size)
{
    const struct guest_limits *limits = &guest->limits;
    if (!block && old == LUA_TSTRING && size > limits->string)
        return true;
    return size > limits->block || guest->used - (block ? old : 0) + size > limits->memory;
}

/* For the message, if this becomes a failure: Lua has unwound the main thread by then. */
static void note_refusal(struct guest *guest)
{
    lua_Debug level;
    guest->short_of_memory = true;
    guest->deep = guest->running && lua_getstack(guest->running, DEEP, &level);
    if (guest->running)
        guest_find_line(guest->running, 0, guest->where, sizeof guest->where);
}

static void *grant(void *data, void *block, size_t old, size_t size)
{
    struct guest *guest = data;
    size_t held = block ? old : 0;
    if (size == 0) {
        guest->used -= held;
        free(block);
        return NULL;
    }
    if (size > held) {
        /* Lua answers a refusal with a full collection and asks again: that is work too, or a
         * script that lives just below the cap would collect at every allocation. */
        if (refused(guest, block, old, size)) {
            note_refusal(guest);
            guest->work += (long)(guest->used / 16);
            return NULL;
        }
        guest->work += (long)((size - held) / 64);
    }
    void *granted = realloc(block, size);
    if (!granted)
        return size > held ? NULL : block;
    guest->used += size - held;
    return granted;
}

/* --- work ------------------------------------------------------------------------------------- */

static int64_t processor_ns(void)
{
    struct timespec now;
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
    return now.tv_sec * 1000000000LL + now.tv_nsec;
}

static void stop_if_spent(lua_State *L, struct guest *guest);

/* After a stop this runs before every instruction: a handler that runs while the error passes
 * through (a closing variable's) gets no further. */
static void count_hook(lua_State *L, lua_Debug *activation)
{
    (void)activation;
    struct guest *guest = guest_of(L);
    guest->work += WORK_STEP;
    stop_if_spent(L, guest);
}

static void stop_if_spent(lua_State *L, struct guest *guest)
{
    if (guest->fatal == FATAL_NONE) {
        int64_t now = processor_ns();
        if (!guest->processor_began)
            guest->processor_began = now;
        lua_Debug level;
        if (lua_getstack(L, LEVELS_MOST, &level))
            guest->fatal = FATAL_DEPTH;
        else if (guest->work > guest->work_most ||
                 now - guest->processor_began > guest->limits.processor_ns)
            guest->fatal = FATAL_WORK;
        else
            return;
        lua_sethook(guest->main, count_hook, LUA_MASKCOUNT, 1);
        if (guest->coroutine)
            lua_sethook(guest->coroutine, count_hook, LUA_MASKCOUNT, 1);
    }
    lua_pushlightuserdata(L, guest); /* needs no memory */
    lua_error(L);
}

void guest_charge(lua_State *L, size_t work)
{
    struct guest *guest = guest_of(L);
    long before = guest->work;
    size_t most = (size_t)guest->limits.work;
    guest->work += (long)(work < most ? work : most + 1);
    if (guest->fatal != FATAL_NONE || before / WORK_STEP != guest->work / WORK_STEP)
        stop_if_spent(L, guest);
}

int64_t guest_pause(lua_State *L)
{
    struct guest *guest = guest_of(L);
    int64_t now = processor_ns();
    if (!guest->processor_began)
        guest->processor_began = now;
    return now;
}

void guest_unpause(lua_State *L, int64_t since)
{
    guest_of(L)->processor_began += processor_ns() - since;
}

static void begin_round(struct guest *guest, long work)
{
    guest->work = 0;
    guest->work_most = work;
    guest->processor_began = 0;
    guest->short_of_memory = false;
}

/* --- protected calls -------------------------------------------------------------------------- */

static int note_where(lua_State *L)
{
    struct guest *guest = guest_of(L);
    guest_find_line(L, 1, guest->where, sizeof guest->where);
    return 1;
}

int guest_call(struct guest *guest, lua_CFunction function, void *data, long work,
               struct error *error)
{
    lua_State *L = guest->running = guest->main;
    begin_round(guest, work);
    guest->where[0] = '\0';
    lua_settop(L, 0);
    lua_pushcfunction(L, note_where);
    lua_pushcfunction(L, function);
    lua_pushlightuserdata(L, data);
    int status = lua_pcall(L, 1, 0, 1);
    int code = status == LUA_OK ? 0 : guest_fail_with(guest, L, status, guest->where, error);
    lua_settop(L, 0);
    guest->running = NULL;
    return code;
}

static enum guest_end go_on(struct guest *guest, int arguments, struct error *error)
{
    lua_State *L = guest->running = guest->coroutine;
    begin_round(guest, guest->limits.work);
    int results = 0;
    int status = lua_resume(L, guest->main, arguments, &results);
    guest->running = NULL;
    if (status == LUA_YIELD)
        return GUEST_WAITS;
    if (status == LUA_OK)
        return GUEST_RETURNED;
    char where[128];
    guest_find_line(L, 0, where, sizeof where);
    guest_fail_with(guest, L, status, where, error);
    if (guest->fatal == FATAL_NONE)
        guest->fatal = FATAL_WORK; /* whatever it was: not to be resumed */
    return GUEST_FAILED;
}

static bool refuse_dead(const struct guest *guest, struct error *error)
{
    if (guest->fatal == FATAL_NONE)
        return false;
    error_set(error, ERROR_INTERNAL, "script", "report this", "it was stopped before");
    return true;
}

enum guest_end guest_begin(struct guest *guest, lua_CFunction function, void *data,
                           struct error *error)
{
    if (refuse_dead(guest, error))
        return GUEST_FAILED;
    lua_settop(guest->coroutine, 0);
    lua_pushcfunction(guest->coroutine, function);
    lua_pushlightuserdata(guest->coroutine, data);
    return go_on(guest, 1, error);
}

enum guest_end guest_resume(struct guest *guest, struct error *error)
{
    if (refuse_dead(guest, error))
        return GUEST_FAILED;
    return go_on(guest, 0, error);
}

/* --- loading, opening ------------------------------------------------------------------------- */

void guest_load(lua_State *L, const char *name, const char *text, size_t length)
{
    if (length > GUEST_TEXT_MOST) {
        guest_fail(L, "split it into modules", "%s is longer than %u kB", name,
                   GUEST_TEXT_MOST >> 10);
        return;
    }
    const char *chunk_name = lua_pushfstring(L, "@%s", name);
    if (luaL_loadbufferx(L, text, length, chunk_name, "t") != LUA_OK)
        lua_error(L);
    lua_remove(L, -2);
}

void guest_load_own(lua_State *L, const char *name, const char *text, size_t length)
{
    const char *chunk_name = lua_pushfstring(L, "=%s", name);
    if (luaL_loadbufferx(L, text, length, chunk_name, "t") != LUA_OK)
        lua_error(L);
    lua_remove(L, -2);
}

static int set_up(lua_State *L)
{
    struct guest *guest = guest_of(L);
    library_open(L);
    guest->coroutine = lua_newthread(L);
    luaL_ref(L, LUA_REGISTRYINDEX);
    return 0;
}

int guest_open(struct guest **out, uint64_t seed, void *user, struct error *error)
{
    static const struct guest_limits usual = {GUEST_MEMORY_MOST, GUEST_BLOCK_MOST,
                                              GUEST_STRING_MOST, GUEST_WORK, PROCESSOR_NS_MOST};
    return guest_open_within(out, &usual, seed, user, error);
}

int guest_open_within(struct guest **out, const struct guest_limits *limits, uint64_t seed,
                      void *user, struct error *error)
{
    struct guest *guest = xcalloc(1, sizeof *guest);
    guest->user = user;
    guest->limits = *limits;
    random_seed(&guest->random, seed);
    guest->main = lua_newstate(grant, guest);
    if (!guest->main) {
        free(guest);
        return error_set(error, ERROR_INTERNAL, "script", "free some memory",
                         "no memory for a Lua state");
    }
    *(struct guest **)lua_getextraspace(guest->main) = guest;
    lua_sethook(guest->main, count_hook, LUA_MASKCOUNT, WORK_STEP);
    int code = guest_call(guest, set_up, NULL, GUEST_WORK, error);
    if (code) {
        guest_close(guest);
        return code;
    }
    *out = guest;
    return 0;
}

void guest_close(struct guest *guest)
{
    if (!guest)
        return;
    lua_close(guest->main);
    text_free(&guest->raised_text);
    free(guest);
}
