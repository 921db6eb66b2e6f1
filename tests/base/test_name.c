/* Short forms of names that can still be told apart. */
#include "support/cmocka_setup.h"

#include <stdlib.h>
#include <string.h>

#include "base/name.h"

#define ELLIPSIS "\xe2\x80\xa6"
#define SHIN     "\xd7\xa9"
#define BATTERY  "\xf0\x9f\x94\x8b"

static void is_utf8(const char *at)
{
    for (size_t bytes; *at != '\0'; at += bytes) {
        unsigned char first = (unsigned char)*at;
        bytes = first < 0x80 ? 1 : first < 0xe0 ? 2 : first < 0xf0 ? 3 : 4;
        assert_false(first >= 0x80 && first < 0xc0);
        for (size_t i = 1; i < bytes; i++)
            assert_int_equal((unsigned char)at[i] & 0xc0, 0x80);
    }
}

/* Shortens, checks that none is wider than the room, and compares with what is wanted, if it is. */
static void shortens(const char *const *names, size_t count, double room, const char *const *want)
{
    struct text *forms = xcalloc(count, sizeof *forms);
    bool whole = names_shorten(forms, names, count, room, NULL, NULL);
    for (size_t i = 0; i < count; i++) {
        is_utf8(forms[i].bytes);
        assert_true((double)name_letters(forms[i].bytes) <= room);
        if (want)
            assert_string_equal(forms[i].bytes, want[i]);
        if (whole)
            assert_string_equal(forms[i].bytes, names[i]);
        for (size_t j = 0; j < i; j++)
            assert_int_equal(strcmp(forms[i].bytes, forms[j].bytes) == 0,
                             strcmp(names[i], names[j]) == 0);
    }
    for (size_t i = 0; i < count; i++)
        text_free(&forms[i]);
    free(forms);
}

#define SHORTENS(room, ...)                                                                        \
    do {                                                                                           \
        static const char *const both[][2] = {__VA_ARGS__};                                        \
        const char *names[sizeof both / sizeof *both], *want[sizeof both / sizeof *both];          \
        for (size_t i = 0; i < sizeof both / sizeof *both; i++) {                                  \
            names[i] = both[i][0];                                                                 \
            want[i] = both[i][1];                                                                  \
        }                                                                                          \
        shortens(names, sizeof both / sizeof *both, room, want);                                   \
    } while (0)

static void counts_letters_and_not_bytes(void **state)
{
    (void)state;
    assert_int_equal(name_letters(""), 0);
    assert_int_equal(name_letters("a" SHIN BATTERY "b"), 4);
    assert_true(NAME_ROOM > 4 * NAME_LETTERS);
}

static void leaves_what_fits(void **state)
{
    (void)state;
    SHORTENS(12, {"Heron", "Heron"}, {"Otter 2000 A", "Otter 2000 A"}, {"", ""});
    struct text form = TEXT_EMPTY;
    assert_true(names_shorten(&form, (const char *[]){"Heron"}, 1, 5, NULL, NULL));
    assert_false(names_shorten(&form, (const char *[]){"Herons"}, 1, 5, NULL, NULL));
    text_free(&form);
}

static void cuts_the_end_where_that_will_do(void **state)
{
    (void)state;
    SHORTENS(10, {"Heron for the long winters", "Heron for" ELLIPSIS},
             {"Otter for the long winters", "Otter for" ELLIPSIS}, {"Short", "Short"});
    SHORTENS(7, {"Heron for", "Heron" ELLIPSIS}); /* no space before the ellipsis */
}

static void keeps_ends_that_differ(void **state)
{
    (void)state;
    SHORTENS(9, {"Heron for the long winters A", "Hero" ELLIPSIS "rs A"},
             {"Heron for the long winters B", "Hero" ELLIPSIS "rs B"});
}

static void keeps_middles_that_differ(void **state)
{
    (void)state;
    SHORTENS(9, {"Heron for the 2000 long winters", "He" ELLIPSIS " 2000" ELLIPSIS},
             {"Heron for the 2500 long winters", "He" ELLIPSIS " 2500" ELLIPSIS});
}

