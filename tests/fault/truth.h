/* What really happened to the simulated cells, as their own file tells, beside what the logbook
 * says of it. The file is read from a copy: the engine keeps the original to itself. */
#ifndef PERDURE_TESTS_FAULT_TRUTH_H
#define PERDURE_TESTS_FAULT_TRUTH_H

#include "query.h"

struct truth_report {
    double closest; /* the least share of a cell's true charge that is on record */
    double moved;   /* A.s, by all cells */
};

/* The record never claims more charge than moved, and what moved beyond the record fits into the
 * time that was not observed; what is driven now belongs to a step on record. `book` and `world`
 * are copies of one moment at which no engine lived. */
void truth_check(sqlite3 *book, const char *world, struct findings *findings,
                 struct truth_report *report);

/* 1 when this cell is driven, 0 when not, -1 when the copy cannot be told. */
int truth_driven(const char *world, const char *label);

/* To doctor a copy: this cell is now driven with so many ampere. */
void truth_doctor(const char *world, const char *label, double current);

#endif
