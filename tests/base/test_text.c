/* The growing buffer, numbers, JSON strings, copies. */
#include "support/cmocka_setup.h"

#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/random.h"
#include "base/text.h"

static void grows_as_it_is_added_to(void **state)
{
    (void)state;
    struct text text = TEXT_EMPTY;
    for (int i = 0; i < 10000; i++) {
        text_addf(&text, "%04d", i);
        text_add(&text, ",");
        text_add_bytes(&text, "ab\0", 3);
        assert_int_equal(text.length, (size_t)(i + 1) * 8);
        assert_true(text.room > text.length);
        assert_int_equal(text.bytes[text.length], '\0');
    }
    for (size_t i = 0; i < 10000; i++) {
        char want[16];
        snprintf(want, sizeof want, "%04d,ab", (int)i);
        assert_memory_equal(text.bytes + 8 * i, want, 8);
    }
    text_clear(&text);
    assert_int_equal(text.length, 0);
    assert_string_equal(text.bytes, "");
    text_add(&text, "again");
    assert_string_equal(text.bytes, "again");
    text_free(&text);
    assert_null(text.bytes);
    text_free(&text);
    text_clear(&text);
}

static void adds_nothing_as_an_empty_string(void **state)
{
    (void)state;
    struct text text = TEXT_EMPTY;
    text_add(&text, "");
    assert_string_equal(text.bytes, "");
    text_add_bytes(&text, NULL, 0);
    text_addf(&text, "%s", "");
    assert_string_equal(text.bytes, "");
    text_free(&text);
}

static void adds_formats_of_any_length(void **state)
{
    (void)state;
    struct text text = TEXT_EMPTY;
    text_addf(&text, "%*d", 63, 1); /* with its NUL it just fits the first allocation */
    text_addf(&text, "%*d", 5000, 2);
    assert_int_equal(text.length, 5063);
    assert_int_equal(strlen(text.bytes), 5063);
    assert_int_equal(text.bytes[62], '1');
    assert_int_equal(text.bytes[5062], '2');
    text_free(&text);
}

static void assert_number(double number, const char *want)
{
    char buffer[40];
    struct text text = TEXT_EMPTY;
    assert_string_equal(number_format(number, buffer, sizeof buffer), want);
    text_add_number(&text, number);
    assert_string_equal(text.bytes, want);
    text_free(&text);
}

static void writes_the_shortest_number(void **state)
{
    (void)state;
    assert_number(0, "0");
    assert_number(-0.0, "0");
    assert_number(1, "1");
    assert_number(-1.5, "-1.5");
    assert_number(0.1, "0.1");
    assert_number(0.1 + 0.2, "0.30000000000000004");
    assert_number(1.0 / 3, "0.3333333333333333");
    assert_number(7560, "7560");
    assert_number(1e300, "1e+300");
    assert_number(5e-324, "4.94065645841247e-324");
    assert_number(NAN, "null");
    assert_number(INFINITY, "null");
    assert_number(-INFINITY, "null");
    char small[4];
    assert_string_equal(number_format(0.125, small, sizeof small), "0.1");
}

/* 100,000 doubles of every size, most with a random bit pattern. */
static void numbers_read_back_the_same(void **state)
{
    (void)state;
    struct random random;
    random_seed(&random, 15);
    int longest = 0;
    for (int i = 0; i < 100000; i++) {
        uint64_t bits = random_bits(&random);
        double number, back;
        memcpy(&number, &bits, sizeof number);
        if (i % 4 == 0)
            number = random_unit(&random);
        if (!isfinite(number))
            continue;
        char buffer[40];
        char *end;
        number_format(number, buffer, sizeof buffer);
        back = strtod(buffer, &end);
        if (*end != '\0' || memcmp(&back, &number, sizeof back) != 0)
            fail_msg("%.17g became %s", number, buffer);
        longest = (int)strlen(buffer) > longest ? (int)strlen(buffer) : longest;
    }
    assert_in_range(longest, 17, 24); /* -d.16 digits, e-308 */
}

/* The quick way writes what printf does: the first of 15, 16 or 17 digits that reads back. */
static void quickly_written_is_no_different(void **state)
{
    (void)state;
    struct random random;
    random_seed(&random, 16);
    for (int i = 0; i < 100000; i++) {
        double number = (double)random_range(&random, 0, 2000000000) / 1e6 - 1000;
        char is[40], want[40];
        if (i % 3 == 0)
            number *= 1e5;
        if (i % 5 == 0)
            number = nextafter(number, 0);
        for (int digits = 15; digits <= 17; digits++) {
            snprintf(want, sizeof want, "%.*g", digits, number);
            if (strtod(want, NULL) == number)
                break;
        }
        assert_string_equal(number_format(number, is, sizeof is), want);
    }
}

static void shows_where_a_text_was_cut(void **state)
{
    char to[8];
    (void)state;
    string_fit(to, sizeof to, "seven b");
    assert_string_equal(to, "seven b");
    string_fit(to, sizeof to, "eight by");
    assert_string_equal(to, "eigh\xe2\x80\xa6");
    string_fit(to, sizeof to, "abc\xc3\xa9xyz"); /* no half letter */
    assert_string_equal(to, "abc\xe2\x80\xa6");
    string_fit(to, 4, "abcd"); /* no room for an ellipsis and a letter */
    assert_string_equal(to, "abc");
    string_fit(to, sizeof to, NULL);
    assert_string_equal(to, "");
}

