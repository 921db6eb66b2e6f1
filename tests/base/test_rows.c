/* JSON rows: what is there, what is not, and in which order. */
#include "support/cmocka_setup.h"

#include <math.h>

#include "base/rows.h"

static void values_and_their_absence(void **state)
{
    (void)state;
    json_t *row = json_pack("{s:s, s:f, s:i, s:s, s:n}", "name", "x", "real", 1.5, "whole", 2, "at",
                            "1970-01-01T00:00:01Z", "none");
    assert_string_equal(row_text(row, "name"), "x");
    assert_string_equal(row_text(row, "real"), "");
    assert_string_equal(row_text(row, "absent"), "");
    assert_near(row_number(row, "real"), 1.5, 0);
    assert_near(row_number(row, "whole"), 2, 0);
    assert_true(isnan(row_number(row, "none")));
    assert_true(isnan(row_number(row, "name")));
    assert_int_equal(row_instant(row, "at"), 1000000);
    assert_int_equal(row_instant(row, "name"), 0);
    assert_int_equal(row_instant(row, "absent"), 0);
    json_decref(row);
}

static void rows_are_sorted_by_a_number(void **state)
{
    (void)state;
    json_t *rows = json_pack("[{s:i}, {s:f}, {s:i}, {s:i}]", "k", 3, "k", -1.5, "k", 2, "k", 10);
    rows_sort(&rows, "k");
    double before = -2;
    for (size_t i = 0; i < 4; i++) {
        double here = row_number(json_array_get(rows, i), "k");
        assert_true(here > before);
        before = here;
    }
    assert_int_equal(json_array_size(rows), 4);
    json_decref(rows);

    rows = json_array();
    rows_sort(&rows, "k");
    assert_int_equal(json_array_size(rows), 0);
    json_decref(rows);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(values_and_their_absence),
        cmocka_unit_test(rows_are_sorted_by_a_number),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
