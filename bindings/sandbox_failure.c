/* How a failure inside a guest becomes an error outside: raised at a line of the script, maybe
 * caught there, else put in words for whoever called. */
#include "bindings/sandbox_internal.h"

#include <ctype.h>
#include <lauxlib.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

/* --- where, and raising ----------------------------------------------------------------------- */

int guest_find_line(lua_State *L, int level, char *where, size_t size)
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
    return guest_find_line(L, 0, NULL, 0);
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
    guest_find_line(L, 0, where, sizeof where);
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

int guest_fail_with(struct guest *guest, lua_State *L, int status, const char *where,
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
