/* Answers read and messages built as IEEE 488.2-1992 and SCPI-1999 say: the clause stands beside
 * each check. Clauses and values as quoted in the project's fact sheet, section D; neither
 * standard's own text was at hand. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "link/scpi.h"
#include "support/cmocka_setup.h"

static enum scpi_number number(const char *text, double *value)
{
    return scpi_number(text, strlen(text), value);
}

/* NR1 8.7.2, NR2 8.7.3, NR3 8.7.4: the standard's three forms of a number. */
static void test_numbers(void **state)
{
    static const struct {
        const char *text;
        double value;
    } good[] = {
        {"42", 42},
        {"-7", -7},
        {"+0", 0},
        {"007", 7},
        {"+4.20", 4.2},
        {"-0.001", -0.001},
        {"4.20E+00", 4.2},
        {"-1.5E-03", -1.5e-3},
        {"1E3", 1000},
        {"1e3", 1000},
        {"1.0e-9", 1e-9},
        {"9.8E37", 9.8e37},
        {"1E-30000", 0},
        {"0.1", 0.1},
        {"1.23456789", 1.23456789},
    };
    (void)state;
    for (size_t i = 0; i < sizeof good / sizeof *good; i++) {
        double value;
        assert_int_equal(number(good[i].text, &value), SCPI_NUMBER);
        assert_true(value == good[i].value);
    }
}

/* Short or long, a number is rounded once, as C's own reader does. */
static void test_rounded_as_c_does(void **state)
{
    uint64_t seed = 88172645463325252u;
    (void)state;
    for (int i = 0; i < 200000; i++) {
        char text[64];
        double value;
        seed ^= seed << 13;
        seed ^= seed >> 7;
        seed ^= seed << 17;
        snprintf(text, sizeof text, "%+.*E", (int)(seed % 18),
                 (double)(int64_t)seed / pow(10, (double)(seed >> 8 & 31)));
        assert_int_equal(scpi_number(text, strlen(text), &value), SCPI_NUMBER);
        if (value != strtod(text, NULL))
            fail_msg("%s is read as %.17g", text, value);
    }
}

static void test_nothing_else_is_a_number(void **state)
{
    static const char *const bad[] = {
        "",         " 1",       "1 ",    "1.",    ".5",       "+",    "-",     "1.2.3",
        "1,2",      "1E",       "1E+",   "1E1.5", "E5",       "0x10", "1_000", "1.5V",
        "1.5 V",    "NAN",      "nan",   "INF",   "inf",      "+-1",  "--1",   "1e 5",
        "1,5",      "1.5\n",    "\"1\"", "#H1F",  "1E32001",  "1E38", "-1E38", "9.92E37",
        "-9.91E37", "infinity", "1f",    "1d5",   "\xd9\xa1",
    };
    char long_number[300];
    double value;
    (void)state;
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        if (number(bad[i], &value) != SCPI_MALFORMED)
            fail_msg("\"%s\" was taken for a number", bad[i]);
        assert_true(isnan(value));
    }
    assert_int_equal(scpi_number("1\0", 2, &value), SCPI_MALFORMED);
    memset(long_number, '1', sizeof long_number); /* 7.7.2.4.1: 255 digits */
    memcpy(long_number, "0.", 2);
    assert_int_equal(scpi_number(long_number, 256, &value), SCPI_NUMBER);
    assert_true(fabs(value - 1.0 / 9) < 1e-15);
    assert_int_equal(scpi_number(long_number, 257, &value), SCPI_MALFORMED);
}

/* SCPI-1999 vol. 1, 7.2.1.4 and 7.2.1.5; also as instruments that work in single
 * precision print them. */
static void test_overload_and_not_a_number(void **state)
{
    double value;
    (void)state;
    assert_int_equal(number("9.9E37", &value), SCPI_OVERLOAD);
    assert_true(isinf(value) && value > 0);
    assert_int_equal(number("+9.90000000E+37", &value), SCPI_OVERLOAD);
    assert_true(isinf(value) && value > 0);
    assert_int_equal(number("-9.9e37", &value), SCPI_OVERLOAD);
    assert_true(isinf(value) && value < 0);
    assert_int_equal(number("9.91E37", &value), SCPI_NOT_A_NUMBER);
    assert_true(isnan(value));
    assert_int_equal(number("99100000000000000000000000000000000000", &value), SCPI_NOT_A_NUMBER);
    char text[40];
    snprintf(text, sizeof text, "%.8E", (double)9.9e37f);
    assert_int_equal(number(text, &value), SCPI_OVERLOAD);
    snprintf(text, sizeof text, "%.8E", (double)9.91e37f);
    assert_int_equal(number(text, &value), SCPI_NOT_A_NUMBER);
}