/* Some differ at the end, some in the middle: each is cut where it differs. */
static void cuts_each_where_it_differs(void **state)
{
    (void)state;
    SHORTENS(9, {"Heron for the long winters A", "Hero" ELLIPSIS "rs A"},
             {"Heron for the long winters B", "Hero" ELLIPSIS "rs B"},
             {"Heron for 2000 long winters C", "He" ELLIPSIS " 2000" ELLIPSIS},
             {"Heron for 2500 long winters C", "He" ELLIPSIS " 2500" ELLIPSIS}, {"Otter", "Otter"});
}

static void numbers_what_no_cut_tells_apart(void **state)
{
    (void)state;
    SHORTENS(8, {"----A----------A----", "1:----A" ELLIPSIS},
             {"----A----------B----", "2:----A" ELLIPSIS},
             {"----B----------A----", "3:----B" ELLIPSIS},
             {"----B----------B----", "4:----B" ELLIPSIS});
}

static void the_same_name_has_one_form(void **state)
{
    (void)state;
    SHORTENS(6, {"Heron winter A", "He" ELLIPSIS "r A"}, {"Heron winter B", "He" ELLIPSIS "r B"},
             {"Heron winter A", "He" ELLIPSIS "r A"});
}

/* Longest names of letters of all lengths, at every room: whole characters, no two alike. */
static void tells_apart_in_any_room(void **state)
{
    (void)state;
    static const char *const letters[] = {"<", SHIN, "\xe9\x9b\xbb", BATTERY, "'", "\"", "&"};
    struct text names[6] = {TEXT_EMPTY};
    const char *all[6];
    for (size_t n = 0; n < 6; n++) {
        for (size_t i = 0; i < NAME_LETTERS; i++)
            text_add(&names[n], i == 40 * n + 20 ? "X" : letters[(i * i + i / 3) % 7]);
        all[n] = names[n].bytes;
        assert_int_equal(name_letters(all[n]), NAME_LETTERS);
    }
    for (double room = 7; room <= NAME_LETTERS; room += room < 60 ? 1 : 13)
        shortens(all, 6, room, NULL);
    for (size_t n = 0; n < 6; n++)
        text_free(&names[n]);
}

/* A mark of no width stays with its letter, and begins nothing. */
static double without_marks(const char *letter, size_t bytes, const void *how)
{
    (void)how;
    return bytes == 2 && memcmp(letter, "\xcc\x81", 2) == 0 ? 0 : 1;
}

static void keeps_marks_with_their_letters(void **state)
{
    (void)state;
    static const char *const names[] = {"e\xcc\x81"
                                        "e\xcc\x81"
                                        "e\xcc\x81"
                                        "e\xcc\x81"
                                        "a",
                                        "e\xcc\x81"
                                        "e\xcc\x81"
                                        "e\xcc\x81"
                                        "e\xcc\x81"
                                        "b"};
    struct text forms[2] = {TEXT_EMPTY, TEXT_EMPTY};
    names_shorten(forms, names, 2, 4, without_marks, NULL);
    assert_string_equal(forms[0].bytes, "e\xcc\x81" ELLIPSIS "e\xcc\x81"
                                        "a");
    assert_string_equal(forms[1].bytes, "e\xcc\x81" ELLIPSIS "e\xcc\x81"
                                        "b");
    text_free(&forms[0]);
    text_free(&forms[1]);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(counts_letters_and_not_bytes),
        cmocka_unit_test(leaves_what_fits),
        cmocka_unit_test(cuts_the_end_where_that_will_do),
        cmocka_unit_test(keeps_ends_that_differ),
        cmocka_unit_test(keeps_middles_that_differ),
        cmocka_unit_test(cuts_each_where_it_differs),
        cmocka_unit_test(numbers_what_no_cut_tells_apart),
        cmocka_unit_test(the_same_name_has_one_form),
        cmocka_unit_test(tells_apart_in_any_room),
        cmocka_unit_test(keeps_marks_with_their_letters),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
