/* Instruments that stop answering in the middle of a step: a cable pulled, a meter switched off and
 * on. The channel is made safe and the run waits, its cell in its channel, until all instruments of
 * the channel are ready again; then it is taken up as after a crash, and the time between is a gap
 * on record. One that stops again and again ends its run instead. Nobody outside core/engine
 * includes this.
 *
 *   STEPPING --no answer--> PARKED, waiting --all ready, rested--> taken up: QUEUED
 *      the fifth time within an hour, or an output not seen to be off --> OVER, failed */
#ifndef PERDURE_ENGINE_LOST_H
#define PERDURE_ENGINE_LOST_H

#include "engine/live_run.h"

/* True when the failure is one that may pass: the run waits then, safe first. */
bool lost_wait(struct live_run *run, const struct error *failure);

/* A channel that drove could not be made safe: if that was to let the run wait, its step is void,
 * for nobody knows what goes through the cell. The run is over then. */
void lost_unsafe(struct live_run *run, const struct error *failure);

/* The run is parked, and was told to wait: looks again after a rest. */
void lost_parked(struct live_run *run);

/* It has rested: goes on, or rests again. */
void lost_due(struct live_run *run);

/* Its step goes on after a gap of so many s: on record, if that was what it waited for. */
void lost_over(struct live_run *run, double gap);

#endif
