/* Waiting between passes. In real and scaled time libuv waits for the next deadline, for signals and
 * for other commands; in virtual time the clock jumps to the next deadline, and libuv is only asked
 * now and then whether something came. */
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <uv.h>

#include "engine/engine_internal.h"

/* Virtual passes between two looks at the real world. */
#define LOOK_EVERY 512

struct loop {
    uv_loop_t uv;
    uv_timer_t timer;
    uv_signal_t interrupt, terminate;
};

static void on_signal(uv_signal_t *signal, int number)
{
    engine_stop(signal->data, number == SIGINT ? "interrupted" : "told to terminate");
    uv_stop(signal->loop);
}

static void on_timer(uv_timer_t *timer)
{
    uv_stop(timer->loop);
}

int loop_open(struct engine *engine, struct error *error)
{
    struct loop *loop = xcalloc(1, sizeof *loop);
    engine->loop = loop;
    uv_loop_init(&loop->uv);
    uv_timer_init(&loop->uv, &loop->timer);
    uv_signal_init(&loop->uv, &loop->interrupt);
    uv_signal_init(&loop->uv, &loop->terminate);
    loop->interrupt.data = loop->terminate.data = engine;
    uv_signal_start(&loop->interrupt, on_signal, SIGINT);
    uv_signal_start(&loop->terminate, on_signal, SIGTERM);
    return engine->options.socket ? control_open(engine, &loop->uv, error) : 0;
}

static void close_handle(uv_handle_t *handle, void *unused)
{
    (void)unused;
    if (!uv_is_closing(handle))
        uv_close(handle, NULL);
}

void loop_close(struct engine *engine)
{
    struct loop *loop = engine->loop;
    if (!loop)
        return;
    control_close(engine);
    uv_walk(&loop->uv, close_handle, NULL);
    uv_run(&loop->uv, UV_RUN_DEFAULT);
    uv_loop_close(&loop->uv);
    free(loop);
    engine->loop = NULL;
}

/* Moves staged samples, a group at a time. */
static void tidy(struct engine *engine)
{
    bool more = false;
    if (!engine->in_transaction && !engine->held && !engine->trouble.code)
        logbook_move_samples(engine->options.logbook, &more, engine_error(engine));
}

static void wait_real(struct engine *engine)
{
    struct loop *loop = engine->loop;
    int64_t ms = clock_wait_ms(engine->options.clock, deadlines_next(&engine->deadlines));
    int64_t commit_ms = (int64_t)(engine->options.commit_every * 1e3);
    if ((engine->in_transaction || engine->held) && ms > commit_ms)
        ms = commit_ms;
    if (engine->energising || engine->queue_changed)
        ms = 0;
    uv_update_time(&loop->uv);
    uv_timer_start(&loop->timer, on_timer, (uint64_t)ms, 0);
    uv_run(&loop->uv, UV_RUN_DEFAULT);
    uv_timer_stop(&loop->timer);
}

static void wait_virtual(struct engine *engine, unsigned pass)
{
    struct loop *loop = engine->loop;
    bench_us next = deadlines_next(&engine->deadlines);
    if (pass % LOOK_EVERY == 0) {
        uv_run(&loop->uv, UV_RUN_NOWAIT);
        if (real_us() - engine->last_commit >= (int64_t)(engine->options.commit_every * 1e6)) {
            engine_commit(engine);
            tidy(engine);
        }
    }
    if (engine->held) {
        uv_sleep(100);
        return;
    }
    if (next != BENCH_NEVER) {
        clock_advance(engine->options.clock, next);
    } else if (!engine->energising && !engine->queue_changed && !engine->options.until_idle) {
        /* Only another command can bring work now. */
        engine_commit(engine);
        uv_timer_start(&loop->timer, on_timer, 1000, 0);
        uv_run(&loop->uv, UV_RUN_DEFAULT);
    }
}

static void end_session(struct engine *engine)
{
    engine_park_all(engine);
    engine_write(engine);
    logbook_end_session(engine->options.logbook, engine->session,
                        clock_utc(engine->options.clock), engine->stop_why, engine_error(engine));
    engine_commit(engine);
}

int engine_work(struct engine *engine, struct error *error)
{
    const bool simulation = engine->options.clock->face == CLOCK_VIRTUAL;
    for (unsigned pass = 1; !engine->stopping; pass++) {
        if (engine_pass(engine, error))
            return error->code;
        if (engine->stopping)
            break;
        if (engine->options.until_idle && !engine->held &&
            deadlines_next(&engine->deadlines) == BENCH_NEVER && engine_idle(engine)) {
            engine_stop(engine, "nothing left to do");
            break;
        }
        if (simulation) {
            wait_virtual(engine, pass);
        } else {
            wait_real(engine);
            tidy(engine);
        }
        control_reply_all(engine);
    }
    end_session(engine);
    control_reply_all(engine);
    if (engine->trouble.code) {
        *error = engine->trouble;
        return error->code;
    }
    return 0;
}
