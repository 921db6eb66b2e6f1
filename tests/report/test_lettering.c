/* Reading UTF-8, widths, cutting and breaking. */
#include "report/cmocka_setup.h"

#include "report/lettering.h"

static void reads_characters(const char *string, const uint32_t *want, size_t count)
{
    size_t left = strlen(string);
    for (size_t i = 0; i < count; i++) {
        uint32_t code;
        size_t bytes = letter_next(string, left, &code);
        assert_int_equal(code, want[i]);
        assert_true(bytes >= 1 && bytes <= left);
        string += bytes;
        left -= bytes;
    }
    assert_int_equal(left, 0);
}

/* RFC 3629: lengths, and what is refused: overlong forms, surrogates, over U+10FFFF, torn ends. */
static void reads_utf8_and_refuses_what_is_none(void **state)
{
    (void)state;
    reads_characters("a\xc3\xa9\xe2\x82\xac\xf0\x9f\x94\x8b",
                     (const uint32_t[]){'a', 0xe9, 0x20ac, 0x1f50b}, 4);
    reads_characters("\xf4\x8f\xbf\xbf", (const uint32_t[]){0x10ffff}, 1);
    reads_characters("\xc0\x80", (const uint32_t[]){LETTER_BAD, LETTER_BAD}, 2);
    reads_characters("\xe0\x80\x80", (const uint32_t[]){LETTER_BAD, LETTER_BAD, LETTER_BAD}, 3);
    reads_characters("\xed\xa0\x80", (const uint32_t[]){LETTER_BAD, LETTER_BAD, LETTER_BAD}, 3);
    reads_characters("\xf4\x90\x80\x80",
                     (const uint32_t[]){LETTER_BAD, LETTER_BAD, LETTER_BAD, LETTER_BAD}, 4);
    reads_characters("\xe2\x82", (const uint32_t[]){LETTER_BAD, LETTER_BAD}, 2);
    reads_characters("\xc3z", (const uint32_t[]){LETTER_BAD, 'z'}, 2);
    uint32_t code = 1;
    assert_int_equal(letter_next("", 0, &code), 0);
}

static void knows_scripts_written_from_the_right(void **state)
{
    (void)state;
    assert_true(letter_right_to_left(0x05e9)); /* Hebrew shin */
    assert_true(letter_right_to_left(0x0628)); /* Arabic beh */
    assert_false(letter_right_to_left('a'));
    assert_false(letter_right_to_left(0x0434)); /* Cyrillic de */
    assert_false(letter_right_to_left(0x4e2d));
}

static void marks_take_no_room(void **state)
{
    (void)state;
    assert_true(lettering_width("e\xcc\x81", 10, false) == lettering_width("e", 10, false));
    assert_true(lettering_width("\x01\x7f", 10, false) == 0);
    assert_true(lettering_width("\xe7\x94\xb5", 10, false) == 10);
    assert_true(lettering_width("aa", 10, true) > lettering_width("aa", 10, false));
}

static void cuts_to_the_room(void **state)
{
    (void)state;
    struct text cut = TEXT_EMPTY;
    assert_true(lettering_fit(&cut, "Heron", 10, false, 30));
    assert_string_equal(cut.bytes, "Heron");
    for (double room = 10; room < 200; room += 1) {
        text_clear(&cut);
        const char *name = "H\xc3\xa9ron de \xe7\x94\xb5\xe6\xb1\xa0 e\xcc\x81toile";
        bool whole = lettering_fit(&cut, name, 10, false, room);
        assert_true(lettering_width(cut.bytes, 10, false) <= room);
        assert_int_equal(whole, strcmp(cut.bytes, name) == 0);
        if (!whole)
            assert_string_equal(cut.bytes + cut.length - 3, "\xe2\x80\xa6");
        uint32_t code;
        for (size_t at = 0; at < cut.length;) {
            at += letter_next(cut.bytes + at, cut.length - at, &code);
            assert_int_not_equal(code, LETTER_BAD);
        }
    }
    text_clear(&cut);
    lettering_fit(&cut, "Heron", 10, false, 0);
    assert_string_equal(cut.bytes, "\xe2\x80\xa6");
    text_free(&cut);
}

static void breaks_into_lines(void **state)
{
    (void)state;
    const char *text = "Otter holds most after a year-long shelf test";
    static const char *const want[] = {"Otter holds", "most after a", "year-long", "shelf test"};
    for (size_t i = 0; i < 4; i++) {
        size_t next, bytes = lettering_line(text, 10, false, 60, &next);
        assert_int_equal(bytes, strlen(want[i]));
        assert_memory_equal(text, want[i], bytes);
        text += next;
    }
    assert_int_equal(*text, '\0');
    size_t next;
    assert_int_equal(lettering_line("xxxxxxxxxx", 10, false, 21, &next), 4);
    assert_int_equal(next, 4);
    /* no room at all still gets on, by one character */
    assert_int_equal(lettering_line("\xe7\x94\xb5x", 10, false, 0, &next), 3);
    assert_int_equal(lettering_line("", 10, false, 60, &next), 0);
    assert_int_equal(lettering_line("a-b-c", 10, false, 12, &next), 2);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reads_utf8_and_refuses_what_is_none),
        cmocka_unit_test(knows_scripts_written_from_the_right),
        cmocka_unit_test(marks_take_no_room),
        cmocka_unit_test(cuts_to_the_room),
        cmocka_unit_test(breaks_into_lines),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
