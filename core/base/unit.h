/* Inside base only: what the parser of quantities asks of the tables of units and dimensions. */
#ifndef PERDURE_BASE_UNIT_H
#define PERDURE_BASE_UNIT_H

#include <stddef.h>

#include "base/quantity.h"

/* The unit that whoever typed `unit` most likely meant, of the wanted dimension
 * (DIMENSION_COUNT: of any), written into buffer; NULL when nothing is near. */
const char *unit_nearest(const char *unit, enum dimension wanted, char *buffer, size_t size);

/* For messages: the unit that people use most ("mAh"), and quoted values that make sense. */
const char *dimension_usual_unit(enum dimension dimension);
const char *dimension_examples(enum dimension dimension);

#endif
