/* A one-shot timer around uv_timer_t. */
#include "link/delay.h"

#include <stdlib.h>
#include <uv.h>

#include "base/text.h"

struct delay {
    uv_timer_t timer; /* first: a handle is cast to this */
    void (*due)(void *owner);
    void *owner;
};

static void on_timer(uv_timer_t *timer)
{
    struct delay *delay = timer->data;
    delay->due(delay->owner);
}

static void freed(uv_handle_t *handle)
{
    free(handle->data);
}

struct delay *delay_new(void *uv_loop, void (*due)(void *owner), void *owner)
{
    struct delay *delay = xcalloc(1, sizeof *delay);
    uv_timer_init(uv_loop, &delay->timer);
    delay->timer.data = delay;
    delay->due = due;
    delay->owner = owner;
    return delay;
}

void delay_start(struct delay *delay, double seconds)
{
    /* From the clock and not from when the loop last looked at it; and never early, though the loop
     * counts whole milliseconds. */
    uv_update_time(delay->timer.loop);
    uv_timer_start(&delay->timer, on_timer, (uint64_t)(seconds * 1e3 + 0.999) + 1, 0);
}

void delay_stop(struct delay *delay)
{
    uv_timer_stop(&delay->timer);
}

void delay_close(struct delay *delay)
{
    uv_close((uv_handle_t *)&delay->timer, freed);
}
