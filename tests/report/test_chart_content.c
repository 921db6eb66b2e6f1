/* What each chart shows is what it was given: order, numbers, places of marks. */
#include "report/cmocka_setup.h"

#include "report/invented.h"

/* The parts stand in the text in this order. */
static void stand_in_order(const char *text, const char *const *parts, size_t count)
{
    const char *at = text;
    for (size_t i = 0; i < count; i++) {
        const char *next = strstr(at, parts[i]);
        if (next == NULL) {
            print_error("\"%s\" does not follow, part %zu\n", parts[i], i);
            fail();
        }
        at = next + strlen(parts[i]);
    }
}

/* An axis from the data attributes of the n-th plot: "low high from to". */
struct axis_read {
    double low, high, from, to;
};

static struct axis_read read_axis(const char *svg, const char *name)
{
    struct axis_read axis;
    const char *at = strstr(svg, name);
    assert_non_null(at);
    at = strchr(at, '"') + 1;
    assert_int_equal(sscanf(at, "%lf %lf %lf %lf", &axis.low, &axis.high, &axis.from, &axis.to), 4);
    return axis;
}

static double value_at(const struct axis_read *axis, double pixel)
{
    return axis->low + (pixel - axis->from) / (axis->to - axis->from) * (axis->high - axis->low);
}

static void discharge_sorts_its_key_by_charge(void **state)
{
    (void)state;
    struct discharge_chart chart = invented_discharge(4, CHART_REPORT);
    struct text svg = TEXT_EMPTY;
    chart_discharge(&svg, &chart);
    static const char *const order[] = {"class=\"key\"", ">Otter 2450<", ">Heron 2000<",
                                        ">Lantern Plus<", ">Beacon Cd<"};
    stand_in_order(svg.bytes, order, 5);
    assert_int_equal(occurrences(svg.bytes, "class=\"median\""), 4);
    assert_int_equal(occurrences(svg.bytes, "class=\"sibling\""), 4 * (INVENTED_CELLS - 1));
    assert_contains(svg.bytes, ">end voltage 1.00 V<");
    text_free(&svg);
}

/* Three cells of 1000, 1100 and 1500 mAh: the median has 1100; of two, the lower counts. */
static void discharge_takes_the_median_cell(void **state)
{
    (void)state;
    static const double charges[3][2] = {{0, 5400}, {0, 3600}, {0, 3960}}, volts[] = {1.4, 0.9};
    struct discharge_curve cells[3];
    for (size_t i = 0; i < 3; i++)
        cells[i] = (struct discharge_curve){"KES-07", charges[i], volts, 2};
    struct discharge_model model = {"Kestrel", 0, cells, 3};
    struct discharge_chart chart = {.models = &model, .count = 1, .end_voltage = NAN};
    struct text svg = TEXT_EMPTY;
    chart_discharge(&svg, &chart);
    assert_contains(svg.bytes, ">1100 mAh<");
    assert_lacks(svg.bytes, "end voltage");
    model.count = 2;
    text_clear(&svg);
    chart_discharge(&svg, &chart);
    assert_contains(svg.bytes, ">1000 mAh<");
    struct axis_read x = read_axis(svg.bytes, "data-x"), y = read_axis(svg.bytes, "data-y");
    const char *path = strstr(strstr(svg.bytes, "class=\"median\""), " d=\"M");
    double x1, y1, x2, y2;
    assert_int_equal(sscanf(path, " d=\"M%lf %lfL%lf %lf", &x1, &y1, &x2, &y2), 4);
    assert_true(fabs(value_at(&x, x1)) < 0.1 && fabs(value_at(&x, x2) - 1000) < 0.1);
    assert_true(fabs(value_at(&y, y1) - 1.4) < 1e-4 && fabs(value_at(&y, y2) - 0.9) < 1e-4);
    assert_true(x.low == 0);
    text_free(&svg);
}

static void discharge_keeps_six_in_front_for_video(void **state)
{
    (void)state;
    struct discharge_chart chart = invented_discharge(8, CHART_VIDEO);
    discharge_models[1].style = STYLE_OTHERS; /* the best, but asked to stand back */
    struct text svg = TEXT_EMPTY;
    chart_discharge(&svg, &chart);
    assert_int_equal(occurrences(svg.bytes, "<g class=\"series\""), 6);
    assert_int_equal(occurrences(svg.bytes, "<g class=\"series others\""), 2);
    assert_contains(svg.bytes, "<g class=\"series others\" data-series=\"1\">"); /* Otter */
    assert_contains(svg.bytes, "<g class=\"series others\" data-series=\"3\">"); /* Beacon, least */
    assert_contains(svg.bytes, ">2 other models<");
    text_free(&svg);
}

