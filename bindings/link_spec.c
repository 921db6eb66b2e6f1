/* Links as a bench file names them. */
#include "bindings/link_spec.h"

#include <lauxlib.h>
#include <math.h>
#include <string.h>

#include "base/text.h"
#include "bindings/fields.h"
#include "bindings/keys.h"
#include "bindings/sandbox.h"

#define TYPE_NAME "perdure.link"

/* Doubles of their own, put into the spec afterwards. */
struct numbers {
    double speed, bits, stop_bits, patience, quiet;
};

#define NUMBER(field) offsetof(struct numbers, field)

static const struct key common_keys[] = {
    {"patience", FORM_QUANTITY, DIM_TIME, NUMBER(patience)},
    {"quiet", FORM_QUANTITY, DIM_TIME, NUMBER(quiet)},
    {NULL, FORM_PLAIN, DIM_NUMBER, 0},
};

static const struct key serial_keys[] = {
    {"speed", FORM_PLAIN, DIM_NUMBER, NUMBER(speed)},
    {"bits", FORM_PLAIN, DIM_NUMBER, NUMBER(bits)},
    {"stop_bits", FORM_PLAIN, DIM_NUMBER, NUMBER(stop_bits)},
    {NULL, FORM_PLAIN, DIM_NUMBER, 0},
};

static const char *const parities[] = {"none", "even", "odd", NULL};
static const char *const flows[] = {"none", "rts_cts", "xon_xoff", NULL};

static int choice(lua_State *L, int table, const char *what, const char *name,
                  const char *const *choices)
{
    const char *text = field_text(L, table, what, name);
    if (!text)
        return 0;
    for (int i = 0; choices[i]; i++)
        if (strcmp(choices[i], text) == 0)
            return i;
    return fields_unknown(L, name, text, choices);
}

static int whole(lua_State *L, const char *name, double value)
{
    if (!(value >= 0 && value <= 1e8 && value == floor(value)))
        guest_fail(L, "give a whole number", "%s is no whole number", name);
    return (int)value;
}

static void read_options(lua_State *L, int table, const char *what, struct link_words *words)
{
    const bool serial = words->spec.kind == LINK_SERIAL;
    const char *names[KEYS_MOST];
    const char **end = keys_add_names(names, common_keys);
    *end++ = "terminator";
    if (serial) {
        end = keys_add_names(end, serial_keys);
        *end++ = "parity";
        *end++ = "flow";
    }
    *end = NULL;
    if (lua_isnoneornil(L, table))
        return;
    if (!lua_istable(L, table))
        guest_fail(L, "put them in braces", "the options of %s are a %s", what,
                   luaL_typename(L, table));
    fields_check(L, table, what, names);
    struct numbers numbers = {0};
    keys_read(L, table, common_keys, &numbers, what);
    words->spec.patience = numbers.patience;
    words->spec.quiet = numbers.quiet;
    const char *terminator = field_text(L, table, what, "terminator");
    if (terminator && (strlen(terminator) < 1 || strlen(terminator) > 2))
        guest_fail(L, "write terminator = \"\\r\\n\", say", "the terminator has not 1 or 2 bytes");
    string_copy(words->terminator, sizeof words->terminator, terminator ? terminator : "");
    if (!serial)
        return;
    keys_read(L, table, serial_keys, &numbers, what);
    words->spec.speed = whole(L, "speed", numbers.speed);
    words->spec.bits = whole(L, "bits", numbers.bits);
    words->spec.stop_bits = whole(L, "stop_bits", numbers.stop_bits);
    words->spec.parity = (enum link_parity)choice(L, table, what, "parity", parities);
    words->spec.flow = (enum link_flow)choice(L, table, what, "flow", flows);
}

/* Upvalue: the kind. Arguments: path or host, a port with tcp, options. */
static int word_link(lua_State *L)
{
    static const char *const whats[] = {
        [LINK_SERIAL] = "serial", [LINK_TCP] = "tcp", [LINK_USBTMC] = "usbtmc", [LINK_PTY] = "pty"};
    struct link_words words = {.spec.kind = (enum link_kind)lua_tointeger(L, lua_upvalueindex(1))};
    const char *what = whats[words.spec.kind];
    lua_settop(L, 3);
    size_t length = 0;
    const char *path = lua_type(L, 1) == LUA_TSTRING ? lua_tolstring(L, 1, &length) : "";
    if (length == 0 || length >= sizeof words.path)
        return guest_fail(L, "", "%s wants a %s in quotes, of 1 to %d characters", what,
                          words.spec.kind == LINK_TCP ? "host" : "path",
                          (int)sizeof words.path - 1);
    string_copy(words.path, sizeof words.path, path);
    int options = 2;
    if (words.spec.kind == LINK_TCP && lua_type(L, 2) == LUA_TNUMBER) {
        int isint;
        lua_Integer port = lua_tointegerx(L, 2, &isint);
        if (!isint || port < 1 || port > 65535)
            return guest_fail(L, "give a port from 1 to 65535", "tcp: that is no port");
        words.spec.port = (int)port;
        options = 3;
    }
    if (options == 2 && !lua_isnil(L, 3))
        return guest_fail(L, "see docs/bench.md", "%s has too many arguments", what);
    read_options(L, options, what, &words);

    struct link_words *kept = lua_newuserdatauv(L, sizeof *kept, 0);
    *kept = words;
    if (luaL_newmetatable(L, TYPE_NAME)) {
        lua_pushboolean(L, 0);
        lua_setfield(L, -2, "__metatable");
    }
    lua_setmetatable(L, -2);
    return 1;
}

struct link_spec link_words_spec(const struct link_words *words)
{
    struct link_spec spec = words->spec;
    spec.path = words->path;
    spec.terminator = words->terminator[0] ? words->terminator : NULL;
    return spec;
}

void link_words_open(lua_State *L)
{
    static const struct {
        const char *name;
        enum link_kind kind;
    } words[] = {
        {"serial", LINK_SERIAL}, {"tcp", LINK_TCP}, {"usbtmc", LINK_USBTMC}, {"pty", LINK_PTY}};
    for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
        lua_pushinteger(L, words[i].kind);
        lua_pushcclosure(L, word_link, 1);
        lua_setglobal(L, words[i].name);
    }
}

const struct link_words *link_words_at(lua_State *L, int index)
{
    return luaL_testudata(L, index, TYPE_NAME);
}
