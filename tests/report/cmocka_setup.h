/* cmocka and the headers that must stand before it, and what tests of pictures ask of a text. */
#ifndef PERDURE_TESTS_REPORT_CMOCKA_SETUP_H
#define PERDURE_TESTS_REPORT_CMOCKA_SETUP_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static inline size_t occurrences(const char *text, const char *part)
{
    size_t count = 0;
    for (const char *at = text; (at = strstr(at, part)) != NULL; at += strlen(part))
        count++;
    return count;
}

#define assert_contains(text, part)                                                                \
    do {                                                                                           \
        if (strstr((text), (part)) == NULL) {                                                      \
            print_error("no \"%s\" in:\n%.3000s\n", (part), (text));                               \
            _fail(__FILE__, __LINE__);                                                             \
        }                                                                                          \
    } while (0)

#define assert_lacks(text, part)                                                                   \
    do {                                                                                           \
        if (strstr((text), (part)) != NULL) {                                                      \
            print_error("\"%s\" in:\n%.200s\n", (part), strstr((text), (part)));                   \
            _fail(__FILE__, __LINE__);                                                             \
        }                                                                                          \
    } while (0)

#endif
