/* The words a driver is written with: those of `self`, which ask the instrument and wait, and those
 * that read its answers and write its numbers. */
#include <lauxlib.h>
#include <math.h>
#include <string.h>

#include "bindings/driver_internal.h"

#define LINE_MOST   4096
#define ERRORS_MOST 32 /* entries of an error queue that are read before giving up */
#define WAIT_MOST   DRIVER_PATIENCE_MOST

/* --- asking ---------------------------------------------------------------------------------- */

void driver_push_line(lua_State *L, int index)
{
    const struct lua_driver *driver = driver_of(L);
    size_t length, ending = strlen(driver->ending);
    const char *text = lua_tolstring(L, index, &length);
    bool ended = length >= ending && memcmp(text + length - ending, driver->ending, ending) == 0;
    lua_pushlstring(L, text, length);
    lua_pushstring(L, ended ? "" : driver->ending);
    lua_concat(L, 2);
}

const char *driver_check_line(lua_State *L, int index, const char *word)
{
    size_t length;
    const char *text = lua_tolstring(L, index, &length);
    if (length == 0 || length > LINE_MOST || memchr(text, '\0', length) ||
        strpbrk(text, "\r\n") != NULL)
        guest_fail(L, "send one line at a time, without its ending",
                   "'%s' was given no line of 1 to %d characters", word, LINE_MOST);
    return text;
}

/* Hands the call over; `go_on` runs when there is an answer. */
static int yield(lua_State *L, enum driver_want want, double seconds, lua_KFunction go_on)
{
    struct lua_driver *driver = driver_of(L);
    *driver->call = (struct driver_call){want, driver->out.bytes, driver->out.length, seconds};
    return lua_yieldk(L, 0, 0, go_on);
}

static void check_running(lua_State *L, const char *word)
{
    if (!driver_of(L)->running || !lua_isyieldable(L))
        guest_fail(L, "use it in identify, prepare, drive, off, read, connect or disconnect",
                   "'%s' can only be used while a task runs", word);
}

/* `self` comes first; dots instead of a colon are the usual mistake. */
static const char *check_line(lua_State *L, const char *word)
{
    char todo[64];
    check_running(L, word);
    if (!lua_istable(L, 1) || lua_type(L, 2) != LUA_TSTRING) {
        snprintf(todo, sizeof todo, "write self:%s(\"...\")", word);
        guest_fail(L, todo, "'%s' wants a text", word);
    }
    return driver_check_line(L, 2, word);
}

static void put_out(lua_State *L, const char *text)
{
    struct lua_driver *driver = driver_of(L);
    (void)L;
    text_clear(&driver->out);
    text_add(&driver->out, text);
    text_add(&driver->out, driver->ending);
    text_clear(&driver->sent);
    text_add(&driver->sent, text);
    text_clear(&driver->came);
}

/* Raises unless the reply is an answer; notes what came. */
static const struct link_reply *take_reply(lua_State *L)
{
    struct lua_driver *driver = driver_of(L);
    const struct link_reply *reply = driver->reply;
    const char *todo = "", *why = reply_trouble(reply->status, &todo);
    if (why)
        guest_fail(L, todo, "%s", why);
    text_clear(&driver->came);
    text_add_bytes(&driver->came, reply->bytes, reply->length);
    return reply;
}

static int push_answer(lua_State *L, int status, lua_KContext context)
{
    (void)status, (void)context;
    const struct link_reply *reply = take_reply(L);
    lua_pushlstring(L, reply->bytes, reply->length);
    return 1;
}

static int nothing(lua_State *L, int status, lua_KContext context)
{
    (void)status, (void)context;
    if (driver_of(L)->reply)
        take_reply(L);
    return 0;
}

static double patience_at(lua_State *L, int index)
{
    double seconds = luaL_optnumber(L, index, 0);
    if (!(seconds >= 0 && seconds <= WAIT_MOST))
        guest_fail(L, "give seconds", "a patience of %f s is not within 0 to %g s", seconds,
                   WAIT_MOST);
    return seconds;
}

static int word_ask(lua_State *L)
{
    put_out(L, check_line(L, "ask"));
    return yield(L, DRIVER_ASK, patience_at(L, 3), push_answer);
}

static int word_block(lua_State *L)
{
    put_out(L, check_line(L, "block"));
    return yield(L, DRIVER_ASK_BLOCK, patience_at(L, 3), push_answer);
}

static int word_tell(lua_State *L)
{
    put_out(L, check_line(L, "tell"));
    return yield(L, DRIVER_TELL, 0, nothing);
}

