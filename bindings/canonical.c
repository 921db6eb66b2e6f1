/* Canonical JSON, out and in. */
#include "bindings/canonical.h"

#include <ctype.h>
#include <lauxlib.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "bindings/sandbox.h"

/* --- out -------------------------------------------------------------------------------------- */

static void write_value(lua_State *L, int index, struct text *out, const char *what, int level);

static void write_integer(struct text *out, lua_Integer integer)
{
    char digits[24];
    char *at = digits + sizeof digits;
    lua_Unsigned left = integer < 0 ? 0 - (lua_Unsigned)integer : (lua_Unsigned)integer;
    do
        *--at = (char)('0' + left % 10);
    while (left /= 10);
    if (integer < 0)
        *--at = '-';
    text_add_bytes(out, at, (size_t)(digits + sizeof digits - at));
}

/* A whole float keeps its point, so that it comes back as a float. */
static void write_float(struct text *out, double number)
{
    if (number == floor(number) && fabs(number) < 1e15) {
        write_integer(out, (lua_Integer)number);
        text_add_bytes(out, ".0", 2);
        return;
    }
    size_t before = out->length;
    text_add_number(out, number);
    if (!strpbrk(out->bytes + before, ".eE"))
        text_add_bytes(out, ".0", 2);
}

static void write_array(lua_State *L, int index, lua_Integer n, struct text *out, const char *what,
                        int level)
{
    text_add_bytes(out, "[", 1);
    for (lua_Integer i = 1; i <= n; i++) {
        if (i > 1)
            text_add_bytes(out, ",", 1);
        lua_rawgeti(L, index, i);
        write_value(L, lua_gettop(L), out, what, level);
        lua_pop(L, 1);
    }
    text_add_bytes(out, "]", 1);
}

struct name {
    const char *bytes; /* anchored by the table */
    size_t length;
};

static int compare_names(const void *left, const void *right)
{
    const struct name *a = left, *b = right;
    size_t shorter = a->length < b->length ? a->length : b->length;
    int order = memcmp(a->bytes, b->bytes, shorter);
    return order ? order : (a->length > b->length) - (a->length < b->length);
}

static void write_object(lua_State *L, int index, size_t count, struct text *out, const char *what,
                         int level)
{
    struct name few[16];
    struct name *names = few;
    int top = lua_gettop(L);
    if (count > sizeof few / sizeof *few)
        names = lua_newuserdatauv(L, count * sizeof *names, 0);
    size_t n = 0;
    for (lua_pushnil(L); lua_next(L, index); lua_pop(L, 1)) {
        names[n].bytes = lua_tolstring(L, -2, &names[n].length);
        n++;
    }
    qsort(names, n, sizeof *names, compare_names);
    text_add_bytes(out, "{", 1);
    for (size_t i = 0; i < n; i++) {
        if (i)
            text_add_bytes(out, ",", 1);
        text_add_json_string(out, names[i].bytes, names[i].length);
        text_add_bytes(out, ":", 1);
        lua_pushlstring(L, names[i].bytes, names[i].length);
        lua_rawget(L, index);
        write_value(L, lua_gettop(L), out, what, level);
        lua_pop(L, 1);
    }
    text_add_bytes(out, "}", 1);
    lua_settop(L, top);
}

static void write_table(lua_State *L, int index, struct text *out, const char *what, int level)
{
    if (level >= CANONICAL_DEPTH_MOST)
        guest_fail(L, "keep plain data, without tables that hold themselves",
                   "%s goes deeper than %d levels", what, CANONICAL_DEPTH_MOST);
    luaL_checkstack(L, 6, NULL);
    size_t texts = 0, numbers = 0;
    for (lua_pushnil(L); lua_next(L, index); lua_pop(L, 1)) {
        if (lua_type(L, -2) == LUA_TSTRING)
            texts++;
        else if (lua_isinteger(L, -2))
            numbers++;
        else
            guest_fail(L, "use text as keys", "%s has a %s as a key", what, luaL_typename(L, -2));
    }
    guest_charge(L, 4 * (texts + numbers));
    if (numbers && !texts && lua_rawlen(L, index) == numbers)
        write_array(L, index, (lua_Integer)numbers, out, what, level + 1);
    else if (!numbers)
        write_object(L, index, texts, out, what, level + 1);
    else
        guest_fail(L, "use text as keys, or 1 to n without holes",
                   "%s has a table that is neither a list nor named fields", what);
}