static void retention_dates_forecast_and_ends(void **state)
{
    (void)state;
    const double day = 86400;
    const struct retention_mark checks[] = {
        {0, 1, "A"}, {28 * day, 0.9, "A"}, {100 * day, 0.8, "A"}};
    const struct retention_fit fit[] = {
        {0, 1, 0.98, 1}, {80 * day, 0.84, 0.8, 0.88}, {200 * day, 0.6, 0.5, 0.7}};
    struct retention_model model = {"Kestrel", 2, checks, 3, fit, 3};
    struct retention_chart chart = {.models = &model, .count = 1, .band = "95 %, by cell"};
    struct text svg = TEXT_EMPTY;
    chart_retention(&svg, &chart);
    static const char *const dates[] = {">0</text>", ">28</text>", ">100</text>", ">200</text>"};
    stand_in_order(strstr(svg.bytes, ">100</text>") + 1, dates, 4);
    assert_contains(svg.bytes,
                    "Dashed: forecast, to the figures at the right. Band: 95 %, by cell.");
    assert_contains(svg.bytes, ">60 %</text>");
    assert_contains(svg.bytes, "<title>A, day 28: 90.0 %</title>");
    assert_int_equal(occurrences(svg.bytes, "class=\"check\""), 3);
    assert_contains(svg.bytes, "Kestrel: 60 % after 200 days (forecast).");
    /* solid to day 100, where the straight line between the fit's points lies at 80 % */
    struct axis_read x = read_axis(svg.bytes, "data-x"), y = read_axis(svg.bytes, "data-y");
    double x1, y1, x2, y2;
    const char *path = strstr(strstr(svg.bytes, "class=\"forecast\""), " d=\"M");
    assert_int_equal(sscanf(path, " d=\"M%lf %lfL%lf %lf", &x1, &y1, &x2, &y2), 4);
    assert_true(fabs(value_at(&x, x1) - 100) < 0.01 && fabs(value_at(&x, x2) - 200) < 0.01);
    assert_true(fabs(value_at(&y, y1) - 80) < 0.01 && fabs(value_at(&y, y2) - 60) < 0.01);
    assert_true(y.low == 0 && y.high == 100);
    text_free(&svg);

    model.fit_count = 2; /* no further than the checks */
    chart_retention(&svg, &chart);
    assert_lacks(svg.bytes, "class=\"forecast\"");
    assert_lacks(svg.bytes, "Dashed");
    text_free(&svg);

    model.fit_count = 0; /* ends at the checks of the last day */
    chart_retention(&svg, &chart);
    assert_contains(svg.bytes, ">80 %</text>");
    assert_lacks(svg.bytes, "Band");
    text_free(&svg);

    model.fit_count = 3;
    model.check_count = 0; /* all of it forecast */
    chart.band = NULL;
    chart_retention(&svg, &chart);
    assert_lacks(svg.bytes, "class=\"fit\"");
    assert_contains(svg.bytes, "Band: not said which.");
    text_free(&svg);
}

/* Several cells of one model that were opened within a few hours of one another: one age, one tick,
 * one mean. */
static void retention_of_one_age_has_one_end(void **state)
{
    (void)state;
    const double day = 86400;
    const struct retention_mark checks[] = {
        {41.6 * day, 0.90, "A"}, {42.1 * day, 0.86, "B"}, {42.8 * day, 0.94, "C"}};
    struct retention_model model = {"Kestrel", 2, checks, 3, NULL, 0};
    struct retention_chart chart = {.models = &model, .count = 1};
    struct text svg = TEXT_EMPTY;
    chart_retention(&svg, &chart);
    static const char *const dates[] = {">0</text>", ">42</text>"};
    stand_in_order(strstr(svg.bytes, ">100</text>") + 1, dates, 2);
    assert_lacks(svg.bytes, ">42.8</text>");
    assert_contains(svg.bytes, ">90 %</text>");
    text_free(&svg);
}

