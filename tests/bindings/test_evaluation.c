/* Evaluations from C: what the host is handed, in which order, and that a guest with limits of its
 * own is held to those. (What the words work out is in tests/whole/evaluate.sh.) */
#include "bindings/drive.h"

#include <lauxlib.h>

#include "bindings/evaluation.h"
#include "bindings/sandbox.h"

static struct logbook *logbook;
static json_t *items;
static struct error error;

static int put(void *owner, const json_t *item, struct error *refusal)
{
    assert_ptr_equal(owner, &items);
    if (json_object_get(item, "csv"))
        return error_set(refusal, ERROR_USAGE, "x.csv", "say where to", "there is no folder");
    json_array_append_new(items, json_deep_copy(item));
    return 0;
}

static int evaluate(const char *text)
{
    struct evaluation_host host = {.logbook = logbook, .put = put, .owner = &items};
    char title[128];
    json_decref(items);
    items = json_array();
    error_clear(&error);
    return evaluation_run("own.lua", text, strlen(text), &host, title, &error);
}

static int open_logbook(void **state)
{
    (void)state;
    const struct logbook_birth birth = {.created = DRIVE_NOW, .seed = 3, .clock = "virtual"};
    return logbook_open_memory(&logbook, &birth, &error);
}

static int close_logbook(void **state)
{
    (void)state;
    logbook_close(logbook);
    json_decref(items);
    return 0;
}

static void what_is_put_out(void **state)
{
    (void)state;
    assert_int_equal(evaluate("return evaluation { run = function(logbook)\n"
                              "  say('cells:', #logbook:cells())\n"
                              "  table_of { title = 'T', columns = { 'a', 'b' },\n"
                              "             rows = { { 1, 2.5 }, { b = 'x', a = 0 / 0 } } }\n"
                              "end }"),
                     0);
    char *all = json_dumps(items, JSON_COMPACT | JSON_SORT_KEYS);
    assert_string_equal(all, "[{\"say\":\"cells: 0\"},{\"table\":{\"columns\":[\"a\",\"b\"],"
                             "\"rows\":[[1,2.5],[null,\"x\"]],\"title\":\"T\"}}]");
    free(all);
}

static void a_refusal_of_the_host_arrives(void **state)
{
    (void)state;
    assert_int_not_equal(evaluate("return evaluation { run = function()\n"
                                  "  say('before')\n"
                                  "  write_csv('x.csv', { columns = { 'a' }, rows = {} })\n"
                                  "  say('after')\n"
                                  "end }"),
                         0);
    assert_string_equal(error.what, "own.lua:3");
    assert_non_null(strstr(error.why, "there is no folder"));
    assert_int_equal(json_array_size(items), 1);
}

static void same_draws_each_time(void **state)
{
    (void)state;
    const char *text = "return evaluation { run = function() say(random(1000000)) end }";
    assert_int_equal(evaluate(text), 0);
    json_t *first = json_incref(items);
    assert_int_equal(evaluate(text), 0);
    assert_true(json_equal(first, items));
    json_decref(first);
}

static int spin(lua_State *L)
{
    guest_load(L, "spin.lua", "while true do end", 17);
    lua_call(L, 0, 0);
    return 0;
}

static int hoard(lua_State *L)
{
    static const char text[] = "local t = {} for i = 1, 1e6 do t[i] = {} end";
    guest_load(L, "hoard.lua", text, sizeof text - 1);
    lua_call(L, 0, 0);
    return 0;
}

static void limits_are_the_guests_own(void **state)
{
    (void)state;
    const struct guest_limits little = {2 << 20, 1 << 20, 1 << 16, 5000000, 2000000000};
    struct guest *guest;
    assert_int_equal(guest_open_within(&guest, &little, 1, NULL, &error), 0);
    assert_int_equal(guest_begin(guest, spin, NULL, &error), GUEST_FAILED);
    assert_non_null(strstr(error.why, "over 5000000 instructions"));
    guest_close(guest);
    assert_int_equal(guest_open_within(&guest, &little, 1, NULL, &error), 0);
    assert_int_equal(guest_begin(guest, hoard, NULL, &error), GUEST_FAILED);
    assert_non_null(strstr(error.why, "a script may hold 2 MB"));
    guest_close(guest);
    const struct guest_limits much = {256 << 20, 64 << 20, 1 << 16, 500000000, 60000000000};
    assert_int_equal(guest_open_within(&guest, &much, 1, NULL, &error), 0);
    assert_int_equal(guest_begin(guest, hoard, NULL, &error), GUEST_RETURNED);
    guest_close(guest);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_put_out),
        cmocka_unit_test(a_refusal_of_the_host_arrives),
        cmocka_unit_test(same_draws_each_time),
        cmocka_unit_test(limits_are_the_guests_own),
    };
    return cmocka_run_group_tests(tests, open_logbook, close_logbook);
}
