/* Errors: filling, printing on one line, exit status. */
#include "support/cmocka_setup.h"

#include <stdlib.h>
#include <string.h>

#include "base/error.h"

static char *printed(const struct error *error)
{
    char *line = NULL;
    size_t length = 0;
    FILE *stream = open_memstream(&line, &length);
    assert_non_null(stream);
    error_print(stream, error);
    fclose(stream);
    return line;
}

static void assert_printed(const struct error *error, const char *want)
{
    char *line = printed(error);
    assert_string_equal(line, want);
    free(line);
}

static void prints_what_why_and_what_to_do(void **state)
{
    (void)state;
    struct error error;
    int code = error_set(&error, ERROR_BENCH, "bench.lua", "plug it in", "channel %s is %d mV low",
                         "A1", 7);
    assert_int_equal(code, ERROR_BENCH);
    assert_int_equal(error.code, ERROR_BENCH);
    assert_printed(&error, "perdure: bench.lua: channel A1 is 7 mV low; plug it in\n");
    assert_non_null(strstr(error.source, "test_error.c"));
    assert_true(error.line > 0 && error.line < 100);
}

static void leaves_out_what_is_missing(void **state)
{
    (void)state;
    struct error error;
    error_set(&error, ERROR_FAILED, NULL, NULL, "%s", "it failed");
    assert_printed(&error, "perdure: it failed\n");
    error_set(&error, ERROR_FAILED, "KES-07", "", "it failed%s", "");
    assert_printed(&error, "perdure: KES-07: it failed\n");
    error_set(&error, ERROR_FAILED, "", "try again", "it failed%s", "");
    assert_printed(&error, "perdure: it failed; try again\n");
}

/* A script's own text can be part of an error: it must not break the line nor work the terminal. */
static void stays_on_one_line(void **state)
{
    (void)state;
    struct error error;
    error_set(&error, ERROR_SCRIPT, "a\nb", "c\td", "%s", "x\r\ny\x1b[31mz\x7f°");
    assert_printed(&error, "perdure: a b: x  y [31mz °; c d\n");
}

static void can_be_put_into_itself(void **state)
{
    (void)state;
    struct error error;
    error_set(&error, ERROR_USAGE, "inner", "mend it", "%s", "reason");
    int code =
        error_set(&error, ERROR_SCRIPT, "outer", error.todo, "%s: %s", error.what, error.why);
    assert_int_equal(code, ERROR_SCRIPT);
    assert_printed(&error, "perdure: outer: inner: reason; mend it\n");
}

static void cuts_long_texts_between_characters_and_shows_it(void **state)
{
    (void)state;
    struct error error;
    char text[2000];
    for (size_t i = 0; i + 2 < sizeof text; i += 2)
        memcpy(text + i, "\xc2\xb0", 3);
    error_set(&error, ERROR_USAGE, text, text, "x%s", text);
    static const char end[] = "\xc2\xb0\xe2\x80\xa6"; /* a whole degree sign, and an ellipsis */
    assert_int_equal(strlen(error.what), 255);
    assert_string_equal(error.what + 255 - strlen(end), end);
    assert_string_equal(error.todo, error.what);
    assert_int_equal(strlen(error.why), 766); /* of 767, for a degree sign has two bytes */
    assert_string_equal(error.why + 766 - strlen(end), end);
}

static void mends_letters_that_a_precision_tore(void **state)
{
    (void)state;
    struct error error;
    error_set(&error, ERROR_USAGE, "a", "b", "\"%.5s\" and \"%.3s\"", "ab\xf0\x9f\x94\x8b",
              "ab\xc3\xa9");
    assert_string_equal(error.why, "\"ab\xe2\x80\xa6\" and \"ab\xe2\x80\xa6\"");
}

static void needs_no_place_to_go(void **state)
{
    (void)state;
    assert_int_equal(error_set(NULL, ERROR_BUSY, "a", "b", "%s", "c"), ERROR_BUSY);
    error_clear(NULL);
}

static void is_cleared(void **state)
{
    (void)state;
    struct error error;
    error_set(&error, ERROR_BUSY, "a", "b", "%s", "c");
    error_clear(&error);
    assert_int_equal(error.code, ERROR_NONE);
    assert_int_equal(error_exit_status(&error), 0);
    assert_string_equal(error.why, "");
}

/* The exit statuses that the command line promises. */
static void each_code_has_its_exit_status(void **state)
{
    (void)state;
    static const struct {
        enum error_code code;
        const char *name;
        int exit_status;
    } promised[] = {
        {ERROR_NONE, "ERROR_NONE", 0},         {ERROR_FAILED, "ERROR_FAILED", 1},
        {ERROR_SCRIPT, "ERROR_SCRIPT", 1},     {ERROR_USAGE, "ERROR_USAGE", 2},
        {ERROR_LOGBOOK, "ERROR_LOGBOOK", 3},   {ERROR_BUSY, "ERROR_BUSY", 3},
        {ERROR_FULL, "ERROR_FULL", 3},         {ERROR_BENCH, "ERROR_BENCH", 4},
        {ERROR_INTERNAL, "ERROR_INTERNAL", 1},
    };
    for (size_t i = 0; i < sizeof promised / sizeof promised[0]; i++) {
        struct error error = {.code = promised[i].code};
        assert_int_equal(error_exit_status(&error), promised[i].exit_status);
        assert_string_equal(error_code_name(promised[i].code), promised[i].name);
    }
    struct error unknown = {.code = (enum error_code)99};
    assert_int_equal(error_exit_status(&unknown), 1);
    assert_string_equal(error_code_name(unknown.code), "ERROR_UNKNOWN");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(prints_what_why_and_what_to_do),
        cmocka_unit_test(leaves_out_what_is_missing),
        cmocka_unit_test(stays_on_one_line),
        cmocka_unit_test(can_be_put_into_itself),
        cmocka_unit_test(cuts_long_texts_between_characters_and_shows_it),
        cmocka_unit_test(mends_letters_that_a_precision_tore),
        cmocka_unit_test(needs_no_place_to_go),
        cmocka_unit_test(is_cleared),
        cmocka_unit_test(each_code_has_its_exit_status),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
