/* What holds for every chart: well-formed, the same twice, honest about empty and odd input, names
 * that stay text; in each preset. */
#include "report/cmocka_setup.h"

#include <cairo.h>

#include "report/invented.h"
#include "report/picture.h"

enum kind { DISCHARGE, RETENTION, RESISTANCE, RANKING, FADE, KINDS };

static const char *const says_when_empty[KINDS] = {"no readings", "no checks", "no results",
                                                   "no results", "no data"};
static const char *const units[KINDS] = {"(mAh)", "(% of fresh)", "(m\xce\xa9)", "(mAh)", "Cycles"};

/* What a test may change in a chart before it is drawn. */
struct change {
    const char *name;  /* of every model */
    const char *title; /* and conditions and note */
    const char *id;
    const double *value;
    bool bare; /* models without any data */
};

static void change_head(struct chart_head *head, const struct change *change)
{
    if (change->title != NULL)
        head->title = head->conditions = head->note = change->title;
    if (change->id != NULL)
        head->id = change->id;
}

static void draw_discharge(struct text *out, size_t models, enum chart_preset preset,
                           const struct change *change)
{
    struct discharge_chart chart = invented_discharge(models, preset);
    change_head(&chart.head, change);
    for (size_t i = 0; i < models; i++) {
        if (change->name != NULL)
            discharge_models[i].name = change->name;
        if (change->bare)
            discharge_models[i].count = 0;
        for (size_t j = 0; j < INVENTED_CELLS && change->value != NULL; j++)
            for (size_t k = 0; k < INVENTED_POINTS; k++)
                curve_charge[i][j][k] = curve_voltage[i][j][k] = *change->value;
    }
    chart_discharge(out, &chart);
}

static void draw_retention(struct text *out, size_t models, enum chart_preset preset,
                           const struct change *change)
{
    struct retention_chart chart = invented_retention(models, preset);
    change_head(&chart.head, change);
    for (size_t i = 0; i < models; i++) {
        if (change->name != NULL)
            retention_models[i].name = change->name;
        if (change->bare)
            retention_models[i].check_count = retention_models[i].fit_count = 0;
        for (size_t j = 0; j < INVENTED_FIT && change->value != NULL; j++)
            retention_fits[i][j] = (struct retention_fit){*change->value, *change->value,
                                                          *change->value, *change->value};
        for (size_t j = 0; j < retention_models[i].check_count && change->value != NULL; j++)
            retention_checks[i][j].time = retention_checks[i][j].ratio = *change->value;
    }
    chart_retention(out, &chart);
}

static void draw_resistance(struct text *out, size_t models, enum chart_preset preset,
                            const struct change *change)
{
    struct resistance_chart chart = invented_resistance(models, preset);
    change_head(&chart.head, change);
    if (change->bare)
        chart.count = 0;
    for (size_t i = 0; i < models; i++) {
        if (change->name != NULL)
            resistance_models[i].name = change->name;
        if (change->value != NULL)
            resistance_models[i].before = resistance_models[i].after = cells_before[i][0] =
                cells_after[i][0] = *change->value;
    }
    chart_resistance(out, &chart);
}

static void draw_ranking(struct text *out, size_t models, enum chart_preset preset,
                         const struct change *change)
{
    struct ranking_chart chart = invented_ranking(models, preset);
    change_head(&chart.head, change);
    if (change->bare)
        chart.count = 0;
    for (size_t i = 0; i < models; i++) {
        if (change->name != NULL)
            ranking_models[i].name = change->name;
        if (change->value != NULL)
            ranking_models[i].value = ranking_models[i].low = ranking_models[i].high =
                ranking_models[i].rated = ranking_cells[i][0] = *change->value;
    }
    chart_ranking(out, &chart);
}

static void draw_fade(struct text *out, size_t models, enum chart_preset preset,
                      const struct change *change)
{
    struct fade_chart chart = invented_fade(models, preset);
    change_head(&chart.head, change);
    for (size_t i = 0; i < models; i++) {
        if (change->name != NULL)
            fade_models[i].name = change->name;
        if (change->bare)
            fade_models[i].count = fade_models[i].line_count = 0;
        if (change->value != NULL)
            fade_models[i].cycles_to_threshold = *change->value;
        for (size_t k = 0; k < INVENTED_CYCLES && change->value != NULL; k++)
            fade_cycles[k] = fade_ratio[i][k] = *change->value;
    }
    chart_fade(out, &chart);
}

