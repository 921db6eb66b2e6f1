/* The audit: proves a logbook. Recomputes the charge and energy of every step from its samples,
 * replays every journal against the text that is pinned to it, checks every text's hash, and has
 * SQLite check the file. */
#ifndef PERDURE_ENGINE_AUDIT_H
#define PERDURE_ENGINE_AUDIT_H

#include <jansson.h>

#include "engine/script.h"
#include "logbook/logbook.h"

struct audit {
    int64_t steps, samples, runs, entries, scripts; /* looked at */
    int64_t typed; /* steps whose values were read off a display: there is nothing to recompute */
    double worst_charge; /* largest relative difference of a step's charge */
    json_t *findings;    /* array of texts; owned by the caller; empty when all is well */
};

/* The part of it that takes long: every charge from its samples. `out` begins as
 * (struct audit){.findings = json_array()}. */
int audit_charges(struct audit *out, struct logbook *logbook, struct error *error);

/* An error only when the audit itself cannot be done. */
int audit(struct logbook *logbook, const struct script_ops *scripts, struct audit *out,
          struct error *error);

#endif
