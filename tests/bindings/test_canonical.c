/* Canonical JSON: one text for one value, the same value back, and what has no text refused. */
#include "bindings/drive.h"

#include <jansson.h>
#include <lauxlib.h>

#include "bindings/canonical.h"
#include "bindings/sandbox.h"

/* In a guest: compiles `return VALUE`, writes it; or reads JSON and writes that. */
struct job {
    const char *source, *json;
    struct text out;
    int type; /* of what was read: a Lua type; integers as -1 */
    double ms;
    int times;
};

static int write_job(lua_State *L)
{
    struct job *job = lua_touserdata(L, 1);
    guest_load(L, "value", job->source, strlen(job->source));
    lua_call(L, 0, 1);
    text_clear(&job->out);
    canonical_write(L, -1, &job->out, "the value");
    return 0;
}

static int read_job(lua_State *L)
{
    struct job *job = lua_touserdata(L, 1);
    double began = drive_ms();
    for (int i = 0; i < job->times; i++) {
        lua_settop(L, 1);
        canonical_read(L, job->json);
    }
    job->ms = drive_ms() - began;
    assert_int_equal(lua_gettop(L), 2);
    job->type = lua_isinteger(L, 2) ? -1 : lua_type(L, 2);
    text_clear(&job->out);
    canonical_write(L, 2, &job->out, "the value");
    return 0;
}

static int run(lua_CFunction function, struct job *job, struct error *error)
{
    struct guest *guest;
    assert_int_equal(guest_open(&guest, 1, NULL, error), 0);
    int code = guest_call(guest, function, job, GUEST_WORK, error);
    guest_close(guest);
    return code;
}

static void writes(const char *value, const char *json)
{
    char source[400];
    struct error error;
    snprintf(source, sizeof source, "return %s", value);
    struct job job = {.source = source, .out = TEXT_EMPTY};
    if (run(write_job, &job, &error))
        fail_msg("%s: %s", value, error.why);
    assert_string_equal(job.out.bytes, json);
    /* RFC 8259, as read by a library that is not ours. */
    json_error_t where;
    json_t *read = json_loads(json, JSON_DECODE_ANY | JSON_REJECT_DUPLICATES, &where);
    if (!read)
        fail_msg("%s: %s", json, where.text);
    json_decref(read);
    text_free(&job.out);
}

static void refuses(const char *value, const char *says)
{
    char source[400];
    struct error error;
    snprintf(source, sizeof source, "return %s", value);
    struct job job = {.source = source, .out = TEXT_EMPTY};
    if (!run(write_job, &job, &error))
        fail_msg("%s: was written as %s", value, job.out.bytes);
    drive_expect(value, error.why, says);
    text_free(&job.out);
}

static void test_writes(void **state)
{
    (void)state;
    writes("nil", "null");
    writes("true", "true");
    writes("0", "0");
    writes("-17", "-17");
    writes("math.mininteger", "-9223372036854775808");
    writes("math.maxinteger", "9223372036854775807");
    writes("1.0", "1.0");
    writes("-0.0", "0.0");
    writes("0.1", "0.1");
    writes("0.1 + 0.2", "0.30000000000000004");
    writes("1e15", "1e+15");
    writes("1e300", "1e+300");
    writes("-2.5e-7", "-2.5e-07");
    writes("'a \"b\" \\\\ \\n \\1'", "\"a \\\"b\\\" \\\\ \\n \\u0001\"");
    writes("'25 mΩ'", "\"25 mΩ\"");
    writes("{}", "{}");
    writes("{1, 2, 'x'}", "[1,2,\"x\"]");
    writes("{{}, {{}}}", "[{},[{}]]");
    writes("{b = 1, a = {2, d = nil}, C = 3, ['a b'] = 4, [''] = 5}",
           "{\"\":5,\"C\":3,\"a\":[2],\"a b\":4,\"b\":1}");
    writes("{time = '16 h', when = function() end}",
           "{\"time\":\"16 h\",\"when\":{\"function\":true}}");
}

