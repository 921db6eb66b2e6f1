/* Guests: memory, work, protected calls, and how a failure inside becomes an error outside. */
#include "bindings/sandbox.h"

#include <ctype.h>
#include <lauxlib.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "base/text.h"

/* Instructions between two looks at the count. The dearest single instruction (comparing or joining
 * two strings of GUEST_STRING_MOST) takes some microseconds, so a look comes every few ms at worst.
 */
#define WORK_STEP 1000

/* Processor time after which a guest is stopped whatever its count: four times what GUEST_WORK
 * ordinary instructions need on a common machine. */
#ifdef __SANITIZE_ADDRESS__
#define PROCESSOR_NS_MOST 300000000LL /* which makes every instruction some times dearer */
#else
#define PROCESSOR_NS_MOST 60000000LL
#endif

/* Levels of calls at which a script is stopped; and from which a lack of memory is put down to
 * them. The stock library would let it go on until the stack holds a million values. */
#define LEVELS_MOST 5000
#define DEEP        1000

/* Nested pcalls. A failure passes through each of them, and each looks through the stack. */
#define PCALLS_MOST 150

enum fatal { FATAL_NONE, FATAL_WORK, FATAL_DEPTH, FATAL_MEMORY };

struct guest {
    lua_State *main;      /* set-up, predicates */
    lua_State *coroutine; /* the script itself; anchored in the registry */
    lua_State *running;   /* the one of the two that runs; NULL: none */
    void *user;
    struct guest_limits limits;
    struct random random;
    size_t used;
    long work, work_most;
    int64_t processor_began; /* ns; 0: not yet looked in this round */
    int pcalls;              /* begun and not left */
    enum fatal fatal;
    bool short_of_memory; /* some was refused in this round */
    bool deep;            /* the memory last refused was wanted below many levels of calls */
    char where[128];      /* FILE:LINE of the last failure on the main thread */
    struct error raised;
    struct text raised_text; /* as the script sees it */
};

static struct guest *guest_of(lua_State *L)
{
    return *(struct guest **)lua_getextraspace(L);
}

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

static int find_line(lua_State *L, int level, char *where, size_t size);