static void assert_json(const char *bytes, size_t length, const char *want)
{
    struct text text = TEXT_EMPTY;
    text_add_json_string(&text, bytes, length);
    assert_string_equal(text.bytes, want);
    /* A JSON library takes it, and reads the same bytes when they were UTF-8. */
    json_t *value = json_loads(text.bytes, JSON_DECODE_ANY | JSON_ALLOW_NUL, NULL);
    assert_non_null(value);
    if (strstr(want, "\xef\xbf\xbd") == NULL) {
        assert_int_equal(json_string_length(value), length);
        assert_memory_equal(json_string_value(value), bytes, length);
    }
    json_decref(value);
    text_free(&text);
}

/* Outside check. Source: RFC 8259, section 7: what must be escaped and how (from memory). */
static void escapes_json(void **state)
{
    (void)state;
    assert_json("", 0, "\"\"");
    assert_json("KES-07", 6, "\"KES-07\"");
    assert_json("a\"b\\c/d", 7, "\"a\\\"b\\\\c/d\"");
    assert_json("\b\f\n\r\t", 5, "\"\\b\\f\\n\\r\\t\"");
    assert_json("\x01\x1f\x7f", 3, "\"\\u0001\\u001f\x7f\"");
    assert_json("a\0b", 3, "\"a\\u0000b\"");
    assert_json("20 °C", 6, "\"20 °C\"");
    assert_json("Ω€\xf0\x9f\x94\x8b", 9, "\"Ω€\xf0\x9f\x94\x8b\"");
}

/* What is no UTF-8 by RFC 3629 (from memory: stray and missing continuation bytes, overlong forms,
 * surrogates, beyond U+10FFFF) becomes U+FFFD, a byte at a time. */
#define FFFD "\xef\xbf\xbd"
static void mends_bytes_that_are_no_utf8(void **state)
{
    (void)state;
    assert_json("a\x80z", 3, "\"a" FFFD "z\"");
    assert_json("\xc2", 1, "\"" FFFD "\"");
    assert_json("\xc2\xb0", 1, "\"" FFFD "\""); /* the second byte is beyond the length */
    assert_json("\xc0\xaf", 2, "\"" FFFD FFFD "\"");
    assert_json("\xe0\x80\xaf", 3, "\"" FFFD FFFD FFFD "\"");
    assert_json("\xed\xa0\x80", 3, "\"" FFFD FFFD FFFD "\"");
    assert_json("\xf0\x80\x80\x80", 4, "\"" FFFD FFFD FFFD FFFD "\"");
    assert_json("\xf4\x90\x80\x80", 4, "\"" FFFD FFFD FFFD FFFD "\"");
    assert_json("\xff"
                "A",
                2, "\"" FFFD "A\"");
    assert_json("\xe2\x82"
                "A",
                3, "\"" FFFD FFFD "A\"");
}

static void copies_cut_between_characters(void **state)
{
    (void)state;
    char to[6];
    string_copy(to, sizeof to, "abc");
    assert_string_equal(to, "abc");
    string_copy(to, sizeof to, "abcde");
    assert_string_equal(to, "abcde");
    string_copy(to, sizeof to, "abcdef");
    assert_string_equal(to, "abcde");
    string_copy(to, sizeof to, "abc€");
    assert_string_equal(to, "abc");
    string_copy(to, sizeof to, NULL);
    assert_string_equal(to, "");
    to[0] = 'x';
    string_copy(to, 1, "abc");
    assert_string_equal(to, "");
    to[0] = 'x';
    string_copy(to, 0, "abc");
    assert_int_equal(to[0], 'x');
}

static void quotes_for_messages(void **state)
{
    (void)state;
    char buffer[10];
    assert_string_equal(string_quote("500 mA", buffer, sizeof buffer), "\"500 mA\"");
    assert_string_equal(string_quote("500  mA", buffer, sizeof buffer), "\"500  mA\"");
    assert_string_equal(string_quote("500   mA", buffer, sizeof buffer), "\"500 ...\"");
    assert_string_equal(string_quote("500°°°", buffer, sizeof buffer), "\"500...\"");
    assert_string_equal(string_quote("", buffer, sizeof buffer), "\"\"");
    assert_string_equal(string_quote(NULL, buffer, sizeof buffer), "\"\"");
    assert_string_equal(string_quote("500 mA", buffer, 3), "50");
}

static void finds_whole_words(void **state)
{
    (void)state;
    assert_true(string_has_word("gap", "gap"));
    assert_true(string_has_word("gap corrected void", "corrected"));
    assert_true(string_has_word("gaps gap", "gap"));
    assert_false(string_has_word("gaps agap", "gap"));
    assert_false(string_has_word("", "gap"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(grows_as_it_is_added_to),
        cmocka_unit_test(adds_nothing_as_an_empty_string),
        cmocka_unit_test(adds_formats_of_any_length),
        cmocka_unit_test(writes_the_shortest_number),
        cmocka_unit_test(numbers_read_back_the_same),
        cmocka_unit_test(quickly_written_is_no_different),
        cmocka_unit_test(shows_where_a_text_was_cut),
        cmocka_unit_test(escapes_json),
        cmocka_unit_test(mends_bytes_that_are_no_utf8),
        cmocka_unit_test(copies_cut_between_characters),
        cmocka_unit_test(quotes_for_messages),
        cmocka_unit_test(finds_whole_words),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
