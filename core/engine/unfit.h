/* Channels that cannot do what some runs need: their own limits refuse it, or they lack what it is
 * measured with. Such a channel is set aside for runs of that kind (one script text, with the same
 * parameters, on cells of one chemistry and rating) for as long as the engine works: the bench file
 * is read at its start. Nobody outside core/engine includes this. */
#ifndef PERDURE_ENGINE_UNFIT_H
#define PERDURE_ENGINE_UNFIT_H

#include "engine/live_run.h"

/* True when it is `channel` that cannot do the plan, and not the cell that cannot bear it: the
 * channel is then set aside for such runs (a warning, once), and *why names channel and limit. */
bool unfit_set_aside(struct live_run *run, const struct channel *channel,
                     const struct step_plan *plan, struct error *why);

/* Before the intent of run->request is on record: true when it is a step that this channel cannot
 * do and another may. The run is then back in the queue. One that has driven something, or that
 * names its channel, stays. */
bool unfit_moves(struct live_run *run);

/* Whether the channel is set aside for the run, or all of the bench are. */
bool unfit_for(const struct live_run *run, const struct channel *channel);
bool unfit_everywhere(const struct live_run *run);

/* After unfit_set_aside: makes of *why that no channel of the bench can do it, each with its
 * limit. */
void unfit_tell_all(const struct live_run *run, struct error *why);

void unfit_forget(struct engine *engine);

#endif
