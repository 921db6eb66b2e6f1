/* The event loop that links and the engine share, for those who may not see libuv. */
#ifndef PERDURE_LINK_LOOP_H
#define PERDURE_LINK_LOOP_H

#include <stdbool.h>

/* A uv_loop_t. Ends the process when there is no memory. */
void *loop_new(void);

/* Runs what is due, and waits for more up to `seconds` of real time, or until `*enough` (may be
 * NULL) is found true. */
void loop_run(void *uv_loop, double seconds, const bool *enough);

/* Everything on it must be closed, or closing: runs until that is done, then frees it. */
void loop_free(void *uv_loop);

#endif
