/* What every function of this layer answers with. A result that cannot be had is a statement, never
 * a number: the numbers it would have filled are then NAN, those that still hold are kept (the mean
 * of one cell is known, its scatter is not).
 *
 * The layer is pure: plain arrays and small structs in, small structs out; nothing is read, written
 * or remembered. Every double of an `out` is set on return, whatever the status. */
#ifndef PERDURE_ANALYSIS_STATUS_H
#define PERDURE_ANALYSIS_STATUS_H

#include "base/error.h"

/* name, why, what to do */
#define ANALYSIS_STATUSES(X)                                                                       \
    X(ANALYSIS_OK, "done", "nothing")                                                              \
    X(ANALYSIS_NO_DATA, "there are no values", "measure some cells first")                         \
    X(ANALYSIS_TOO_FEW, "not enough data", "measure more cells or at more times")                  \
    X(ANALYSIS_ONE_CELL, "one cell only: how cells scatter cannot be known",                       \
      "measure at least two cells, better four or more")                                           \
    X(ANALYSIS_NO_SPREAD, "the values do not differ at all: their scatter is below what was read", \
      "record with a finer resolution, or say only that they are alike")                           \
    X(ANALYSIS_NOT_FINITE, "a value is missing or is not a number",                                \
      "leave out what was not measured, or measure it")                                            \
    X(ANALYSIS_OUT_OF_RANGE, "an argument is outside of what it can be",                           \
      "give uncertainties of 0 or more, fractions between 0 and 1, correlations from -1 to 1")     \
    X(ANALYSIS_NEGATIVE_TIME, "a time lies before the start",                                      \
      "check the dates: no check of a cell comes before its shelf or service begins")              \
    X(ANALYSIS_TIME_ORDER, "the times do not rise",                                                \
      "give the readings in the order of their time")                                              \
    X(ANALYSIS_SAME_TIMES, "everything was measured at one time: there is no course to see",       \
      "measure at two or more times")                                                              \
    X(ANALYSIS_NO_REFERENCE, "there is no fresh capacity to compare with",                         \
      "measure the cell fresh, or give the mean of the fresh arm")                                 \
    X(ANALYSIS_MIXED_RATINGS, "cells of different rated capacity are in one group",                \
      "group the cells by rating, or compare percent of rating")                                   \
    X(ANALYSIS_MIXED_METHODS, "resistances by different methods are in one comparison",            \
      "compare figures of one method only: timings and currents change the figure")                \
    X(ANALYSIS_MIXED_DIRECTIONS, "the current changes direction within the curve",                 \
      "measure the charge and the discharge each by itself")                                       \
    X(ANALYSIS_MIXED_CHECKS, "some cells were checked once and some repeatedly",                   \
      "analyse the two kinds of arm apart")                                                        \
    X(ANALYSIS_NO_CURRENT_STEP, "the current does not change, so it shows no resistance",          \
      "use a pulse of two different currents of one direction")                                    \
    X(ANALYSIS_IMPOSSIBLE, "the result would be below zero, which cannot be",                      \
      "check the sense leads, the sign of the current and the times of the pulse")                 \
    X(ANALYSIS_NO_FIT, "no curve of this form fits the data",                                      \
      "look at the data; another form may fit, or the course is too short to bend")                \
    X(ANALYSIS_NOT_REACHED, "the level is not reached",                                            \
      "go on measuring, or state only how far the cells came")                                     \
    X(ANALYSIS_CENSORED, "some cells do not reach the level: a mean of the others would mislead",  \
      "use survival analysis, which counts the cells still going")                                 \
    X(ANALYSIS_NOT_CONNECTED, "some channels have no reference cell in common",                    \
      "run at least one reference cell on every channel")                                          \
    X(ANALYSIS_TOO_MANY, "more groups than can be worked on at once", "compare fewer at a time")

enum analysis_status {
#define X(name, why, todo) name,
    ANALYSIS_STATUSES(X)
#undef X
        ANALYSIS_STATUS_COUNT
};

/* For people: "not enough data"; and what to do about it. */
const char *analysis_status_text(enum analysis_status status);
const char *analysis_status_todo(enum analysis_status status);

/* The status as an error about `what` (a cell, a model, a table). Returns 0 for ANALYSIS_OK, which
 * leaves *error alone, else ERROR_FAILED. */
int analysis_error(enum analysis_status status, const char *what, struct error *error);

#endif