static int word_wait(lua_State *L)
{
    check_running(L, "wait");
    double seconds = lua_tonumber(L, 2);
    if (lua_type(L, 2) != LUA_TNUMBER || !(seconds >= 0 && seconds <= WAIT_MOST))
        return guest_fail(L, "write self:wait(0.1)", "'wait' wants 0 to %g seconds", WAIT_MOST);
    return yield(L, DRIVER_WAIT, seconds, nothing);
}

/* --- the error queue ------------------------------------------------------------------------- */

static int ask_error(lua_State *L, lua_KContext count);

/* Stack: self, question, the errors found as one text, whether to raise them. Asks until the queue
 * is empty. The context counts. */
static int next_error(lua_State *L, int status, lua_KContext count)
{
    struct scpi_trouble trouble;
    (void)status;
    const struct link_reply *reply = take_reply(L);
    if (!scpi_trouble(reply->bytes, reply->length, &trouble))
        return guest_fail(L, "see how this instrument reports errors",
                          "the answer is no error message");
    if (trouble.code != 0) {
        bool first = lua_rawlen(L, 3) == 0;
        lua_pushfstring(L, "%s%s%d \"%s\"", lua_tostring(L, 3), first ? "" : ", ", trouble.code,
                        trouble.text);
        lua_replace(L, 3);
        if (++count < ERRORS_MOST)
            return ask_error(L, count);
    }
    if (lua_toboolean(L, 4) && lua_rawlen(L, 3) > 0)
        return guest_fail(L, "see its manual for what it takes and in which state",
                          "it reported %s", lua_tostring(L, 3));
    lua_settop(L, 3);
    return 1;
}

/* Not noted as sent: a message should show what the errors are about. */
static int ask_error(lua_State *L, lua_KContext count)
{
    struct lua_driver *driver = driver_of(L);
    text_clear(&driver->out);
    text_add(&driver->out, lua_tostring(L, 2));
    text_add(&driver->out, driver->ending);
    *driver->call = (struct driver_call){DRIVER_ASK, driver->out.bytes, driver->out.length, 0};
    return lua_yieldk(L, 0, count, next_error);
}

static int ask_errors(lua_State *L, const char *word, bool raise)
{
    check_running(L, word);
    if (lua_isnoneornil(L, 2)) {
        lua_settop(L, 1);
        lua_pushliteral(L, "SYST:ERR?");
    }
    check_line(L, word);
    lua_settop(L, 2);
    lua_pushliteral(L, "");
    lua_pushboolean(L, raise);
    return ask_error(L, 0);
}

/* self:errors([question]): the instrument's errors as a text, oldest first, "" when there are none;
 * its queue is empty then. */
static int word_errors(lua_State *L)
{
    return ask_errors(L, "errors", false);
}

/* self:check([question]): the same, but the task fails when there are any. */
static int word_check(lua_State *L)
{
    return ask_errors(L, "check", true);
}

/* --- reading answers ------------------------------------------------------------------------- */

static const char *check_text(lua_State *L, const char *word, size_t *length)
{
    if (lua_type(L, 1) != LUA_TSTRING)
        guest_fail(L, "give it an answer", "'%s' wants a text, not a %s", word,
                   luaL_typename(L, 1));
    return lua_tolstring(L, 1, length);
}

/* number(text): NR1, NR2 or NR3 and nothing else. */
static int word_number(lua_State *L)
{
    size_t length;
    double value = NAN;
    char quoted[60];
    const char *text = check_text(L, "number", &length);
    enum scpi_number kind = scpi_number(text, length, &value);
    if (kind == SCPI_NUMBER) {
        lua_pushnumber(L, value);
        return 1;
    }
    if (kind != SCPI_MALFORMED) {
        const char *todo = "", *why = number_trouble(kind, &todo);
        return guest_fail(L, todo, "%s", why);
    }
    return guest_fail(L, "see its manual for what it answers", "%s is no number",
                      string_quote(text, quoted, sizeof quoted));
}

static int word_boolean(lua_State *L)
{
    size_t length;
    bool value = false;
    char quoted[60];
    const char *text = check_text(L, "boolean", &length);
    if (!scpi_boolean(text, length, &value))
        return guest_fail(L, "see its manual for what it answers", "%s is none of 0, 1, OFF, ON",
                          string_quote(text, quoted, sizeof quoted));
    lua_pushboolean(L, value);
    return 1;
}

/* fields(text): the items of a comma list; fields(text, n) raises unless there are n. */
static int word_fields(lua_State *L)
{
    size_t length, at = 0, item_length;
    const char *text = check_text(L, "fields", &length), *item;
    lua_Integer wanted = luaL_optinteger(L, 2, 0), count = 0;
    lua_newtable(L);
    while (scpi_item(text, length, &at, &item, &item_length)) {
        lua_pushlstring(L, item, item_length);
        lua_rawseti(L, -2, ++count);
    }
    if (wanted && count != wanted)
        return guest_fail(L, "see its manual for what it answers", "%d fields came and not %d",
                          (int)count, (int)wanted);
    return 1;
}

