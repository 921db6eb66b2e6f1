/* Which queued run begins next, and on which channel. Nobody outside core/engine includes this. */
#ifndef PERDURE_ENGINE_QUEUE_H
#define PERDURE_ENGINE_QUEUE_H

#include "engine/live_run.h"

/* The channel that the run is to have; NULL while none is free for it. *gone is one that would be,
 * but for an instrument that does not answer; NULL when that is not so. */
struct channel *queue_channel(struct engine *engine, const struct live_run *run,
                              const struct channel **gone);

/* Begins every run whose time has come and that has a channel: those that are taken up first, then
 * in the order of queueing. */
void queue_begin(struct engine *engine);

#endif