/* NRf, 7.7.2: what an instrument takes is wider than what it gives. */
static void test_parameter(void **state)
{
    static const struct {
        const char *text;
        double value;
    } good[] = {{".5", 0.5}, {"5.", 5}, {"1 E 3", 1000}, {"-2.5e-3", -2.5e-3}, {"+7", 7}};
    static const char *const bad[] = {".", "", "E3", "1 2", "1E", "1.5V", "+.", "1 "};
    double value;
    (void)state;
    for (size_t i = 0; i < sizeof good / sizeof *good; i++) {
        assert_int_equal(scpi_parameter(good[i].text, strlen(good[i].text), &value), SCPI_NUMBER);
        assert_true(value == good[i].value);
    }
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        assert_int_equal(scpi_parameter(bad[i], strlen(bad[i]), &value), SCPI_MALFORMED);
}

static void test_integer_and_boolean(void **state)
{
    int64_t integer;
    bool boolean;
    (void)state;
    assert_true(scpi_integer("-32768", 6, &integer) && integer == -32768);
    assert_true(scpi_integer("9223372036854775807", 19, &integer) && integer == INT64_MAX);
    assert_true(scpi_integer("-9223372036854775808", 20, &integer) && integer == INT64_MIN);
    assert_false(scpi_integer("9223372036854775808", 19, &integer));
    assert_false(scpi_integer("-9223372036854775809", 20, &integer));
    assert_false(scpi_integer("", 0, &integer));
    assert_false(scpi_integer("+", 1, &integer));
    assert_false(scpi_integer("1.0", 3, &integer));
    assert_true(scpi_boolean("1", 1, &boolean) && boolean); /* SCPI 7.3 */
    assert_true(scpi_boolean("0", 1, &boolean) && !boolean);
    assert_true(scpi_boolean("on", 2, &boolean) && boolean);
    assert_true(scpi_boolean("OFF", 3, &boolean) && !boolean);
    assert_false(scpi_boolean("2", 1, &boolean));
    assert_false(scpi_boolean("TRUE", 4, &boolean));
    assert_false(scpi_boolean("", 0, &boolean));
}

/* 8.7.8: the inner quote doubled; 7.7.5: either quote. */
static void test_strings(void **state)
{
    static const struct {
        const char *text, *value;
    } good[] = {
        {"\"\"", ""},
        {"''", ""},
        {"\"No error\"", "No error"},
        {"\"a \"\"b\"\" c\"", "a \"b\" c"},
        {"'it''s'", "it's"},
        {"\"it's, so\"", "it's, so"},
        {"\"\"\"\"", "\""},
    };
    static const char *const bad[] = {"",       "\"",     "a",    "\"a", "a\"",
                                      "\"a\"b", "\"\"\"", "\"a'", "''' "};
    char out[16];
    (void)state;
    for (size_t i = 0; i < sizeof good / sizeof *good; i++) {
        assert_true(scpi_string(good[i].text, strlen(good[i].text), out, sizeof out));
        assert_string_equal(out, good[i].value);
    }
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        assert_false(scpi_string(bad[i], strlen(bad[i]), out, sizeof out));
    assert_true(scpi_string("\"abc\"", 5, out, 4));
    assert_false(scpi_string("\"abc\"", 5, out, 3));
    assert_false(scpi_string("\"a\0b\"", 5, out, sizeof out));
}

static void test_lists(void **state)
{
    static const struct {
        const char *list;
        int count;
        const char *items[5];
    } cases[] = {
        {"1.25", 1, {"1.25"}},
        {"1.25,0.5,21.3", 3, {"1.25", "0.5", "21.3"}},
        {" 1 , 2", 2, {"1", "2"}},
        {"1,,2,", 4, {"1", "", "2", ""}},
        {"\"a,b\",'c,d',e", 3, {"\"a,b\"", "'c,d'", "e"}},
        {"#13a,b,2", 2, {"#13a,b", "2"}},
        {"-350,\"Queue overflow\"", 2, {"-350", "\"Queue overflow\""}},
        {"", 0, {NULL}},
        {"1,\"a", 1, {"1"}}, /* a string without end ends the list */
        {"1,#19ab", 1, {"1"}},
    };
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        size_t at = 0, length;
        const char *item;
        int count = 0;
        while (scpi_item(cases[i].list, strlen(cases[i].list), &at, &item, &length)) {
            assert_true(count < cases[i].count);
            assert_int_equal(length, strlen(cases[i].items[count]));
            assert_memory_equal(item, cases[i].items[count], length);
            count++;
        }
        assert_int_equal(count, cases[i].count);
    }
}