static void write_value(lua_State *L, int index, struct text *out, const char *what, int level)
{
    if (out->length > CANONICAL_BYTES_MOST)
        guest_fail(L, "keep less", "%s is larger than %u kB", what, CANONICAL_BYTES_MOST >> 10);
    switch (lua_type(L, index)) {
    case LUA_TNIL: text_add(out, "null"); break;
    case LUA_TBOOLEAN: text_add(out, lua_toboolean(L, index) ? "true" : "false"); break;
    case LUA_TNUMBER:
        if (lua_isinteger(L, index))
            write_integer(out, lua_tointeger(L, index));
        else if (isfinite(lua_tonumber(L, index)))
            write_float(out, lua_tonumber(L, index));
        else
            guest_fail(L, "check the calculation", "%s holds a number that is not finite", what);
        break;
    case LUA_TSTRING: {
        size_t length;
        const char *bytes = lua_tolstring(L, index, &length);
        text_add_json_string(out, bytes, length);
        break;
    }
    case LUA_TFUNCTION: text_add(out, "{\"function\":true}"); break;
    case LUA_TTABLE: write_table(L, index, out, what, level); break;
    default: guest_fail(L, "keep plain data", "%s holds a %s", what, luaL_typename(L, index));
    }
}

void canonical_write(lua_State *L, int index, struct text *out, const char *what)
{
    write_value(L, lua_absindex(L, index), out, what, 0);
}

/* --- in --------------------------------------------------------------------------------------- */

struct reader {
    lua_State *L;
    const char *at;
    int level;
};

static void read_value(struct reader *in);

static void malformed(struct reader *in)
{
    guest_fail(in->L, "check the logbook with audit", "a stored value is not JSON near \"%.20s\"",
               in->at);
}

static void skip_space(struct reader *in)
{
    while (*in->at == ' ' || *in->at == '\n' || *in->at == '\t' || *in->at == '\r')
        in->at++;
}

static unsigned read_hex4(struct reader *in)
{
    unsigned code = 0;
    for (int i = 0; i < 4; i++) {
        int c = (unsigned char)*in->at;
        if (!isxdigit(c)) {
            malformed(in);
            return 0;
        }
        code = code * 16 + (unsigned)(isdigit(c) ? c - '0' : tolower(c) - 'a' + 10);
        in->at++;
    }
    return code;
}

static void add_utf8(luaL_Buffer *out, unsigned code)
{
    if (code < 0x80) {
        luaL_addchar(out, (char)code);
        return;
    }
    if (code < 0x800) {
        luaL_addchar(out, (char)(0xc0 | code >> 6));
    } else {
        if (code < 0x10000) {
            luaL_addchar(out, (char)(0xe0 | code >> 12));
        } else {
            luaL_addchar(out, (char)(0xf0 | code >> 18));
            luaL_addchar(out, (char)(0x80 | (code >> 12 & 0x3f)));
        }
        luaL_addchar(out, (char)(0x80 | (code >> 6 & 0x3f)));
    }
    luaL_addchar(out, (char)(0x80 | (code & 0x3f)));
}

static void read_escape(struct reader *in, luaL_Buffer *out)
{
    static const char from[] = "\"\\/bfnrt", to[] = "\"\\/\b\f\n\r\t";
    char c = *in->at;
    if (c == 'u') {
        in->at++;
        unsigned code = read_hex4(in);
        if (code >= 0xd800 && code < 0xdc00 && in->at[0] == '\\' && in->at[1] == 'u') {
            in->at += 2;
            unsigned low = read_hex4(in);
            if (low >= 0xdc00 && low < 0xe000)
                code = 0x10000 + ((code - 0xd800) << 10) + (low - 0xdc00);
        }
        add_utf8(out, code);
        return;
    }
    const char *found = c ? strchr(from, c) : NULL;
    if (!found) {
        malformed(in);
        return;
    }
    luaL_addchar(out, to[found - from]);
    in->at++;
}

