/* The page of a report: everything is escaped, empty parts are left out, the same twice. */
#include "report/cmocka_setup.h"

#include "report/page.h"

#define NASTY "<script>alert(\"1\")</script>&'"

static const char *written; /* of the last page, owned by `page_text` */
static struct text page_text;

static void write_page(const struct page *page)
{
    text_free(&page_text);
    page_text = (struct text)TEXT_EMPTY;
    page_write(&page_text, page);
    written = page_text.bytes;
}

static int tear_down(void **state)
{
    (void)state;
    text_free(&page_text);
    page_text = (struct text)TEXT_EMPTY;
    return 0;
}

/* Every place that takes a text, each with the same nasty one. */
static struct page nasty_page(void)
{
    static const char *const items[] = {NASTY, NASTY};
    static const struct page_column columns[] = {{NASTY, false, true}, {"unused", true, false}};
    static const char *const fields[] = {NASTY, NULL};
    static const struct page_fact facts[] = {{NASTY, NASTY}};
    static const struct page_listing listings[] = {{NASTY, NASTY, NASTY "\n" NASTY}};
    static const struct page_chart charts[] = {{NASTY, NULL, NULL, NASTY}};
    static const struct page_table table = {columns, 2, fields, 1};
    static const struct page_part parts[] = {{NASTY, {columns, 2, fields, 1}, {items, 2}}};
    return (struct page){.title = NASTY,
                         .lead = NASTY,
                         .warning = NASTY,
                         .summary = {items, 2},
                         .ranking = table,
                         .ranking_notes = {items, 2},
                         .charts = charts,
                         .chart_count = 1,
                         .parts = parts,
                         .part_count = 1,
                         .results = table,
                         .results_note = NASTY,
                         .method = facts,
                         .method_count = 1,
                         .listings = listings,
                         .listing_count = 1,
                         .troubles_summary = {items, 2},
                         .troubles = table,
                         .foot = NASTY};
}

static void texts_stay_texts(void **state)
{
    (void)state;
    struct page page = nasty_page();
    write_page(&page);
    assert_int_equal(occurrences(written, "<script"), 0);
    assert_int_equal(occurrences(written, "alert(\"1\")"), 0);
    /* title twice, lead, warning, foot; lists 4 x 2; tables 4 x 2; note; fact 2; listing 4;
     * chart 2; heading of a part */
    assert_int_equal(
        occurrences(written, "&lt;script&gt;alert(&quot;1&quot;)&lt;/script&gt;&amp;'"),
        5 + 8 + 8 + 1 + 2 + 4 + 2 + 1);
}

static void asks_for_nothing(void **state)
{
    (void)state;
    struct page page = nasty_page();
    write_page(&page);
    assert_int_equal(occurrences(written, "src="), 0);
    assert_int_equal(occurrences(written, "href=\"#"), occurrences(written, "href="));
    assert_int_equal(occurrences(written, "url("), 0);
    assert_int_equal(occurrences(written, "@import"), 0);
    assert_int_equal(occurrences(written, "default-src 'none'"), 1);
}

static void empty_page_is_whole(void **state)
{
    (void)state;
    struct page page = {0};
    write_page(&page);
    assert_int_equal(occurrences(written, "<h1>Report</h1>"), 1);
    assert_int_equal(occurrences(written, "<table"), 0);
    assert_int_equal(occurrences(written, "<figure>"), 0);
    assert_int_equal(occurrences(written, "<section"), 6);
    assert_int_equal(occurrences(written, "</section>"), 6);
    assert_string_equal(written + strlen(written) - strlen("</html>\n"), "</html>\n");
}

static void charts_go_in_as_they_are(void **state)
{
    (void)state;
    const struct page_chart charts[] = {{"One", "<svg>1</svg>", "<svg>2</svg>", NULL},
                                        {"Two", "<svg>3</svg>", NULL, "never shown"}};
    struct page page = {.charts = charts, .chart_count = 2};
    write_page(&page);
    assert_int_equal(occurrences(written, "<svg>1</svg>"), 1);
    assert_int_equal(occurrences(written, "<svg>2</svg>"), 1);
    assert_int_equal(occurrences(written, "<svg>3</svg>"), 1);
    assert_int_equal(occurrences(written, "wide has-narrow"),
                     1); /* else the second would vanish on a telephone */
    assert_int_equal(occurrences(written, "never shown"), 0);
}

static void empty_columns_are_left_out(void **state)
{
    (void)state;
    const struct page_column columns[] = {
        {"one", false, false}, {"two", true, false}, {"three", false, true}};
    const char *const fields[] = {"a", "", NULL, "b", NULL, "c"};
    struct page page = {.results = {columns, 3, fields, 2}};
    write_page(&page);
    assert_int_equal(occurrences(written, "<th "), 2);
    assert_int_equal(occurrences(written, ">two<"), 0);
    assert_contains(written, "<tr><td>a</td><td></td></tr>");
    assert_contains(written, "<tr><td>b</td><td>c</td></tr>");
}

static void listings_keep_their_lines(void **state)
{
    (void)state;
    const struct page_listing listings[] = {{"a.lua", NULL, "if a < b then\n  x()\nend"}};
    struct page page = {.listings = listings, .listing_count = 1};
    write_page(&page);
    assert_int_equal(occurrences(written, "<pre>if a &lt; b then\n  x()\nend\n</pre>"), 1);
}

static void same_page_same_bytes(void **state)
{
    (void)state;
    struct page page = nasty_page();
    write_page(&page);
    struct text again = TEXT_EMPTY;
    page_write(&again, &page);
    assert_int_equal(again.length, page_text.length);
    assert_memory_equal(again.bytes, page_text.bytes, again.length);
    text_free(&again);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_teardown(texts_stay_texts, tear_down),
        cmocka_unit_test_teardown(asks_for_nothing, tear_down),
        cmocka_unit_test_teardown(empty_page_is_whole, tear_down),
        cmocka_unit_test_teardown(charts_go_in_as_they_are, tear_down),
        cmocka_unit_test_teardown(empty_columns_are_left_out, tear_down),
        cmocka_unit_test_teardown(listings_keep_their_lines, tear_down),
        cmocka_unit_test_teardown(same_page_same_bytes, tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
