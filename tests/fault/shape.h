/* The shape of a logbook: what must hold in it at every instant, also in the middle of
 * everything. */
#ifndef PERDURE_TESTS_FAULT_SHAPE_H
#define PERDURE_TESTS_FAULT_SHAPE_H

#include "query.h"

void shape_check(sqlite3 *book, struct findings *findings);

#endif