static void read_string(struct reader *in)
{
    const char *begin = ++in->at;
    size_t plain = strcspn(begin, "\"\\");
    if (begin[plain] == '"') { /* nearly always */
        lua_pushlstring(in->L, begin, plain);
        in->at = begin + plain + 1;
        return;
    }
    luaL_Buffer out;
    luaL_buffinit(in->L, &out);
    while (*in->at != '"') {
        if (!*in->at) {
            malformed(in);
            return;
        }
        if (*in->at == '\\') {
            in->at++;
            read_escape(in, &out);
        } else {
            luaL_addchar(&out, *in->at++);
        }
    }
    in->at++;
    luaL_pushresult(&out);
}

static void read_number(struct reader *in)
{
    const char *at = in->at;
    bool negative = *at == '-';
    at += negative;
    lua_Unsigned whole = 0;
    int digits = 0;
    for (; isdigit((unsigned char)*at); at++, digits++)
        whole = whole * 10 + (lua_Unsigned)(*at - '0');
    if (digits && digits <= 18 && *at != '.' && *at != 'e' && *at != 'E') {
        in->at = at;
        lua_pushinteger(in->L, negative ? -(lua_Integer)whole : (lua_Integer)whole);
        return;
    }
    size_t length = strspn(in->at, "+-0123456789.eE");
    char copy[64];
    if (!digits || length >= sizeof copy) {
        malformed(in);
        return;
    }
    memcpy(copy, in->at, length);
    copy[length] = '\0';
    if (!strpbrk(copy, ".eE") && lua_stringtonumber(in->L, copy)) {
        in->at += length; /* 19 digits: an integer when it fits */
        return;
    }
    char *end;
    double number = strtod(copy, &end);
    if (*end) {
        malformed(in);
        return;
    }
    in->at += length;
    lua_pushnumber(in->L, number);
}

static void read_array(struct reader *in)
{
    lua_newtable(in->L);
    in->at++;
    skip_space(in);
    if (*in->at == ']') {
        in->at++;
        return;
    }
    for (lua_Integer i = 1;; i++) {
        read_value(in);
        lua_rawseti(in->L, -2, i);
        skip_space(in);
        char c = *in->at++;
        if (c == ']')
            return;
        if (c != ',') {
            in->at--;
            malformed(in);
            return;
        }
    }
}

static void read_object(struct reader *in)
{
    lua_createtable(in->L, 0, 4);
    in->at++;
    skip_space(in);
    if (*in->at == '}') {
        in->at++;
        return;
    }
    for (;;) {
        skip_space(in);
        if (*in->at != '"') {
            malformed(in);
            return;
        }
        read_string(in);
        skip_space(in);
        if (*in->at != ':') {
            malformed(in);
            return;
        }
        in->at++;
        read_value(in);
        lua_rawset(in->L, -3);
        skip_space(in);
        char c = *in->at++;
        if (c == '}')
            return;
        if (c != ',') {
            in->at--;
            malformed(in);
            return;
        }
    }
}

static bool read_word(struct reader *in, const char *word)
{
    size_t length = strlen(word);
    if (strncmp(in->at, word, length) != 0)
        return false;
    in->at += length;
    return true;
}

static void read_value(struct reader *in)
{
    luaL_checkstack(in->L, 6, NULL);
    skip_space(in);
    if (++in->level > 2 * CANONICAL_DEPTH_MOST)
        malformed(in);
    switch (*in->at) {
    case '"': read_string(in); break;
    case '[': read_array(in); break;
    case '{': read_object(in); break;
    default:
        if (read_word(in, "true"))
            lua_pushboolean(in->L, 1);
        else if (read_word(in, "false"))
            lua_pushboolean(in->L, 0);
        else if (read_word(in, "null"))
            lua_pushnil(in->L);
        else
            read_number(in);
    }
    in->level--;
}

void canonical_read(lua_State *L, const char *json)
{
    struct reader in = {L, json, 0};
    read_value(&in);
    skip_space(&in);
    if (*in.at)
        malformed(&in);
}
