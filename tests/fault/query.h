/* Questions put to a logbook through SQLite itself, past the program's own layers: what is checked
 * must not be what checks. */
#ifndef PERDURE_TESTS_FAULT_QUERY_H
#define PERDURE_TESTS_FAULT_QUERY_H

#include <sqlite3.h>
#include <stdint.h>

#include "findings.h"

/* The most that a step's plan can make flow, A. No cell here goes below 0.9 V or above 1.8 V. */
#define STEP_CURRENT_MOST                                                                          \
    "max(abs(coalesce(step.plan ->> '$.current', 0)), "                                            \
    "abs(coalesce(step.plan ->> '$.power', 0)) / 0.9, "                                            \
    "coalesce(1.8 / (step.plan ->> '$.resistance'), 0), "                                          \
    "abs(coalesce(step.plan ->> '$.level_1.current', 0)), "                                        \
    "abs(coalesce(step.plan ->> '$.level_2.current', 0)))"

/* Read-only; NULL when it cannot be opened or is no database. */
sqlite3 *query_open(const char *path);
/* To doctor a copy, or to give a twin its seeds. */
sqlite3 *query_open_to_write(const char *path);

/* Each of these ends the program when SQLite refuses: on a copy that nobody else uses it must
 * not. */
void query_run(sqlite3 *db, const char *format, ...) __attribute__((format(printf, 2, 3)));
int64_t query_number(sqlite3 *db, const char *format, ...) __attribute__((format(printf, 2, 3)));
double query_real(sqlite3 *db, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* The first column of the first row, owned by the caller; NULL for none. */
char *query_text(sqlite3 *db, const char *format, ...) __attribute__((format(printf, 2, 3)));

typedef void query_row(void *context, sqlite3_stmt *row);
void query_each(sqlite3 *db, query_row *visit, void *context, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

/* A query that finds nothing in a sound logbook: each row's columns, joined, are a finding. */
void query_none(sqlite3 *db, struct findings *findings, const char *check, const char *sql);

/* What SQLite itself says about the file: quick_check or integrity_check. */
void query_sound(sqlite3 *db, struct findings *findings, const char *pragma);

#endif