static void resistance_is_sorted_and_says_the_change(void **state)
{
    (void)state;
    static const double cells[] = {0.031, 0.033};
    const struct resistance_model models[] = {{"Plover", 0, 0.024, 0.032, NULL, cells, 0, 2},
                                              {"Kestrel", 0, 0.0085, 0.0081, NULL, NULL, 0, 0},
                                              {"Wherry", 0, NAN, 0.030, NULL, NULL, 0, 0},
                                              {"Gannet", 0, 0.020, NAN, NULL, NULL, 0, 0},
                                              {"Otter", 0, NAN, NAN, NULL, NULL, 0, 0},
                                              {"Heron", STYLE_OTHERS, 0, 0.05, NULL, NULL, 0, 0}};
    struct resistance_chart chart = {.models = models, .count = 6, .before_name = "fresh"};
    struct text svg = TEXT_EMPTY;
    chart_resistance(&svg, &chart);
    static const char *const order[] = {
        ">Kestrel<",
        ">8.5 \xe2\x86\x92 8.1 m\xce\xa9 (\xe2\x88\x92"
        "5 %)<",
        ">Gannet<",
        ">20 m\xce\xa9 before<",
        ">Wherry<",
        ">30 m\xce\xa9<",
        ">Plover<",
        ">24 \xe2\x86\x92 32 m\xce\xa9 (+33 %)<",
        ">Heron<",
        ">0.0 \xe2\x86\x92 50 m\xce\xa9<", /* no percentage of nothing */
        ">Otter<",
        ">no result<"};
    stand_in_order(svg.bytes, order, 12);
    assert_int_equal(occurrences(svg.bytes, "class=\"change\""), 3);
    assert_int_equal(occurrences(svg.bytes, "class=\"cell\""), 2);
    assert_int_equal(occurrences(svg.bytes, "series others"), 1);
    assert_contains(svg.bytes, ">fresh<");
    assert_contains(svg.bytes, ">after<");
    assert_true(read_axis(svg.bytes, "data-x").low == 0);
    text_free(&svg);
}

static void ranking_goes_from_best_to_worst(void **state)
{
    (void)state;
    struct ranking_model models[] = {{"Plover", 0, 5040, 4860, 5220, 5760, NULL, 0, 3, 3},
                                     {"Kestrel", 0, 7200, 7056, 7344, 7200, NULL, 0, 1, 2},
                                     {"Otter", 0, NAN, NAN, NAN, NAN, NULL, 0, 0, 0},
                                     {"Wherry", 0, 7128, NAN, NAN, NAN, NULL, 0, 1, 2}};
    struct ranking_chart chart = {.models = models,
                                  .count = 4,
                                  .quantity = "Charge",
                                  .unit = "mAh",
                                  .unit_si = 3.6,
                                  .interval = "95 % interval"};
    struct text svg = TEXT_EMPTY;
    chart_ranking(&svg, &chart);
    static const char *const order[] = {">1 to 2<", ">Kestrel<",  ">2000 mAh (1960 to 2040)<",
                                        ">1 to 2<", ">Wherry<",   ">1980 mAh<",
                                        ">3<",      ">Plover<",   ">1400 mAh (1350 to 1450)<",
                                        ">Otter<",  ">no result<"};
    stand_in_order(svg.bytes, order, 11);
    assert_contains(svg.bytes, ">Charge (mAh)<");
    assert_contains(svg.bytes, "Thick: 95 % interval.");
    assert_int_equal(occurrences(svg.bytes, "class=\"interval\""), 2);
    struct axis_read x = read_axis(svg.bytes, "data-x");
    double x1;
    assert_int_equal(sscanf(strstr(svg.bytes, "class=\"interval\"") - 60, "%*[^x]x1=\"%lf", &x1),
                     1);
    assert_true(fabs(value_at(&x, x1) - 1960) < 0.1);
    text_clear(&svg);

    chart.least_is_best = true;
    chart_ranking(&svg, &chart);
    static const char *const turned[] = {">Plover<", ">Wherry<", ">Kestrel<", ">Otter<"};
    stand_in_order(svg.bytes, turned, 4);
    text_free(&svg);
}

static void ranking_writes_four_digits(void **state)
{
    (void)state;
    struct ranking_model models[] = {{.name = "A", .value = 2.345678, .low = NAN}};
    struct ranking_chart chart = {.models = models, .count = 1, .unit = "Wh", .unit_si = 1};
    struct text svg = TEXT_EMPTY;
    chart_ranking(&svg, &chart);
    assert_contains(svg.bytes, ">2.346 Wh<");
    text_free(&svg);
}

