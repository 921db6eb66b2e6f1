/* A timer on the shared loop, for those who may not see libuv: calls back once, in real time. */
#ifndef PERDURE_LINK_DELAY_H
#define PERDURE_LINK_DELAY_H

struct delay;

/* `due` comes from the loop, never from inside a call below. */
struct delay *delay_new(void *uv_loop, void (*due)(void *owner), void *owner);

/* From now; again: anew. */
void delay_start(struct delay *delay, double seconds);
void delay_stop(struct delay *delay);

/* No callback comes after it; the loop frees it. */
void delay_close(struct delay *delay);

#endif
