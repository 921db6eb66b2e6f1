/* A step's progress as text, so that it can be stored with its samples and taken up after a crash.
 * One line with a version in front; numbers read back the same. Later versions read earlier ones;
 * what is not known is an error, never skipped. */
#ifndef PERDURE_STEP_CHECKPOINT_H
#define PERDURE_STEP_CHECKPOINT_H

#include "base/text.h"
#include "step/step.h"

/* Appends the progress (not the plan, not the limits: those come from the script and the bench). */
void step_save(const struct step *step, struct text *out);

/* Into a step that step_begin made from the same plan. */
int step_load(struct step *step, const char *saved, struct error *error);

#endif
