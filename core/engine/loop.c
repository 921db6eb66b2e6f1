/* Waiting between passes. In real and scaled time libuv waits for the next deadline, for signals
 * and for other commands; in virtual time the clock jumps to the next deadline, and libuv is only
 * asked now and then whether something came. */
#include <errno.h>
#include <math.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/timerfd.h>
#include <unistd.h>
#include <uv.h>

#include "bench/guardian.h"
#include "engine/engine_internal.h"
#include "engine/notify.h"
#include "engine/service.h"
#include "link/loop.h"

/* Virtual passes between two looks at the real world. */
#define LOOK_EVERY 512
/* s: the longest real wait; a wall clock that was set is noticed by then. */
#define LOOK_MOST 10.0
/* Wall clock steps below this are left to pass: clocks are always being nudged. */
#define WALL_STEP_US      (1 * US_PER_S)
#define FEED_EVERY_US     (US_PER_S / 2)
#define WATCHDOG_SLACK_US (5 * US_PER_S)
/* A commit may come a tenth early, at a quiet moment: it is as good for a look. */
#define SHOW_EVERY_US (US_PER_S * 9 / 10)
/* A face that was shown nothing for so long has a commit made for it. */
#define SHOW_LATE_US (2 * US_PER_S)

struct loop {
    uv_loop_t *uv;
    bool own;
    bool faced;       /* the face is open */
    int open_handles; /* while closing */
    uv_timer_t timer;
    uv_poll_t alarm; /* libuv's timers count whole milliseconds: too coarse for a reading's time */
    int alarm_fd;
    int64_t tidied; /* real us: the commit after which samples were last moved */
    bool untidy;    /* there are more to move */
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

static void on_alarm(uv_poll_t *alarm, int status, int events)
{
    struct engine *engine = alarm->data;
    uint64_t expired;
    (void)status, (void)events;
    if (read(engine->loop->alarm_fd, &expired, sizeof expired) == sizeof expired)
        uv_stop(alarm->loop);
}

int loop_open(struct engine *engine, struct error *error)
{
    int alarm_fd = timerfd_create(CLOCK_BOOTTIME, TFD_NONBLOCK | TFD_CLOEXEC);
    if (alarm_fd < 0)
        return error_set(error, ERROR_INTERNAL, "engine", "raise its limit of open files",
                         "there is no timer to be had: %s", strerror(errno));
    struct loop *loop = xcalloc(1, sizeof *loop);
    engine->loop = loop;
    loop->alarm_fd = alarm_fd;
    loop->own = !engine->options.uv_loop;
    loop->uv = loop->own ? loop_new() : engine->options.uv_loop;
    uv_timer_init(loop->uv, &loop->timer);
    uv_poll_init(loop->uv, &loop->alarm, loop->alarm_fd);
    loop->alarm.data = engine;
    uv_poll_start(&loop->alarm, UV_READABLE, on_alarm);
    uv_signal_init(loop->uv, &loop->interrupt);
    uv_signal_init(loop->uv, &loop->terminate);
    loop->interrupt.data = loop->terminate.data = engine;
    uv_signal_start(&loop->interrupt, on_signal, SIGINT);
    uv_signal_start(&loop->terminate, on_signal, SIGTERM);
    engine->service = service_open();
    if (engine->options.socket && control_open(engine, loop->uv, error))
        return error->code;
    const struct face *face = engine->options.face;
    if (face && face->open(face->owner, engine, loop->uv, error))
        return error->code;
    loop->faced = face != NULL;
    return 0;
}

static void handle_closed(uv_handle_t *handle)
{
    struct loop *loop = handle->loop->data;
    loop->open_handles--;
}

void loop_close(struct engine *engine)
{
    struct loop *loop = engine->loop;
    if (!loop)
        return;
    if (loop->faced)
        engine->options.face->close(engine->options.face->owner);
    control_close(engine);
    service_close(engine->service);
    loop->uv->data = loop;
    loop->open_handles = 4;
    uv_close((uv_handle_t *)&loop->timer, handle_closed);
    uv_close((uv_handle_t *)&loop->alarm, handle_closed);
    uv_close((uv_handle_t *)&loop->interrupt, handle_closed);
    uv_close((uv_handle_t *)&loop->terminate, handle_closed);
    while (loop->open_handles)
        uv_run(loop->uv, UV_RUN_ONCE);
    close(loop->alarm_fd);
    if (loop->own)
        loop_free(loop->uv);
    free(loop);
    engine->loop = NULL;
}

/* Moves staged samples, a group at a time: after a commit, which is made when little is under
 * way. */
static void tidy(struct engine *engine)
{
    struct loop *loop = engine->loop;
    if (engine->in_transaction || engine->held || engine->trouble.code ||
        (!loop->untidy && loop->tidied == engine->last_commit))
        return;
    loop->tidied = engine->last_commit;
    logbook_move_samples(engine->options.logbook, &loop->untidy, engine_error(engine));
}

/* Fed only when all three made progress: this pass ran, nothing is overdue, and what was written is
 * durable. While it waits for room on a full disk it is fed: starting anew would not help. */
static void feed_watchdog(struct engine *engine)
{
    if (real_us() - engine->last_fed < FEED_EVERY_US)
        return;
    engine->last_fed = real_us();
    bench_us late = clock_bench(engine->options.clock) - deadlines_next(&engine->deadlines);
    int64_t unsaved = engine->in_transaction ? real_us() - engine->last_commit : 0;
    if (late < WATCHDOG_SLACK_US && unsaved < WATCHDOG_SLACK_US && !engine->trouble.code)
        service_progress(engine->service);
    service_energised(engine->service, engine_count(engine).energised > 0);
}

/* A wall clock that was set ends nothing early and nothing late: steps run on bench time, and waits
 * for a date are counted anew. */
static void watch_wall_clock(struct engine *engine)
{
    int64_t step = clock_step_seen(engine->options.clock, WALL_STEP_US);
    if (!step)
        return;
    char text[128];
    snprintf(text, sizeof text, "the wall clock was set by %+.3f s", (double)step / 1e6);
    engine_write(engine);
    logbook_add_event(engine->options.logbook, clock_utc(engine->options.clock), 0, 0, "warning",
                      text, engine_error(engine));
    for (struct live_run *run = engine->runs; run; run = run->next)
        if (run->phase == LIVE_WAITING)
            perform_rearm(run);
    engine->queue_changed = true;
}

/* Shows the face what is committed. Commits come once a second and a look follows them; where each
 * of them is followed at once by something new, one is made for the look. */
static void show(struct engine *engine)
{
    const struct face *face = engine->options.face;
    if (!face || engine->last_commit - engine->shown_commit < SHOW_EVERY_US)
        return;
    if (!engine_on_record(engine) &&
        (real_us() - engine->shown_commit < SHOW_LATE_US || !engine_commit(engine)))
        return;
    engine->shown_commit = engine->last_commit;
    face->look(face->owner);
}

static int64_t sooner(int64_t us, double seconds)
{
    return (double)us > seconds * 1e6 ? (int64_t)(seconds * 1e6) : us;
}

static void wait_real(struct engine *engine)
{
    struct loop *loop = engine->loop;
    const struct engine_options *options = &engine->options;
    int64_t us = clock_wait_us(options->clock, deadlines_next(&engine->deadlines));
    us = sooner(us, LOOK_MOST);
    if (engine->in_transaction || engine->held || engine->unsaved_since)
        us = sooner(us, options->commit_every);
    if (options->guardian)
        us = sooner(us, guardian_beat_in(options->guardian));
    int64_t patience = service_patience(engine->service);
    if (patience)
        us = sooner(us, (double)patience / 1e6);
    bool begins = engine->queue_changed && !engine->unguarded; /* else nothing is begun */
    if (engine->energising || begins || us == 0) {
        uv_run(loop->uv, UV_RUN_NOWAIT);
        return;
    }
    const struct itimerspec spec = {.it_value = {us / US_PER_S, us % US_PER_S * 1000}};
    timerfd_settime(loop->alarm_fd, 0, &spec, NULL);
    uv_run(loop->uv, UV_RUN_DEFAULT);
}

void loop_wake(struct engine *engine)
{
    if (engine->loop)
        uv_stop(engine->loop->uv);
}

void *loop_uv(struct engine *engine)
{
    return engine->loop->uv;
}

static void wait_virtual(struct engine *engine, unsigned pass)
{
    struct loop *loop = engine->loop;
    bench_us next = deadlines_next(&engine->deadlines);
    if (pass % LOOK_EVERY == 0) {
        uv_run(loop->uv, UV_RUN_NOWAIT);
        if (real_us() - engine->last_commit >= (int64_t)(engine->options.commit_every * 1e6)) {
            engine_commit(engine);
            tidy(engine);
        }
    }
    if (engine->trouble.code)
        return;         /* the pass makes safe: no time may go by before */
    if (engine->held) { /* signals and other commands are heard */
        double ms = engine->options.held_retry * 1e3;
        uv_update_time(loop->uv);
        uv_timer_start(&loop->timer, on_timer, (uint64_t)fmin(ms, LOOK_MOST * 1e3), 0);
        uv_run(loop->uv, UV_RUN_DEFAULT);
        return;
    }
    if (engine->energising || engine->queue_changed)
        return; /* something begins now: no time goes by before */
    if (next != BENCH_NEVER) {
        clock_advance(engine->options.clock, next);
    } else if (!engine->options.until_idle || notify_waits(engine)) {
        /* Only another command can bring work now, or the end of the one that tells. */
        engine_commit(engine);
        uv_timer_start(&loop->timer, on_timer, 1000, 0);
        uv_run(loop->uv, UV_RUN_DEFAULT);
    }
}

static void end_session(struct engine *engine)
{
    engine_park_all(engine);
    notify_finish(engine);
    engine_write(engine);
    logbook_end_session(engine->options.logbook, engine->session, clock_utc(engine->options.clock),
                        engine->stop_why, engine_error(engine));
    engine_commit(engine);
}

int engine_work(struct engine *engine, struct error *error)
{
    const bool simulation = engine->options.clock->face == CLOCK_VIRTUAL;
    service_ready(engine->service);
    for (unsigned pass = 1; !engine->stopping; pass++) {
        if (engine_pass(engine, error))
            return error->code;
        if (engine->stopping)
            break;
        notify_look(engine);
        if (engine->options.until_idle && !engine->held && !notify_waits(engine) &&
            deadlines_next(&engine->deadlines) == BENCH_NEVER && engine_idle(engine)) {
            if (!engine_commit(engine))
                continue; /* on a full disk there is something left to do */
            engine_stop(engine, "nothing left to do");
            break;
        }
        if (simulation) {
            wait_virtual(engine, pass);
            show(engine);
        } else {
            show(engine);
            feed_watchdog(engine);
            wait_real(engine);
            watch_wall_clock(engine);
            tidy(engine);
        }
        ask_reply_all(engine);
    }
    end_session(engine);
    ask_reply_all(engine);
    if (engine->trouble.code) {
        *error = engine->trouble;
        return error->code;
    }
    return 0;
}