/* unquote(text): what is inside "..." or '...'. */
static int word_unquote(lua_State *L)
{
    size_t length;
    char out[LINE_MOST];
    const char *text = check_text(L, "unquote", &length);
    if (!scpi_string(text, length, out, sizeof out))
        return guest_fail(L, "see its manual for what it answers",
                          "the answer is no text in quotes");
    lua_pushstring(L, out);
    return 1;
}

/* identity(text): the answer to *IDN? as { maker, model, serial, firmware }. */
static int word_identity(lua_State *L)
{
    size_t length;
    struct scpi_identity identity;
    char quoted[60];
    const char *text = check_text(L, "identity", &length);
    if (!scpi_identity(text, length, &identity))
        return guest_fail(L, "see that this is the right port and speed",
                          "%s is no identity of four fields",
                          string_quote(text, quoted, sizeof quoted));
    lua_createtable(L, 0, 4);
    lua_pushstring(L, identity.maker);
    lua_setfield(L, -2, "maker");
    lua_pushstring(L, identity.model);
    lua_setfield(L, -2, "model");
    lua_pushstring(L, identity.serial);
    lua_setfield(L, -2, "serial");
    lua_pushstring(L, identity.firmware);
    lua_setfield(L, -2, "firmware");
    return 1;
}

/* --- writing --------------------------------------------------------------------------------- */

static double check_number(lua_State *L, const char *word)
{
    if (lua_type(L, 1) != LUA_TNUMBER || !isfinite(lua_tonumber(L, 1)))
        guest_fail(L, "give it a number", "'%s' wants a finite number", word);
    return lua_tonumber(L, 1);
}

/* Frees the text, a line at most: before it is pushed, which may raise. */
static int push_written(lua_State *L, struct text *text)
{
    char line[LINE_MOST];
    string_copy(line, sizeof line, text->bytes);
    text_free(text);
    lua_pushstring(L, line);
    return 1;
}

/* nr3(x): with exponent, the fewest digits that read back the same. */
static int word_nr3(lua_State *L)
{
    struct text text = TEXT_EMPTY;
    scpi_add_number(&text, check_number(L, "nr3"));
    return push_written(L, &text);
}

/* quote(text): in double quotes, those inside it doubled. */
static int word_quote(lua_State *L)
{
    size_t length;
    struct text text = TEXT_EMPTY;
    const char *plain = check_text(L, "quote", &length);
    if (length > LINE_MOST / 2 - 2 || strlen(plain) < length)
        return guest_fail(L, "send less of it", "'quote' cannot write that");
    scpi_add_string(&text, plain);
    return push_written(L, &text);
}

/* fixed(x, digits): without exponent, for instruments that know none. */
static int word_fixed(lua_State *L)
{
    double value = check_number(L, "fixed");
    lua_Integer digits = luaL_checkinteger(L, 2);
    char buffer[64];
    if (digits < 0 || digits > 9 || fabs(value) >= 1e15)
        return guest_fail(L, "give 0 to 9 digits", "'fixed' cannot write that");
    snprintf(buffer, sizeof buffer, "%.*f", (int)digits, value);
    lua_pushstring(L, buffer);
    return 1;
}

/* fail(reason [, what to do]): ends the task. */
static int word_fail(lua_State *L)
{
    return guest_fail(L, luaL_optstring(L, 2, "see the instrument's manual"), "%s",
                      luaL_checkstring(L, 1));
}

/* --- tables ---------------------------------------------------------------------------------- */

void driver_words_open(lua_State *L)
{
    static const luaL_Reg words[] = {
        {"boolean", word_boolean},
        {"driver", word_driver},
        {"fail", word_fail},
        {"fields", word_fields},
        {"fixed", word_fixed},
        {"identity", word_identity},
        {"nr3", word_nr3},
        {"number", word_number},
        {"quote", word_quote},
        {"unquote", word_unquote},
        {NULL, NULL},
    };
    lua_pushglobaltable(L);
    luaL_setfuncs(L, words, 0);
    lua_pop(L, 1);
}

void driver_methods_push(lua_State *L)
{
    static const luaL_Reg methods[] = {
        {"ask", word_ask},   {"block", word_block}, {"check", word_check}, {"errors", word_errors},
        {"tell", word_tell}, {"wait", word_wait},   {NULL, NULL},
    };
    luaL_newlib(L, methods);
}