static void draw(struct text *out, enum kind kind, size_t models, enum chart_preset preset,
                 const struct change *change)
{
    static void (*const draws[KINDS])(struct text *, size_t, enum chart_preset,
                                      const struct change *) = {
        draw_discharge, draw_retention, draw_resistance, draw_ranking, draw_fade};
    static const struct change none;
    draws[kind](out, models, preset, change != NULL ? change : &none);
}

/* Well-formed by the reader of librsvg, which draws it; no number that is none. */
static void is_a_picture(const struct text *svg)
{
    struct error error;
    struct text png = TEXT_EMPTY;
    error_clear(&error);
    if (picture_png(&png, svg, 0.25, &error) != 0) {
        print_error("%s in %.2000s\n", error.why, svg->bytes);
        fail();
    }
    text_free(&png);
    assert_lacks(svg->bytes, "nan");
    assert_lacks(svg->bytes, "inf");
    assert_lacks(svg->bytes, "\"-0\"");
    assert_lacks(svg->bytes, "(null)");
}

static void every_chart_is_complete(void **state)
{
    (void)state;
    static const char *const sizes[] = {" width=\"720\" ", " width=\"1200\" height=\"675\" ",
                                        " width=\"1920\" height=\"1080\" viewBox=\"0 0 960 540\""};
    for (int kind = 0; kind < KINDS; kind++)
        for (int preset = CHART_REPORT; preset <= CHART_VIDEO; preset++)
            for (size_t models = 1; models <= INVENTED_MODELS; models += 3) {
                struct text svg = TEXT_EMPTY;
                draw(&svg, (enum kind)kind, models, (enum chart_preset)preset, NULL);
                is_a_picture(&svg);
                assert_contains(svg.bytes, sizes[preset]);
                assert_contains(svg.bytes, "role=\"img\" aria-labelledby=\"");
                assert_int_equal(occurrences(svg.bytes, "<desc id="), 1);
                assert_contains(svg.bytes, "-title\">");
                assert_contains(svg.bytes, units[kind]);
                assert_contains(svg.bytes, ">Heron 2000");
                assert_contains(svg.bytes, "Invented");
                assert_lacks(svg.bytes, says_when_empty[kind]);
                size_t shown = preset == CHART_VIDEO && models > 6 ? 6 : models;
                bool all_drawn = kind == DISCHARGE || kind == RETENTION;
                assert_int_equal(occurrences(svg.bytes, "<g class=\"series"),
                                 all_drawn ? models : shown);
                if (all_drawn)
                    assert_int_equal(occurrences(svg.bytes, "<g class=\"series\""), shown);
                text_free(&svg);
            }
}

static void the_same_input_gives_the_same_bytes(void **state)
{
    (void)state;
    for (int kind = 0; kind < KINDS; kind++) {
        struct text first = TEXT_EMPTY, second = TEXT_EMPTY;
        draw(&first, (enum kind)kind, 5, CHART_REPORT, NULL);
        draw(&second, (enum kind)kind, 5, CHART_REPORT, NULL);
        assert_string_equal(first.bytes, second.bytes);
        text_free(&first);
        text_free(&second);
    }
}

static void empty_charts_say_so(void **state)
{
    (void)state;
    for (int kind = 0; kind < KINDS; kind++)
        for (int preset = CHART_REPORT; preset <= CHART_VIDEO; preset++)
            for (size_t models = 0; models <= 2; models += 2) {
                struct text svg = TEXT_EMPTY;
                draw(&svg, (enum kind)kind, models, (enum chart_preset)preset,
                     &(struct change){.bare = true});
                is_a_picture(&svg);
                assert_contains(svg.bytes, says_when_empty[kind]);
                text_free(&svg);
            }
}

