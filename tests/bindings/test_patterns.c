/* Pattern matching against the language's own library, which is the reference: the same results for
 * the same questions, chosen and drawn at random. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>
#include <lauxlib.h>
#include <lualib.h>

#include "base/random.h"
#include "base/text.h"
#include "bindings/patterns.h"
#include "bindings/sandbox.h"

/* Whether the stock library may be asked this: it counts no work, so only short questions. */
#define LONGEST 12

/* Calls string.NAME of the library at `library` with the texts given; the results as one text. */
static void call(lua_State *L, int library, const char *name, const char *const *arguments,
                 int count, struct text *out)
{
    int top = lua_gettop(L);
    text_clear(out);
    lua_getfield(L, library, name);
    for (int i = 0; i < count; i++)
        lua_pushstring(L, arguments[i]);
    int status = lua_pcall(L, count, LUA_MULTRET, 0);
    text_addf(out, "%d", status);
    int last = lua_gettop(L);
    for (int i = top + 1; i <= last; i++)
        text_addf(out, "|%s", luaL_tolstring(L, i, NULL));
    lua_settop(L, top);
}

/* Everything that gmatch gives, as one text. */
static void walk(lua_State *L, int library, const char *subject, const char *pattern,
                 struct text *out)
{
    int top = lua_gettop(L);
    text_clear(out);
    lua_getfield(L, library, "gmatch");
    lua_pushstring(L, subject);
    lua_pushstring(L, pattern);
    int status = lua_pcall(L, 2, 1, 0);
    for (int turns = 0; status == LUA_OK && turns < 100; turns++) {
        lua_pushvalue(L, top + 1);
        status = lua_pcall(L, 0, LUA_MULTRET, 0);
        int results = lua_gettop(L) - top - 1;
        if (status != LUA_OK || results == 0 || lua_isnil(L, top + 2))
            break;
        for (int i = 0; i < results; i++) {
            text_addf(out, "|%s", luaL_tolstring(L, top + 2 + i, NULL));
            lua_pop(L, 1);
        }
        text_add(out, ";");
        lua_settop(L, top + 1);
    }
    text_addf(out, "%d", status);
    if (status != LUA_OK)
        text_addf(out, "|%s", lua_tostring(L, -1));
    lua_settop(L, top);
}

struct pair {
    struct text ours, stock;
};

/* Index 1: our functions, index 2: the stock ones. */
static void compare(lua_State *L, struct pair *pair, const char *name, const char *subject,
                    const char *pattern, const char *third)
{
    const char *arguments[] = {subject, pattern, third};
    int count = third ? 3 : 2;
    call(L, 1, name, arguments, count, &pair->ours);
    call(L, 2, name, arguments, count, &pair->stock);
    if (strcmp(pair->ours.bytes, pair->stock.bytes) != 0)
        fail_msg("%s(\"%s\", \"%s\", %s): %s and not %s", name, subject, pattern,
                 third ? third : "-", pair->ours.bytes, pair->stock.bytes);
}

static void compare_all(lua_State *L, struct pair *pair, const char *subject, const char *pattern)
{
    compare(L, pair, "find", subject, pattern, NULL);
    compare(L, pair, "find", subject, pattern, "3");
    compare(L, pair, "find", subject, pattern, "-2");
    compare(L, pair, "match", subject, pattern, NULL);
    compare(L, pair, "match", subject, pattern, "2");
    compare(L, pair, "gsub", subject, pattern, "<%0>");
    compare(L, pair, "gsub", subject, pattern, "%1.");
    walk(L, 1, subject, pattern, &pair->ours);
    walk(L, 2, subject, pattern, &pair->stock);
    if (strcmp(pair->ours.bytes, pair->stock.bytes) != 0)
        fail_msg("gmatch(\"%s\", \"%s\"): %s and not %s", subject, pattern, pair->ours.bytes,
                 pair->stock.bytes);
}

static int check_chosen(lua_State *L)
{
    static const char *const subjects[] = {
        "",         "a",          "hello world", "  key = value  ", "f(a(b)c)d",
        "x=1, y=2", "%d [x] ^ $", "aaa",         "THE (quick) fox", "2026-03-02",
        "-5 mV",    "a.b.c",      "]]",          "\n\t ",
    };
    static const char *const patterns[] = {
        "",
        "a",
        "a*",
        "a+",
        "a-",
        "a?",
        ".",
        ".*",
        ".-",
        "^a",
        "a$",
        "^$",
        "^",
        "$",
        "%a+",
        "%w+",
        "%s*(%w+)%s*=%s*(%w+)",
        "(%d+)-(%d+)-(%d+)",
        "%b()",
        "%f[%w]%w+",
        "%f[%a]",
        "()",
        "(.)(.)",
        "(.)%1",
        "(a*(.)%w(%s*))",
        "[abc]",
        "[^abc]",
        "[a-c]",
        "[]]",
        "[^]]",
        "[%a_]",
        "[a-]",
        "[%]x]",
        "%%",
        "%.",
        "%u",
        "%U+",
        "%x+",
        "%g+",
        "%p",
        "%c",
        "%S+",
        "([-+]?%d+)%s*(%a+)",
        "a-$",
        "(a-)b",
        "((a)(b))",
        "[a",
        "%",
        "(a",
        "a)",
        "%1",
        "%b",
        "%bx",
        "%f",
        "%fa",
        "(()",
        "[]",
        "[^",
        "[%",
        "[%]",
        "[a-%",
        "%g%",
        "x$y",
        "$a",
        "a^b",
        "*a",
        "+",
        "-",
        "?",
    };
    struct pair pair = {TEXT_EMPTY, TEXT_EMPTY};
    for (size_t s = 0; s < sizeof subjects / sizeof *subjects; s++)
        for (size_t p = 0; p < sizeof patterns / sizeof *patterns; p++)
            compare_all(L, &pair, subjects[s], patterns[p]);
    text_free(&pair.ours);
    text_free(&pair.stock);
    return 0;
}

