/* Values rounded to their uncertainty. The first two are the examples of JCGM 100:2008, 7.2.6 and
 * 7.2.4 (figures from memory). */
#include "report/cmocka_setup.h"

#include <math.h>

#include "report/rounded.h"

static void two_digits_of_uncertainty_and_the_value_to_that_place(void **state)
{
    (void)state;
    static const struct {
        double value, uncertainty;
        const char *says, *sure;
    } cases[] = {
        {10.05762, 0.027, "10.058", "0.027"},         /* ohm */
        {100.02147, 0.00079, "100.02147", "0.00079"}, /* g */
        {2.0193238, 0.0080297, "2.0193", "0.0080"},
        {0.5, 0.099, "0.500", "0.099"},
        {0.5, 0.0997, "0.50", "0.10"}, /* rounds up into another place */
        {0.5, 0.996, "0.5", "1.0"},
        {1234.5, 117, "1230", "120"},
        {1234.5, 12.3, "1234", "12"},
        {-1.23456, 0.015, "-1.235", "0.015"},
        {0, 0.25, "0.00", "0.25"},
        {1973, 0, "1973", ""},
        {1973000, NAN, "1973000", ""},
        {1.973456, NAN, "1.9735", ""},
        {1.5, INFINITY, "1.5", ""},
        {1.5, -1, "1.5", ""},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char buffer[64];
        assert_string_equal(
            rounded_value(cases[i].value, cases[i].uncertainty, buffer, sizeof buffer),
            cases[i].says);
        assert_string_equal(rounded_uncertainty(cases[i].uncertainty, buffer, sizeof buffer),
                            cases[i].sure);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(two_digits_of_uncertainty_and_the_value_to_that_place),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
