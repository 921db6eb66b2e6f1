/* What a corrected answer changes, in words: events on record, and rows for whoever corrected. */
#ifndef PERDURE_ENGINE_CORRECT_H
#define PERDURE_ENGINE_CORRECT_H

#include <jansson.h>
#include <stdbool.h>

#include "base/text.h"

/* Alike but for what comes of the last digits of a calculation: one part in 10^12. */
bool correct_same(const json_t *was, const json_t *is);

/* "capacity was 1.857 Ah (u 0.021 Ah) and is 1.875 Ah (u 0.021 Ah)", from the arguments of a record
 * as they were and as they are; and {"what", "was", "is"} to the rows. */
void correct_say_result(const json_t *was, const json_t *is, struct text *out, json_t *rows);

/* "discharge, entry 3: charge was 1.857 Ah and is 1.875 Ah", from outcomes of a step: what differs.
 * Uncertainties are in the words alone. */
void correct_say_outcome(const char *entry, const json_t *was, const json_t *is, struct text *out,
                         json_t *rows);

/* Any other pair of values: "the answer was 3 and is 4". */
void correct_say_value(const char *what, const json_t *was, const json_t *is, struct text *out,
                       json_t *rows);

#endif
