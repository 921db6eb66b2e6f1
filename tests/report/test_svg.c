/* Numbers, escapes and elements of SVG. */
#include "report/cmocka_setup.h"

#include <math.h>

#include "report/svg.h"

static void writes(double value, const char *want)
{
    struct text text = TEXT_EMPTY;
    svg_number(&text, value);
    assert_string_equal(text.bytes, want);
    text_free(&text);
}

static void numbers_are_plain(void **state)
{
    (void)state;
    writes(0, "0");
    writes(-0.0, "0");
    writes(-0.004, "0");
    writes(-0.005001, "-0.01");
    writes(1.5, "1.5");
    writes(-12.345678, "-12.35");
    writes(7.05, "7.05");
    writes(99.999, "100");
    writes(1e300, "10000000");
    writes(-INFINITY, "-10000000");
    writes(NAN, "0");
    struct text text = TEXT_EMPTY;
    svg_decimals(&text, 0.123456, 4);
    assert_string_equal(text.bytes, "0.1235");
    text_free(&text);
}

static void escapes(const char *string, const char *want)
{
    struct text text = TEXT_EMPTY;
    text_add(&text, "");
    svg_escaped(&text, string);
    assert_string_equal(text.bytes, want);
    text_free(&text);
}

static void names_stay_text(void **state)
{
    (void)state;
    escapes("<script>\"&'", "&lt;script&gt;&quot;&amp;'");
    escapes("]]>", "]]&gt;");
    escapes("a\x01\n\tb", "a   b");
    escapes("\xff\xef\xbf\xbf", "\xef\xbf\xbd\xef\xbf\xbd"); /* no UTF-8; no XML character */
    escapes("\xd7\xa9\xd7\x9c 5", "\xe2\x81\xa8\xd7\xa9\xd7\x9c 5\xe2\x81\xa9");
    /* an override of the name's own (U+202E) would turn round all that follows */
    escapes("a\xe2\x80\xae"
            "b",
            "\xe2\x81\xa8"
            "ab\xe2\x81\xa9");
    escapes("", "");
}

static void elements_carry_plain_attributes(void **state)
{
    (void)state;
    struct text text = TEXT_EMPTY;
    svg_line(&text, 0, 1, 2.5, -3,
             &(struct svg_stroke){"grid", "#DEDEDE", 0.5, .dash = "2 2", .opacity = 0.4});
    assert_string_equal(text.bytes,
                        "<line x1=\"0\" y1=\"1\" x2=\"2.5\" y2=\"-3\" class=\"grid\" "
                        "stroke=\"#DEDEDE\" stroke-width=\"0.5\" stroke-dasharray=\"2 2\" "
                        "stroke-opacity=\"0.4\"/>\n");
    text_clear(&text);
    svg_rect(&text, 0, 0, -1, 2, NULL, "#FFFFFF");
    assert_string_equal(text.bytes,
                        "<rect x=\"0\" y=\"0\" width=\"0\" height=\"2\" fill=\"#FFFFFF\"/>\n");
    text_clear(&text);
    struct svg_type type = {.class = "ink", .colour = "#222222", .size = 10, .bold = true};
    type.anchor = SVG_END;
    svg_text(&text, 1, 2, "1 < 2", &type);
    assert_string_equal(text.bytes, "<text x=\"1\" y=\"2\" class=\"ink\" font-size=\"10\" "
                                    "font-weight=\"bold\" text-anchor=\"end\" fill=\"#222222\">"
                                    "1 &lt; 2</text>\n");
    text_free(&text);
}

static void cut_texts_keep_the_whole_as_tooltip(void **state)
{
    (void)state;
    struct text text = TEXT_EMPTY;
    struct svg_type type = {.colour = "#222222", .size = 10};
    svg_text_fit(&text, 0, 0, "A name that is too long", 60, &type);
    assert_contains(text.bytes, ">A name th\xe2\x80\xa6<title>A name that is too long</title>");
    text_clear(&text);
    svg_text_fit(&text, 0, 0, "Short", 60, &type);
    assert_lacks(text.bytes, "<title>");
    text_free(&text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(numbers_are_plain),
        cmocka_unit_test(names_stay_text),
        cmocka_unit_test(elements_carry_plain_attributes),
        cmocka_unit_test(cut_texts_keep_the_whole_as_tooltip),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