static void odd_values_are_survived(void **state)
{
    (void)state;
    static const double values[] = {NAN,  INFINITY, -INFINITY, 1e300, -1e300,
                                    1e29, 0,        1,         -5,    1e-300};
    for (int kind = 0; kind < KINDS; kind++)
        for (size_t i = 0; i < sizeof values / sizeof *values; i++)
            for (size_t models = 1; models <= 3; models += 2) {
                struct text svg = TEXT_EMPTY;
                draw(&svg, (enum kind)kind, models, CHART_REPORT,
                     &(struct change){.value = &values[i]});
                is_a_picture(&svg);
                text_free(&svg);
            }
}

static void hard_names_stay_text(void **state)
{
    (void)state;
    char long_name[201];
    memset(long_name, 'W', 200);
    long_name[200] = '\0';
    const char *names[] = {
        long_name,
        "\xd7\xa9\xd7\x9c\xd7\x95\xd7\x9d \xd7\xa2\xd7\x95\xd7\x9c\xd7\x9d",
        "<b onload=\"x\">&amp;</b> ]]> --> ' \"",
        "\xff\xfe bad \x01 bytes \xc3",
        "",
        "\xf0\x9f\x94\x8b \xe7\x94\xb5\xe6\xb1\xa0",
    };
    for (int kind = 0; kind < KINDS; kind++)
        for (int preset = CHART_REPORT; preset <= CHART_VIDEO; preset++)
            for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
                struct text svg = TEXT_EMPTY;
                draw(&svg, (enum kind)kind, 3, (enum chart_preset)preset,
                     &(struct change){.name = names[i], .title = names[i], .id = names[i]});
                is_a_picture(&svg);
                assert_lacks(svg.bytes, "<b ");
                assert_lacks(svg.bytes, "\x01");
                text_free(&svg);
            }
    struct text svg = TEXT_EMPTY;
    draw(&svg, RANKING, 3, CHART_REPORT, &(struct change){.name = long_name});
    struct text whole = TEXT_EMPTY;
    text_addf(&whole, "W\xe2\x80\xa6<title>%s</title>", long_name);
    assert_contains(svg.bytes, whole.bytes); /* cut on the chart, whole as tooltip */
    text_free(&whole);
    text_free(&svg);
}

static void ids_are_safe_and_the_callers_own(void **state)
{
    (void)state;
    struct text svg = TEXT_EMPTY;
    draw(&svg, FADE, 2, CHART_REPORT, &(struct change){.id = "fade-7"});
    assert_contains(svg.bytes, "aria-labelledby=\"fade-7-title fade-7-desc\"");
    assert_contains(svg.bytes, "url(#fade-7-clip-1)");
    text_clear(&svg);
    draw(&svg, FADE, 2, CHART_REPORT, &(struct change){.id = "1 \"x\""});
    assert_contains(svg.bytes, "aria-labelledby=\"chart-title chart-desc\"");
    text_free(&svg);
}

static void a_long_title_takes_nothing_from_the_chart(void **state)
{
    (void)state;
    char title[400];
    for (size_t i = 0; i < sizeof title; i++)
        title[i] = i % 6 == 5 ? ' ' : 'm';
    title[sizeof title - 1] = '\0';
    for (int kind = 0; kind < KINDS; kind++) {
        double heights[2];
        for (int i = 0; i < 2; i++) {
            struct text svg = TEXT_EMPTY;
            draw(&svg, (enum kind)kind, 4, CHART_REPORT,
                 i == 0 ? NULL : &(struct change){.title = title});
            const char *at = strstr(svg.bytes, "height=\"");
            assert_int_equal(sscanf(at, "height=\"%lf\"", &heights[i]), 1);
            text_free(&svg);
        }
        assert_true(heights[1] > heights[0]);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_chart_is_complete),
        cmocka_unit_test(the_same_input_gives_the_same_bytes),
        cmocka_unit_test(empty_charts_say_so),
        cmocka_unit_test(odd_values_are_survived),
        cmocka_unit_test(hard_names_stay_text),
        cmocka_unit_test(ids_are_safe_and_the_callers_own),
        cmocka_unit_test(a_long_title_takes_nothing_from_the_chart),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