static void fade_goes_from_best_to_worst_and_marks_stops(void **state)
{
    (void)state;
    struct fade_chart chart = invented_fade(4, CHART_REPORT);
    struct text svg = TEXT_EMPTY;
    chart_fade(&svg, &chart);
    static const char *const order[] = {
        ">Heron 2000<", "% after 400 cycles<",  ">Lantern Plus<", "% after 400 cycles<",
        ">Otter 2450<", ">80 % at 320 cycles<", ">Beacon Cd<",    ">80 % at 230 cycles<"};
    stand_in_order(svg.bytes, order, 8);
    assert_int_equal(occurrences(svg.bytes, "class=\"cross\""), 1);
    assert_contains(svg.bytes, "<title>OTT-01: stopped early</title>");
    assert_int_equal(occurrences(svg.bytes, "class=\"sibling\""), 4 * INVENTED_CELLS);
    assert_int_equal(occurrences(svg.bytes, "class=\"others\""), 4 * 3);
    assert_int_equal(occurrences(svg.bytes, "class=\"median\""), 4);
    /* the cross lies where that cell's line ends: 150 cycles */
    struct axis_read x = read_axis(strstr(svg.bytes, ">Otter 2450<"), "data-x");
    double x1, y1, x2;
    const char *cross = strstr(strstr(svg.bytes, "class=\"cross\""), " d=\"M");
    assert_int_equal(sscanf(cross, " d=\"M%lf %lfL%lf", &x1, &y1, &x2), 3);
    assert_true(fabs(value_at(&x, (x1 + x2) / 2) - 150) < 0.5);
    text_free(&svg);
}

static void fade_shares_its_axes_and_owns_up_to_what_is_left_out(void **state)
{
    (void)state;
    struct fade_chart chart = invented_fade(8, CHART_VIDEO);
    chart.threshold = NAN;
    struct text svg = TEXT_EMPTY;
    chart_fade(&svg, &chart);
    assert_contains(svg.bytes, ">6 of 8 models shown<");
    assert_lacks(svg.bytes, ">Plover<"); /* the worst; still in the description */
    assert_contains(svg.bytes, "Plover: ");
    assert_lacks(svg.bytes, "class=\"limit\"");
    struct axis_read first = read_axis(svg.bytes, "data-y");
    const char *at = svg.bytes;
    size_t plots = 0;
    for (; (at = strstr(at, "data-x")) != NULL; at++, plots++) {
        struct axis_read x = read_axis(at, "data-x"), y = read_axis(at, "data-y");
        assert_true(x.low == 0 && x.high == 400);
        assert_true(y.low == first.low && y.high == first.high);
        assert_true(fabs((y.from - y.to) - (first.from - first.to)) < 0.02);
    }
    assert_int_equal(plots, 6);
    text_free(&svg);
}

/* Fade is seen from 40 % up; a cell that fell to 31 % is not cut off. */
static void fade_shows_how_far_cells_fell(void **state)
{
    (void)state;
    struct fade_chart chart = invented_fade(1, CHART_REPORT);
    struct text svg = TEXT_EMPTY;
    chart_fade(&svg, &chart);
    assert_true(read_axis(svg.bytes, "data-y").low == 40);
    fade_cell_ratio[0][0][INVENTED_CYCLES - 1] = 0.31;
    text_clear(&svg);
    chart_fade(&svg, &chart);
    assert_true(read_axis(svg.bytes, "data-y").low == 20);
    text_free(&svg);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(discharge_sorts_its_key_by_charge),
        cmocka_unit_test(discharge_takes_the_median_cell),
        cmocka_unit_test(discharge_keeps_six_in_front_for_video),
        cmocka_unit_test(retention_dates_forecast_and_ends),
        cmocka_unit_test(retention_of_one_age_has_one_end),
        cmocka_unit_test(resistance_is_sorted_and_says_the_change),
        cmocka_unit_test(ranking_goes_from_best_to_worst),
        cmocka_unit_test(ranking_writes_four_digits),
        cmocka_unit_test(fade_goes_from_best_to_worst_and_marks_stops),
        cmocka_unit_test(fade_shares_its_axes_and_owns_up_to_what_is_left_out),
        cmocka_unit_test(fade_shows_how_far_cells_fell),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
