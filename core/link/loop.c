/* Making, running and freeing the shared loop. */
#include "link/loop.h"

#include <stdlib.h>
#include <uv.h>

#include "base/text.h"

void *loop_new(void)
{
    uv_loop_t *loop = xmalloc(sizeof *loop);
    if (uv_loop_init(loop))
        abort();
    return loop;
}

static void over(uv_timer_t *timer)
{
    uv_stop(timer->loop);
}

static void freed(uv_handle_t *handle)
{
    free(handle);
}

void loop_run(void *uv_loop, double seconds, const bool *enough)
{
    uv_timer_t *timer = xmalloc(sizeof *timer);
    uv_update_time(uv_loop);
    uint64_t end = uv_now(uv_loop) + (uint64_t)(seconds * 1e3);
    uv_timer_init(uv_loop, timer);
    uv_timer_start(timer, over, (uint64_t)(seconds * 1e3), 0);
    while (!(enough && *enough) && uv_now(uv_loop) < end)
        uv_run(uv_loop, UV_RUN_ONCE);
    uv_close((uv_handle_t *)timer, freed);
}

void loop_free(void *uv_loop)
{
    uv_run(uv_loop, UV_RUN_DEFAULT);
    uv_loop_close(uv_loop);
    free(uv_loop);
}
