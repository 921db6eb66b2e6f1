/* What a step has come to: for the journal and the script as JSON in bench units, for the record as
 * sums; and what was to be done, as JSON. */
#ifndef PERDURE_ENGINE_OUTCOME_H
#define PERDURE_ENGINE_OUTCOME_H

#include "base/text.h"
#include "engine/standard.h"
#include "logbook/steps.h"

void outcome_json(const struct outcome *outcome, const struct outcome_standard *standard,
                  struct text *out);
/* One that is an error, raised in the script; added to `out`. */
void outcome_error(const struct error *why, struct text *out);
void plan_json(const struct step_plan *plan, struct text *out);
void outcome_sums(const struct outcome *outcome, struct step_sums *sums);

/* What an answer (JSON) makes of a step that a person does, both ways; `out` is replaced. Of a
 * rest, for which there is no answer, how long it was, in s. In run_by_hand.c. */
void by_hand_outcome(enum step_kind kind, const struct channel_accuracy *accuracy,
                     const char *answer, double rested, struct step_sums *sums, struct text *out);

/* True when the answer tells when the step ended: *ended then, and *started by how long it took,
 * not before it was asked for. In run_by_hand.c. */
bool by_hand_times(const char *answer, const struct step_sums *sums, utc_us asked, utc_us *started,
                   utc_us *ended);

#endif