/* For the message, if this becomes a failure: Lua has unwound the main thread by then. */
static void note_refusal(struct guest *guest)
{
    lua_Debug level;
    guest->short_of_memory = true;
    guest->deep = guest->running && lua_getstack(guest->running, DEEP, &level);
    if (guest->running)
        find_line(guest->running, 0, guest->where, sizeof guest->where);
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

/* --- where, and raising ----------------------------------------------------------------------- */

/* FILE:LINE of the innermost function of the script at or above `level`; "" when there is none. */
static int find_line(lua_State *L, int level, char *where, size_t size)
{
    lua_Debug at;
    for (; lua_getstack(L, level, &at); level++) {
        lua_getinfo(L, "Sl", &at);
        if (at.currentline > 0 && at.source[0] != '=') { /* '=' marks a text of ours */
            if (where)
                snprintf(where, size, "%s:%d", at.short_src, at.currentline);
            return at.currentline;
        }
    }
    if (where && size)
        where[0] = '\0';
    return 0;
}

int guest_line(lua_State *L)
{
    return find_line(L, 0, NULL, 0);
}

/* `where` "" keeps the error's own place. */
static int raise_at(lua_State *L, const struct error *error, const char *where)
{
    struct guest *guest = guest_of(L);
    struct text *text = &guest->raised_text;
    text_clear(text);
    if (where[0])
        text_addf(text, "%s: ", where);
    if (error->what[0])
        text_addf(text, "%s: ", error->what);
    text_add(text, error->why);
    if (error->todo[0])
        text_addf(text, "; %s", error->todo);

    guest->raised = *error;
    if (where[0]) {
        if (error->what[0])
            snprintf(guest->raised.why, sizeof guest->raised.why, "%.255s: %.500s", error->what,
                     error->why);
        string_copy(guest->raised.what, sizeof guest->raised.what, where);
    }
    lua_pushlstring(L, text->bytes, text->length);
    return lua_error(L);
}

int guest_raise(lua_State *L, const struct error *error)
{
    char where[128];
    find_line(L, 0, where, sizeof where);
    return raise_at(L, error, where);
}

int guest_raise_there(lua_State *L, const struct error *error)
{
    return raise_at(L, error, "");
}

int guest_fail(lua_State *L, const char *todo, const char *format, ...)
{
    char why[512];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(why, sizeof why, format, arguments);
    va_end(arguments);
    struct error error;
    error_set(&error, ERROR_SCRIPT, "", todo, "%s", why);
    return guest_raise(L, &error);
}

/* --- from a failure inside to an error outside ------------------------------------------------ */

/* Splits "FILE:LINE: reason" when it begins so; Lua writes its own messages that way. */
static bool split_message(const char *message, char *where, size_t size, const char **why)
{
    for (const char *colon = strchr(message, ':'); colon; colon = strchr(colon + 1, ':')) {
        const char *digit = colon + 1;
        while (isdigit((unsigned char)*digit))
            digit++;
        if (digit == colon + 1 || digit[0] != ':' || digit[1] != ' ')
            continue;
        if ((size_t)(digit - message) >= size)
            return false;
        memcpy(where, message, (size_t)(digit - message));
        where[digit - message] = '\0';
        *why = digit + 2;
        return true;
    }
    return false;
}

static int fail_with_text(struct guest *guest, const char *where, const char *message,
                          struct error *error)
{
    if (guest->raised_text.length && strcmp(message, guest->raised_text.bytes) == 0) {
        if (error)
            *error = guest->raised;
        return ERROR_SCRIPT;
    }
    char split[128];
    const char *why = message;
    if (split_message(message, split, sizeof split, &why))
        where = split;
    return error_set(error, ERROR_SCRIPT, where, "look at that line of the script", "%s", why);
}

/* {message = "..."} or anything else that was thrown, as text in *data. */
static int describe(lua_State *L)
{
    struct text *out = lua_touserdata(L, 1);
    if (lua_istable(L, 2)) {
        lua_pushliteral(L, "message");
        lua_rawget(L, 2);
        if (!lua_isstring(L, -1)) {
            text_add(out, "an error value that is a table without a message");
            return 0;
        }
    }
    push_text(L, lua_istable(L, 2) ? -1 : 2);
    size_t length;
    const char *bytes = lua_tolstring(L, -1, &length);
    text_add_bytes(out, bytes, length);
    return 0;
}

/* The error value is on top of `L`, which may still hold the failed calls. */
static int fail_with(struct guest *guest, lua_State *L, int status, const char *where,
                     struct error *error)
{
    if (guest->fatal == FATAL_WORK && !guest->short_of_memory)
        return error_set(
            error, ERROR_SCRIPT, where, "put a step, a wait or a record into the loop, or end it",
            "worked too long without asking for anything: over %ld instructions or %lld ms of "
            "processor time",
            guest->work_most, (long long)guest->limits.processor_ns / 1000000);
    if (status == LUA_ERRMEM || guest->fatal != FATAL_NONE) {
        guest->deep |= guest->fatal == FATAL_DEPTH;
        guest->fatal = FATAL_MEMORY;
        if (guest->deep)
            return error_set(error, ERROR_SCRIPT, where, "use a loop, or end the recursion",
                             "calls itself too deeply");
        return error_set(error, ERROR_SCRIPT, where, "keep less at a time",
                         "needs too much memory: a script may hold %zu MB, one text %zu kB",
                         guest->limits.memory >> 20, guest->limits.string >> 10);
    }
    if (lua_type(L, -1) == LUA_TSTRING)
        return fail_with_text(guest, where, lua_tostring(L, -1), error);

    struct text text = TEXT_EMPTY;
    lua_State *main = guest->main;
    int top = lua_gettop(main);
    if (lua_checkstack(main, 4)) {
        lua_pushcfunction(main, describe);
        lua_pushlightuserdata(main, &text);
        if (L != main) {
            lua_pushvalue(L, -1);
            lua_xmove(L, main, 1);
        } else {
            lua_pushvalue(main, top);
        }
        if (lua_pcall(main, 2, 0, 0) != LUA_OK)
            text_clear(&text);
        lua_settop(main, top);
    }
    int code = fail_with_text(guest, where, text.length ? text.bytes : "failed", error);
    text_free(&text);
    return code;
}

/* --- protected calls -------------------------------------------------------------------------- */

static int note_where(lua_State *L)
{
    struct guest *guest = guest_of(L);
    find_line(L, 1, guest->where, sizeof guest->where);
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
    int code = status == LUA_OK ? 0 : fail_with(guest, L, status, guest->where, error);
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
    find_line(L, 0, where, sizeof where);
    fail_with(guest, L, status, where, error);
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