static void draw(struct random *random, const char *letters, char *out, int most)
{
    int length = (int)random_range(random, 0, most);
    for (int i = 0; i < length; i++)
        out[i] = letters[random_range(random, 0, (int64_t)strlen(letters) - 1)];
    out[length] = '\0';
}

static int check_drawn(lua_State *L)
{
    struct random random;
    struct pair pair = {TEXT_EMPTY, TEXT_EMPTY};
    random_seed(&random, 7);
    for (int i = 0; i < 20000; i++) {
        char subject[LONGEST + 1], pattern[LONGEST + 1];
        draw(&random, "aab( )1-.", subject, LONGEST);
        draw(&random, "aab().%%*+-?[]^$1dwfb", pattern, i % 2 ? 6 : LONGEST);
        compare_all(L, &pair, subject, pattern);
    }
    text_free(&pair.ours);
    text_free(&pair.stock);
    return 0;
}

static int check_replacements(lua_State *L)
{
    static const char chunk[] =
        "local ours, stock = ...\n"
        "for _, s in ipairs { ours, stock } do\n"
        "  assert(s.gsub('hello world', '%w+', string.upper) == 'HELLO WORLD')\n"
        "  assert(s.gsub('a b c', '%w', { a = '1', b = true and 2, c = false }) == '1 2 c')\n"
        "  assert(s.gsub('abc', '', '-') == '-a-b-c-')\n"
        "  assert(s.gsub('abc', '%w', '%%%0') == '%a%b%c')\n"
        "  assert(s.gsub('abc', 'b', function() end) == 'abc')\n"
        "  assert(select(2, s.gsub('aaaa', 'a', 'b', 2)) == 2)\n"
        "  assert(s.gsub('aaaa', 'a', 'b', 2) == 'bbaa')\n"
        "  assert(s.gsub('abc', '()', '%1') == '1a2b3c4')\n"
        "  assert(not pcall(s.gsub, 'a', 'a', '%'))\n"
        "  assert(not pcall(s.gsub, 'a', 'a', '%x'))\n"
        "  assert(not pcall(s.gsub, 'a', 'a', function() return {} end))\n"
        "  assert(not pcall(s.gsub, 'a', 'a', true))\n"
        "  assert(s.find('a.b', '.', 1, true) == 2)\n"
        "  assert(s.find('a\\0b', '\\0') == 2 and s.find('a\\0b', '\\0?b') == 2)\n"
        "  assert(s.find('abc', '', 10) == nil and s.find('abc', '', 4) == 4)\n"
        "  local n = 0 for k, v in s.gmatch('a=1, b=2', '(%w)=(%w)') do n = n + v end\n"
        "  assert(n == 3)\n"
        "  n = 0 for k in s.gmatch('abcabc', 'b', 3) do n = n + 1 end assert(n == 1)\n"
        "end\n";
    if (luaL_loadstring(L, chunk) != LUA_OK)
        return lua_error(L);
    lua_pushvalue(L, 1);
    lua_pushvalue(L, 2);
    lua_call(L, 2, 0);
    return 0;
}

/* The check that `run` does next, with the two libraries at 1 and 2. */
static lua_CFunction check;

static int run(lua_State *L)
{
    lua_settop(L, 0);
    lua_newtable(L);
    patterns_open(L);
    luaopen_string(L);
    lua_pushcfunction(L, check);
    lua_insert(L, 1);
    lua_pushvalue(L, 3);
    lua_setglobal(L, "string");
    lua_pushglobaltable(L);
    luaL_requiref(L, "_G", luaopen_base, 1);
    lua_settop(L, 3);
    lua_call(L, 2, 0);
    return 0;
}

static void run_check(lua_CFunction function)
{
    struct guest *guest;
    struct error error;
    assert_int_equal(guest_open(&guest, 1, NULL, &error), 0);
    check = function;
    if (guest_call(guest, run, NULL, 2000000000, &error))
        fail_msg("%s: %s", error.what, error.why);
    guest_close(guest);
}

static void test_chosen(void **state)
{
    (void)state;
    run_check(check_chosen);
}

static void test_drawn(void **state)
{
    (void)state;
    run_check(check_drawn);
}

static void test_replacements(void **state)
{
    (void)state;
    run_check(check_replacements);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_chosen),
        cmocka_unit_test(test_drawn),
        cmocka_unit_test(test_replacements),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
