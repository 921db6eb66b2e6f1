/* cmocka and the headers that must stand before it; comparison of doubles. */
#ifndef PERDURE_TESTS_SUPPORT_CMOCKA_SETUP_H
#define PERDURE_TESTS_SUPPORT_CMOCKA_SETUP_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include <cmocka.h>

/* Equal to within a relative tolerance, or an absolute one near zero; shows both when not. */
#define assert_near(is, want, tolerance) near_at((is), (want), (tolerance), #is, __FILE__, __LINE__)

static inline void near_at(double is, double want, double tolerance, const char *what,
                           const char *file, int line)
{
    double size = want < 0 ? -want : want;
    double difference = is < want ? want - is : is - want;
    if (!(difference <= tolerance * (size > 1 ? size : 1))) {
        print_error("%s is %.17g, not %.17g\n", what, is, want);
        _fail(file, line);
    }
}

#endif
