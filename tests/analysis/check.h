/* What the tests of analysis share: comparison of numbers by relative difference, whatever their
 * size, and "no number at all". */
#ifndef PERDURE_TESTS_ANALYSIS_CHECK_H
#define PERDURE_TESTS_ANALYSIS_CHECK_H

#include "support/cmocka_setup.h"

#include <math.h>
#include <stdbool.h>

#define COUNT(array) (sizeof(array) / sizeof(array)[0])

/* |is - want| <= tolerance |want|. */
#define assert_close(is, want, tolerance)                                                          \
    close_at((is), (want), (tolerance), true, #is, __FILE__, __LINE__)
/* |is - want| <= tolerance: for values as they are printed, half a unit of the last digit. */
#define assert_within(is, want, tolerance)                                                         \
    close_at((is), (want), (tolerance), false, #is, __FILE__, __LINE__)

static inline void close_at(double is, double want, double tolerance, bool relative,
                            const char *what, const char *file, int line)
{
    double allowed = relative ? tolerance * fabs(want) : tolerance;
    if (!(fabs(is - want) <= allowed)) {
        print_error("%s is %.17g, not %.17g (off by %.3g, allowed %.3g)\n", what, is, want,
                    is - want, allowed);
        _fail(file, line);
    }
}

#define assert_nan(is)  assert_true(isnan(is))
#define assert_ok(call) assert_int_equal((call), ANALYSIS_OK)

#endif