static void test_refuses(void **state)
{
    (void)state;
    refuses("0 / 0", "not finite");
    refuses("{x = math.huge}", "not finite");
    refuses("{x = -math.huge}", "not finite");
    refuses("{[1.5] = 1}", "as a key");
    refuses("{[true] = 1}", "as a key");
    refuses("{[{}] = 1}", "as a key");
    refuses("{1, 2, x = 3}", "neither a list nor named fields");
    refuses("{[1] = 1, [3] = 3}", "neither a list nor named fields");
    refuses("{[0] = 1}", "neither a list nor named fields");
    refuses("(function() local t = {} t.t = t return t end)()", "deeper than 32");
    refuses("(function() local t = {} for i = 1, 33 do t = {t} end return t end)()",
            "deeper than 32");
    refuses("(function() local t = {} for i = 1, 25 do t = {t, t} end return t end)()",
            "larger than 1024 kB");
    writes("(function() local t = 1 for i = 1, 32 do t = {t} end return t end)()",
           "[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[1]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]");
}

/* The value is read and written again. */
static void reads(const char *json, int type, const char *again)
{
    struct error error;
    struct job job = {.json = json, .out = TEXT_EMPTY, .times = 1};
    if (run(read_job, &job, &error))
        fail_msg("%s: %s", json, error.why);
    assert_int_equal(job.type, type);
    assert_string_equal(job.out.bytes, again);
    text_free(&job.out);
}

static void test_reads(void **state)
{
    (void)state;
    reads("null", LUA_TNIL, "null");
    reads(" true ", LUA_TBOOLEAN, "true");
    reads("12", -1, "12");
    reads("12.0", LUA_TNUMBER, "12.0");
    reads("1e3", LUA_TNUMBER, "1000.0");
    reads("9223372036854775807", -1, "9223372036854775807");
    reads("-9223372036854775808", -1, "-9223372036854775808");
    reads("9223372036854775808", LUA_TNUMBER, "9.223372036854776e+18");
    reads("0.30000000000000004", LUA_TNUMBER, "0.30000000000000004");
    reads("\"\\u00e4\\ud83d\\ude00\\n\\\"\\/\"", LUA_TSTRING,
          "\"\xc3\xa4\xf0\x9f\x98\x80\\n\\\"/\"");
    reads(" { \"b\" : [ 1 , 2 ] , \"a\" : { } } ", LUA_TTABLE, "{\"a\":{},\"b\":[1,2]}");
    reads("[[],[[]]]", LUA_TTABLE, "[{},[{}]]"); /* an empty list is an empty table */
}

static void test_refuses_what_is_no_json(void **state)
{
    (void)state;
    static const char *const texts[] = {
        "",        "{",          "[1,",         "[1 2]",
        "{\"a\"}", "{\"a\":1,}", "{a:1}",       "tru",
        "\"open",  "\"\\x\"",    "\"\\u12g4\"", "1.2.3",
        "--1",     "[1]]",       "'text'",      "{\"a\":1 \"b\":2}",
        "1e999e",  "{\"a\" 1}",  "nul",         "-",
    };
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        struct error error;
        struct job job = {.json = texts[i], .out = TEXT_EMPTY, .times = 1};
        if (!run(read_job, &job, &error))
            fail_msg("%s: was read as %s", texts[i], job.out.bytes);
        drive_expect(texts[i], error.why, "not JSON");
        text_free(&job.out);
    }
    struct text deep = TEXT_EMPTY;
    for (int i = 0; i < 100000; i++)
        text_add(&deep, "[");
    struct error error;
    struct job job = {.json = deep.bytes, .out = TEXT_EMPTY, .times = 1};
    assert_int_not_equal(run(read_job, &job, &error), 0);
    text_free(&job.out);
    text_free(&deep);
}

static void test_speed_of_reading(void **state)
{
    (void)state;
    struct error error;
    struct job small = {.json = "{\"value\":12.5}", .out = TEXT_EMPTY, .times = 100000};
    struct job step = {.json = DRIVE_OUTCOME, .out = TEXT_EMPTY, .times = 100000};
    assert_int_equal(run(read_job, &small, &error), 0);
    assert_int_equal(run(read_job, &step, &error), 0);
    printf("100,000 outcomes read: small %.0f ms, of a step %.0f ms\n", small.ms, step.ms);
    assert_true(small.ms < 2000); /* 10 times what is wanted: for slow machines and sanitizers */
    text_free(&small.out);
    text_free(&step.out);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_writes),
        cmocka_unit_test(test_refuses),
        cmocka_unit_test(test_reads),
        cmocka_unit_test(test_refuses_what_is_no_json),
        cmocka_unit_test(test_speed_of_reading),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
