/* Standard uncertainties of an outcome from what the bench states of its channel.
 *
 * 1. Nothing stated, nothing given: a value stays without uncertainty, never with zero.
 * 2. The engine's own clock counts as 100 ppm (a quartz of a computer keeps within that; common
 *    practice, no source), unless the bench states the channel's time.
 * 3. An end by voltage or current lies somewhere between the two readings it was found between, and
 *    one by voltage moves with the error of the voltage: both are seconds of a duration.
 * 4. What flows unseen in a gap is not in it: the outcome's quality says "gap". */
#ifndef PERDURE_ENGINE_STANDARD_H
#define PERDURE_ENGINE_STANDARD_H

#include <jansson.h>

#include "bench/channel.h"
#include "step/step.h"

/* Of the outcome's values of the same names; SI, NAN where not known. */
struct outcome_standard {
    double charge, energy, duration;
    double first_voltage, last_voltage, mean_voltage, peak_voltage;
    double last_current, max_temperature;
    double resistance;
};

/* Measured by the channel. */
void standard_of_step(const struct channel_accuracy *accuracy, const struct outcome *outcome,
                      struct outcome_standard *out);

/* Read off a display: its accuracy, and the last digit typed ("steps" of the answer, answer.h). */
void standard_of_display(const struct channel_accuracy *accuracy, const struct outcome *outcome,
                         const json_t *answer, struct outcome_standard *out);

#endif
