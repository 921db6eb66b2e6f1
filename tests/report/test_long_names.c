/* Long names in charts and on labels: shortened with an ellipsis, told apart, whole as tooltips. */
#include "report/cmocka_setup.h"

#include "base/name.h"
#include "report/invented.h"
#include "report/labels.h"
#include "report/svg.h"

#define MODELS 6

/* As long as may be, with letters of every length and what markup is made of; the same but for one
 * letter: at the end, in the middle. */
static const char *names[MODELS];
static struct text made[MODELS - 1];

static int make_names(void **state)
{
    static const char *const letters[] = {"<", "\xd7\xa9", "&", "\xe9\x9b\xbb", "\xf0\x9f\x94\x8b"};
    static const size_t at[MODELS - 1] = {254, 254, 254, 128, 128};
    (void)state;
    for (size_t m = 0; m + 1 < MODELS; m++) {
        for (size_t i = 0; i < NAME_LETTERS; i++)
            if (i == at[m])
                text_addf(&made[m], "%zu", m);
            else
                text_add(&made[m], letters[(i * i + i / 7) % 5]);
        assert_int_equal(name_letters(made[m].bytes), NAME_LETTERS);
        names[m] = made[m].bytes;
    }
    names[MODELS - 1] = "Heron 2000";
    return 0;
}

static int free_names(void **state)
{
    (void)state;
    for (size_t m = 0; m + 1 < MODELS; m++)
        text_free(&made[m]);
    return 0;
}

/* In <text ...>SHOWN<title>WHOLE</title></text>: every long name is there, whole, shown with an
 * ellipsis, and none is shown as another is. */
static void tells_apart(const char *svg)
{
    struct text shown[MODELS - 1];
    for (size_t m = 0; m + 1 < MODELS; m++) {
        struct text whole = TEXT_EMPTY;
        text_add(&whole, "<title>");
        svg_escaped(&whole, names[m]);
        text_add(&whole, "</title></text>");
        const char *title = strstr(svg, whole.bytes);
        assert_non_null(title);
        const char *from = title;
        while (from[-1] != '>')
            from--;
        shown[m] = (struct text)TEXT_EMPTY;
        text_add_bytes(&shown[m], from, (size_t)(title - from));
        assert_contains(shown[m].bytes, "\xe2\x80\xa6");
        for (size_t i = 0; i < m; i++)
            assert_string_not_equal(shown[i].bytes, shown[m].bytes);
        text_free(&whole);
    }
    for (size_t m = 0; m + 1 < MODELS; m++)
        text_free(&shown[m]);
    assert_contains(svg, ">Heron 2000<");
    assert_lacks(svg, "\xef\xbf\xbd"); /* U+FFFD stands for a letter torn in two */
}

/* Draws `kind` with the names in place of the invented ones. */
#define CHECK(kind, preset)                                                                        \
    do {                                                                                           \
        struct kind##_chart chart = invented_##kind(MODELS, preset);                               \
        struct text svg = TEXT_EMPTY;                                                              \
        for (size_t m = 0; m < MODELS; m++)                                                        \
            kind##_models[m].name = names[m];                                                      \
        chart_##kind(&svg, &chart);                                                                \
        tells_apart(svg.bytes);                                                                    \
        text_free(&svg);                                                                           \
    } while (0)

static void charts_tell_long_names_apart(void **state)
{
    (void)state;
    static const enum chart_preset presets[] = {CHART_REPORT, CHART_ARTICLE, CHART_VIDEO,
                                                CHART_NARROW};
    for (size_t p = 0; p < 4; p++) {
        CHECK(discharge, presets[p]);
        CHECK(retention, presets[p]);
        CHECK(resistance, presets[p]);
        CHECK(ranking, presets[p]);
        CHECK(fade, presets[p]);
    }
}

static void labels_tell_long_names_apart(void **state)
{
    (void)state;
    for (int cell = LABEL_AA; cell <= LABEL_AAA; cell++) {
        struct label_sheet sheet = {(enum label_cell)cell, PAPER_A4, "Cells"};
        struct cell_label labels[MODELS];
        struct text svg = TEXT_EMPTY;
        for (size_t m = 0; m < MODELS; m++)
            labels[m] = (struct cell_label){"HER-01", names[m], "AA NiMH 2000 mAh"};
        assert_int_equal(labels_svg(&svg, &sheet, labels, MODELS, 0, NULL), 0);
        tells_apart(svg.bytes);
        assert_true(label_holds(sheet.cell, "Heron 2000"));
        assert_false(label_holds(sheet.cell, names[0]));
        text_free(&svg);
    }
}

/* Where the height may grow, a finding keeps its end, however long the names in it are. */
static void a_long_finding_is_not_cut(void **state)
{
    (void)state;
    struct ranking_chart chart = invented_ranking(MODELS, CHART_NARROW);
    struct text svg = TEXT_EMPTY, title = TEXT_EMPTY;
    for (int i = 0; i < 5; i++)
        text_add(&title, "Heron for the long winters of the north ");
    text_add(&title, "is 17");
    chart.head.title = title.bytes;
    chart_ranking(&svg, &chart);
    assert_contains(svg.bytes, "is 17</text>");
    text_free(&title);
    text_free(&svg);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(charts_tell_long_names_apart),
        cmocka_unit_test(labels_tell_long_names_apart),
        cmocka_unit_test(a_long_finding_is_not_cut),
    };
    return cmocka_run_group_tests(tests, make_names, free_names);
}
