/* The bench as it is while an engine is at work: each channel, how it obtains values, the accuracy
 * stated of it, the instruments it is made of and who they say they are. On record per session, so
 * that a result can be traced to what measured it. */
#ifndef PERDURE_ENGINE_SESSION_H
#define PERDURE_ENGINE_SESSION_H

#include "base/error.h"
#include "bench/channel.h"

struct engine;

/* Begins a session with all channels. In the caller's transaction. */
int session_begin(struct engine *engine, struct error *error);

/* A channel has just measured: its instruments have told who they are. Writes only what is new. */
void session_saw(struct engine *engine, const struct channel *channel);

/* What a session has on record of a channel's accuracy (JSON; NULL: nothing), read back. */
void session_accuracy(const char *text, struct channel_accuracy *out);

void session_free(struct engine *engine);

#endif