/* 10.14. The maker and the model are of the invented bench. */
static void test_identity(void **state)
{
    const char text[] = "Tarn Instruments, PL-40 ,0042,1.3, build 7";
    struct scpi_identity identity;
    char long_field[200];
    (void)state;
    assert_true(scpi_identity(text, strlen(text), &identity));
    assert_string_equal(identity.maker, "Tarn Instruments");
    assert_string_equal(identity.model, "PL-40");
    assert_string_equal(identity.serial, "0042");
    assert_string_equal(identity.firmware, "1.3, build 7");
    assert_true(scpi_identity("a,b,0,0", 7, &identity));
    assert_string_equal(identity.serial, "0");
    assert_false(scpi_identity("a,b,c", 5, &identity));
    assert_false(scpi_identity("", 0, &identity));
    assert_false(scpi_identity("a,b,c\0c,d", 9, &identity));
    memset(long_field, 'x', sizeof long_field);
    memcpy(long_field + sizeof long_field - 7, ",b,c,d", 6);
    assert_false(scpi_identity(long_field, sizeof long_field - 1, &identity)); /* never cut short */
}

/* SCPI-1999 vol. 2, 21.8: an empty queue, a full one, an entry with device information. */
static void test_trouble(void **state)
{
    static const char *const bad[] = {
        "",          "0",     "0,No error",    "-32769,\"x\"", "32768,\"x\"",
        "1.5,\"x\"", "0,\"x", "0,\"x\",\"y\"", "\"x\",0",      "0,\"x\",",
    };
    struct scpi_trouble trouble;
    (void)state;
    assert_true(scpi_trouble("0,\"No error\"", 12, &trouble));
    assert_int_equal(trouble.code, 0);
    assert_string_equal(trouble.text, "No error");
    assert_true(scpi_trouble("-350,\"Queue overflow\"", 21, &trouble));
    assert_int_equal(trouble.code, -350);
    assert_string_equal(trouble.text, "Queue overflow");
    assert_true(scpi_trouble("-222,\"Data out of range;CURR 9\"", 31, &trouble));
    assert_string_equal(trouble.text, "Data out of range;CURR 9");
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        if (scpi_trouble(bad[i], strlen(bad[i]), &trouble))
            fail_msg("%s was taken for an entry", bad[i]);
}

static void test_block_heads(void **state)
{
    size_t content, size;
    (void)state;
    assert_int_equal(scpi_block("#210ABCDEFGHIJ", 14, &content, &size), SCPI_BLOCK_WHOLE);
    assert_int_equal(content, 4);
    assert_int_equal(size, 10);
    assert_int_equal(scpi_block("#0", 2, &content, &size), SCPI_BLOCK_WHOLE);
    assert_true(size == SCPI_INDEFINITE && content == 2);
    assert_int_equal(scpi_block("#9123456789", 11, &content, &size), SCPI_BLOCK_WHOLE);
    assert_int_equal(size, 123456789);
    assert_int_equal(scpi_block("#91234", 6, &content, &size), SCPI_BLOCK_MORE);
    assert_int_equal(scpi_block("", 0, &content, &size), SCPI_BLOCK_MORE);
    assert_int_equal(scpi_block("#", 1, &content, &size), SCPI_BLOCK_MORE);
    assert_int_equal(scpi_block("#A", 2, &content, &size), SCPI_BLOCK_BAD);
    assert_int_equal(scpi_block("#2x", 3, &content, &size), SCPI_BLOCK_BAD);
    assert_int_equal(scpi_block("1", 1, &content, &size), SCPI_BLOCK_BAD);
}

static void test_writing(void **state)
{
    static const struct {
        double value;
        const char *text;
    } cases[] = {
        {0.5, "5.0E-01"},       {-1.25, "-1.25E+00"},
        {0, "0.0E+00"},         {-0.0, "0.0E+00"},
        {1e-9, "1.0E-09"},      {NAN, "9.91E+37"},
        {INFINITY, "9.9E+37"},  {-INFINITY, "-9.9E+37"},
        {1234.5, "1.2345E+03"}, {0.1 + 0.2, "3.0000000000000004E-01"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct text text = TEXT_EMPTY;
        scpi_add_number(&text, cases[i].value);
        assert_string_equal(text.bytes, cases[i].text);
        text_free(&text);
    }
    struct text text = TEXT_EMPTY;
    scpi_add_string(&text, "say \"so\"");
    text_add(&text, ",");
    scpi_add_block(&text, "ABCDEFGHIJ", 10);
    assert_string_equal(text.bytes, "\"say \"\"so\"\"\",#210ABCDEFGHIJ");
    text_free(&text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_numbers),
        cmocka_unit_test(test_rounded_as_c_does),
        cmocka_unit_test(test_nothing_else_is_a_number),
        cmocka_unit_test(test_overload_and_not_a_number),
        cmocka_unit_test(test_parameter),
        cmocka_unit_test(test_integer_and_boolean),
        cmocka_unit_test(test_strings),
        cmocka_unit_test(test_lists),
        cmocka_unit_test(test_identity),
        cmocka_unit_test(test_trouble),
        cmocka_unit_test(test_block_heads),
        cmocka_unit_test(test_writing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
