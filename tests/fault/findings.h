/* What is found wrong: each line says which check found it, so that a control can ask whether the
 * right one did. */
#ifndef PERDURE_TESTS_FAULT_FINDINGS_H
#define PERDURE_TESTS_FAULT_FINDINGS_H

#include <stdbool.h>

struct findings {
    int count;
    bool quiet;          /* a control: counted, not shown */
    const char *awaited; /* a control: the check that should find something... */
    bool came;           /* ...and whether it did */
    char first[600];     /* "CHECK: TEXT" of the first */
};

void found(struct findings *findings, const char *check, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* Ends the program: the harness itself cannot go on. */
void broken(const char *format, ...) __attribute__((format(printf, 1, 2), noreturn));

#endif
