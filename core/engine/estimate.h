/* How long a protocol takes on a cell of a model, and what it comes to: one rehearsal on a usual
 * simulated cell in virtual time, in memory, remembered for the next time the same is asked. */
#ifndef PERDURE_ENGINE_ESTIMATE_H
#define PERDURE_ENGINE_ESTIMATE_H

#include <jansson.h>

#include "engine/script.h"

struct estimate {
    double seconds; /* on a channel */
    /* s from its start to the end of its last charge; NAN: it charges nothing. */
    double charged_end;
    json_t *results; /* {"capacity": 1.9}; owned by the estimates */
    bool failed;     /* it could not be rehearsed: seconds is 0 */
    char *why;       /* why the run failed on the usual cell, or NULL; owned by the estimates */
};

struct estimates;
struct estimates *estimates_new(const struct script_ops *scripts);
void estimates_free(struct estimates *estimates);

/* Rehearses the protocol, or remembers that it has; one that fails has an estimate too. Owned by
 * `estimates`, and good as long as they are. */
const struct estimate *estimate(struct estimates *estimates, const struct script_context *protocol);

#endif
