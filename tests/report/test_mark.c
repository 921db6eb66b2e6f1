/* Marks, lines with gaps, labels pushed apart. */
#include "report/cmocka_setup.h"

#include <math.h>

#include "base/random.h"
#include "report/mark.h"

static void lines_break_at_gaps(void **state)
{
    (void)state;
    const struct point points[] = {{0, 0},     {1, 2.5}, {NAN, NAN}, {3, 3},
                                   {NAN, NAN}, {5, 5},   {6, 5}};
    struct text out = TEXT_EMPTY;
    mark_line(&out, points, 7, &(struct svg_stroke){.colour = "#000000", .width = 1});
    assert_contains(out.bytes, " d=\"M0 0L1 2.5M3 3h0M5 5L6 5\"/>");
    text_clear(&out);
    mark_line(&out, points + 2, 1, &(struct svg_stroke){.colour = "#000000", .width = 1});
    assert_int_equal(out.length, 0);
    text_free(&out);
}

static void bands_go_there_and_back(void **state)
{
    (void)state;
    const struct point upper[] = {{0, 1}, {1, 1}, {2, NAN}, {3, 1}};
    const struct point lower[] = {{0, 4}, {1, 5}, {2, 6}, {3, 7}};
    struct text out = TEXT_EMPTY;
    mark_band(&out, upper, lower, 4, "#000000", 0.5);
    assert_contains(out.bytes, " d=\"M0 1L1 1L1 5L0 4z\"/>"); /* a lone point spans no area */
    text_free(&out);
}

static void nothing_is_drawn_nowhere(void **state)
{
    (void)state;
    struct text out = TEXT_EMPTY;
    mark_point(&out, NAN, 1, &(struct mark){.colour = "#000000", .radius = 1});
    mark_cross(&out, 1, INFINITY, 1, "#000000", NULL);
    assert_int_equal(out.length, 0);
    mark_point(&out, 1, 2, &(struct mark){.colour = "#000000", .radius = 1, .tip = "A & B"});
    assert_contains(out.bytes, "<title>A &amp; B</title></path>");
    text_free(&out);
}

static void lines_are_read_off_between_points(void **state)
{
    (void)state;
    const struct point points[] = {{0, 0}, {2, 4}, {NAN, NAN}, {4, 0}, {5, 1}};
    assert_true(line_y_at(points, 5, 1) == 2);
    assert_true(line_y_at(points, 5, 4.5) == 0.5);
    assert_true(isnan(line_y_at(points, 5, 3)));
    assert_true(isnan(line_y_at(points, 5, -1)));
    assert_true(isnan(line_y_at(points, 5, 6)));
}

static void pushes(double *places, size_t count, double gap, double low, double high,
                   const double *want)
{
    push_apart(places, count, gap, low, high);
    for (size_t i = 0; i < count; i++)
        assert_true(fabs(places[i] - want[i]) < 1e-9);
}

static void labels_move_as_little_as_can_be(void **state)
{
    (void)state;
    pushes((double[]){10, 50, 90}, 3, 20, 0, 100, (double[]){10, 50, 90});
    pushes((double[]){50, 50}, 2, 20, 0, 100, (double[]){40, 60});
    pushes((double[]){50, 55, 60}, 3, 20, 0, 100, (double[]){35, 55, 75});
    pushes((double[]){99, 99}, 2, 20, 0, 100, (double[]){80, 100});
    pushes((double[]){0, 1, 2}, 3, 20, 0, 100, (double[]){0, 20, 40});
    /* a run that grows into its neighbour takes it along */
    pushes((double[]){40, 40, 55}, 3, 20, 0, 100, (double[]){25, 45, 65});
    pushes((double[]){1, 1, 1}, 3, 20, 0, 10, (double[]){0, 5, 10}); /* no room: spread */
    pushes((double[]){200}, 1, 20, 0, 100, (double[]){100});
    push_apart(NULL, 0, 20, 0, 100);
}

static void labels_keep_order_gap_and_limits(void **state)
{
    (void)state;
    struct random random;
    random_seed(&random, 3);
    for (int round = 0; round < 2000; round++) {
        double places[9], at = -20;
        size_t count = (size_t)random_range(&random, 1, 9);
        for (size_t i = 0; i < count; i++)
            places[i] = at += 40 * random_unit(&random) * random_unit(&random);
        push_apart(places, count, 10, 0, 100);
        for (size_t i = 0; i < count; i++) {
            assert_true(places[i] >= -1e-9 && places[i] <= 100 + 1e-9);
            assert_true(i == 0 || places[i] - places[i - 1] >= 10 - 1e-9);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lines_break_at_gaps),
        cmocka_unit_test(bands_go_there_and_back),
        cmocka_unit_test(nothing_is_drawn_nowhere),
        cmocka_unit_test(lines_are_read_off_between_points),
        cmocka_unit_test(labels_move_as_little_as_can_be),
        cmocka_unit_test(labels_keep_order_gap_and_limits),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
