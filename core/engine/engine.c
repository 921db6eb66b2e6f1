/* The engine: its runs, its transaction, its pass. */
#include "engine/engine.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>
#include <sys/statvfs.h>
#include <time.h>

#include "bench/guardian.h"
#include "engine/absent.h"
#include "engine/acts.h"
#include "engine/engine_internal.h"
#include "engine/notify.h"
#include "engine/queue.h"
#include "engine/study.h"
#include "engine/unfit.h"

/* Real seconds between tries when the disk is full. */
#define HELD_RETRY 5
/* Bytes free on the disk below which trying is of no use: SQLite's log alone grows to 4 MB. */
#define ROOM_LEAST (8.0 * 1024 * 1024)
/* Between readings, as long as a commit usually takes. */
#define QUIET_US (US_PER_S / 50)

int64_t real_us(void)
{
    struct timespec now;
    clock_gettime(CLOCK_BOOTTIME, &now);
    return now.tv_sec * US_PER_S + now.tv_nsec / 1000;
}

/* --- the transaction -------------------------------------------------------------------------- */

struct error *engine_error(struct engine *engine)
{
    return engine->trouble.code ? &engine->later : &engine->trouble;
}

void engine_write(struct engine *engine)
{
    if (engine->in_transaction || engine->trouble.code)
        return;
    if (logbook_begin(engine->options.logbook, engine_error(engine)))
        return;
    engine->in_transaction = true;
    engine_unsaved(engine);
}

void engine_unsaved(struct engine *engine)
{
    if (!engine->unsaved_since && engine->options.clock->face != CLOCK_VIRTUAL)
        engine->unsaved_since = real_us();
}

bool engine_commit(struct engine *engine)
{
    for (struct live_run *run = engine->runs; run; run = run->next)
        run_step_save(run);
    if (engine->in_transaction && !engine->trouble.code &&
        !logbook_commit(engine->options.logbook, engine_error(engine)))
        engine->in_transaction = false;
    engine->last_commit = real_us();
    engine->unsaved_since = 0;
    return !engine->trouble.code;
}

void engine_tell(struct engine *engine, const char *level, const char *text)
{
    utc_us now = clock_utc(engine->options.clock);
    engine->changes++;
    engine_write(engine);
    logbook_add_event(engine->options.logbook, now, 0, 0, level, text, engine_error(engine));
    if (engine->options.tell)
        engine->options.tell(engine->options.owner, now, 0, level, text);
}

/* --- runs ------------------------------------------------------------------------------------- */

static void append(struct engine *engine, struct live_run *run)
{
    struct live_run **end = &engine->runs;
    while (*end)
        end = &(*end)->next;
    *end = run;
}

/* Unlinks runs that are over, then lets the studies that waited for them go on. */
static void remove_over(struct engine *engine)
{
    engine->some_over = false;
    struct live_run **place = &engine->runs;
    while (*place) {
        struct live_run *run = *place;
        if (run->phase != LIVE_OVER) {
            place = &run->next;
            continue;
        }
        *place = run->next;
        run_free(run);
    }
    for (struct live_run *run = engine->runs; run; run = run->next)
        if (run->phase == LIVE_PERFORMING)
            study_look(run);
}

static void drop_all(struct engine *engine)
{
    while (engine->runs) {
        struct live_run *run = engine->runs;
        engine->runs = run->next;
        run_free(run);
    }
}

struct live_run *engine_find(struct engine *engine, int64_t id)
{
    struct live_run *run = engine->runs;
    while (run && run->record.id != id)
        run = run->next;
    return run;
}

int engine_take(struct engine *engine, int64_t id, struct error *error)
{
    struct run_record record = {0};
    if (logbook_run(engine->options.logbook, id, &record, error))
        return error->code;
    enum run_state state = record.state;
    struct live_run *run = run_new(engine, &record, error);
    run_record_free(&record);
    if (!run)
        return error->code;
    append(engine, run);
    engine->queue_changed = true;

    if (state == RUN_QUEUED)
        study_review_due(run);
    if (run->record.channel[0] && !bench_find(engine->options.bench, run->record.channel))
        run_event(run, "warning", "waits: channel %s is not on this bench", run->record.channel);
    if (state == RUN_PAUSED || state == RUN_ATTENTION) {
        /* Its cell is still in its channel: keep others out. */
        const struct channel *gone;
        struct channel *channel = queue_channel(engine, run, &gone);
        run->phase = LIVE_PARKED;
        if (channel && run->record.channel[0])
            run_hold(run, channel, error);
    }
    return 0;
}

int engine_retake(struct engine *engine, struct live_run *run, const char *why, struct error *error)
{
    struct live_run **place = &engine->runs;
    int64_t id = run->record.id;
    while (*place != run)
        place = &(*place)->next;
    *place = run->next;
    run_free(run);
    if (engine_take(engine, id, error))
        return error->code;
    engine_find(engine, id)->gap_why = why;
    return 0;
}

int engine_load(struct engine *engine, struct error *error)
{
    int64_t *ids = NULL;
    int count = 0;
    if (logbook_open_runs(engine->options.logbook, &ids, &count, error))
        return error->code;
    for (int i = 0; i < count && !error->code; i++)
        if (!engine_find(engine, ids[i])) /* one that came by an act while the engine was held */
            engine_take(engine, ids[i], error);
    free(ids);
    return error->code;
}

void engine_park_all(struct engine *engine)
{
    for (struct live_run *run = engine->runs; run; run = run->next)
        if (run->phase != LIVE_QUEUED)
            run_park(run);
}

struct engine_counts engine_count(const struct engine *engine)
{
    struct engine_counts counts = {0};
    for (const struct live_run *run = engine->runs; run; run = run->next) {
        counts.runs++;
        counts.waiting_channel += run->phase == LIVE_QUEUED;
        counts.waiting_answer += run->phase == LIVE_ASKING;
        counts.paused += run->phase == LIVE_PARKED;
        counts.working += run->phase == LIVE_STEPPING || run->phase == LIVE_WAITING;
        counts.energised += run->phase == LIVE_STEPPING;
    }
    counts.readings = engine->readings;
    return counts;
}

bool engine_idle(const struct engine *engine)
{
    return engine_count(engine).working == 0 && !engine->energising && !engine->queue_changed;
}

/* --- trouble ---------------------------------------------------------------------------------- */

static void make_bench_safe(struct engine *engine)
{
    struct bench *bench = engine->options.bench;
    for (int i = 0; i < bench->count; i++)
        bench->channels[i]->ops->make_safe(bench->channels[i], NULL);
}

/* A write failed. Safe first; then everything in memory is given up for what the logbook holds: on
 * a full disk until there is room again, else for good. */
static int meet_trouble(struct engine *engine, struct error *error)
{
    make_bench_safe(engine);
    logbook_rollback(engine->options.logbook);
    engine->in_transaction = false;
    engine->unsaved_since = 0;
    engine->energising = false;
    drop_all(engine);
    notify_drop(engine);
    struct error trouble = engine->trouble;
    error_clear(&engine->trouble);
    error_clear(&engine->later);
    if (trouble.code != ERROR_FULL) {
        *error = trouble;
        return error->code;
    }
    if (!engine->held && engine->options.tell)
        engine->options.tell(
            engine->options.owner, clock_utc(engine->options.clock), 0, "error",
            "the disk is full: outputs are safe, all runs wait; free some room and "
            "they go on by themselves");
    engine->held = true;
    engine->changes++;
    engine->last_try = real_us();
    return 0;
}

/* A small write may find room where the next second's would not, over and over. */
static bool has_room(const struct engine *engine)
{
    struct statvfs disk;
    return statvfs(logbook_path(engine->options.logbook), &disk) != 0 ||
           (double)disk.f_bavail * (double)disk.f_frsize >= ROOM_LEAST;
}

/* Tries one small write; with room again, takes up all runs as after a crash. */
static void try_again(struct engine *engine)
{
    if (real_us() - engine->last_try < (int64_t)(engine->options.held_retry * 1e6))
        return;
    engine->last_try = real_us();
    if (!has_room(engine))
        return;
    engine_write(engine);
    logbook_add_event(engine->options.logbook, clock_utc(engine->options.clock), 0, 0, "warning",
                      "the disk was full; there is room again", engine_error(engine));
    if (!engine_commit(engine) || engine_load(engine, &engine->trouble))
        return;
    for (struct live_run *run = engine->runs; run; run = run->next)
        run->gap_why = "the disk was full";
    if (engine->options.tell)
        engine->options.tell(engine->options.owner, clock_utc(engine->options.clock), 0, "warning",
                             "there is room on the disk again: all runs go on");
    engine->held = false;
    engine->changes++;
}

/* --- the guardian ----------------------------------------------------------------------------- */

static bool is_real(const struct live_run *run)
{
    return run->channel && run->channel->physical;
}

/* Runs that were parked because nothing watched go on where they stood, with a gap. */
static void go_on_guarded(struct engine *engine)
{
    struct live_run *run = engine->runs;
    engine->unguarded = false;
    engine->queue_changed = true;
    while (run) {
        struct live_run *next = run->next;
        if (run->phase == LIVE_PARKED && !run->losses.waiting &&
            (run->record.state == RUN_RUNNING || run->record.state == RUN_QUEUED))
            engine_retake(engine, run, "made safe by the guardian", engine_error(engine));
        run = next;
    }
}

/* A sign of life to the guardian. When it has made everything safe, or is lost, real outputs stay
 * off and their runs are parked until it watches again. */
static void watch_guardian(struct engine *engine)
{
    struct guardian *guardian = engine->options.guardian;
    enum guardian_state state = guardian ? guardian_beat(guardian) : GUARDIAN_WATCHING;
    if (state == GUARDIAN_WATCHING) {
        if (engine->unguarded)
            go_on_guarded(engine);
        return;
    }
    if (!engine->unguarded) {
        engine->unguarded = true;
        engine_tell(engine, "error",
                    state != GUARDIAN_LOST
                        ? "the engine was late, and the guardian made every output safe"
                        : "the guardian is lost: every output is made safe until it watches again");
        for (struct live_run *run = engine->runs; run; run = run->next)
            if (is_real(run) && run->phase != LIVE_QUEUED)
                run_park(run);
    }
    if (state == GUARDIAN_TRIPPED) {
        make_bench_safe(engine);
        guardian_settle(guardian);
    }
}

/* --- the pass --------------------------------------------------------------------------------- */

static void energise(struct engine *engine)
{
    engine->energising = false;
    for (struct live_run *run = engine->runs; run; run = run->next)
        if (run->to_energise)
            run_step_energise(run);
}

/* Nothing was asked that has not answered, and nothing is to be asked for a while. */
static bool is_quiet(const struct engine *engine)
{
    const struct clock *clock = engine->options.clock;
    for (const struct live_run *run = engine->runs; run; run = run->next)
        if (run->awaits != AWAIT_NOTHING)
            return false;
    return clock_wait_us(clock, deadlines_next(&engine->deadlines)) > QUIET_US;
}

/* While it commits, nothing is asked. So it does not wait until the time has come in the middle of
 * many readings: a little sooner, between them, no reading is late for it. */
static bool commit_is_due(const struct engine *engine)
{
    int64_t now = real_us(), every = (int64_t)(engine->options.commit_every * 1e6);
    if (engine->unsaved_since && now - engine->unsaved_since >= every)
        return true;
    if (now - engine->last_commit < every * 9 / 10)
        return false;
    return engine->unsaved_since ? is_quiet(engine) : now - engine->last_commit >= every;
}

/* Asked of the runs at work and not kept: its end may come on record while the engine is held, or
 * just before it is. While held, no run is in memory, over or not. */
static bool until_run_is_over(struct engine *engine)
{
    int64_t id = engine->options.until_run;
    return id && !engine->held && !engine->trouble.code && !engine_find(engine, id);
}

int engine_pass(struct engine *engine, struct error *error)
{
    const bool simulation = engine->options.clock->face == CLOCK_VIRTUAL;
    if (engine->trouble.code) /* met between passes */
        return meet_trouble(engine, error);
    if (engine->held)
        try_again(engine);
    watch_guardian(engine);
    deadlines_fire(&engine->deadlines, clock_bench(engine->options.clock));
    if (engine->queue_changed)
        queue_begin(engine);
    if (engine->energising && (simulation || engine_commit(engine)))
        energise(engine);
    while (engine->some_over && !engine->trouble.code)
        remove_over(engine);
    if ((!simulation || engine->stopping) && commit_is_due(engine))
        engine_commit(engine);
    if (until_run_is_over(engine) && engine_commit(engine))
        engine_stop(engine, "its run is over");
    if (engine->trouble.code)
        return meet_trouble(engine, error);
    return 0;
}

/* --- open and close --------------------------------------------------------------------------- */

int engine_open(struct engine **out, const struct engine_options *options, struct error *error)
{
    struct engine *engine = xcalloc(1, sizeof *engine);
    engine->options = *options;
    if (engine->options.commit_every <= 0)
        engine->options.commit_every = 1;
    if (engine->options.held_retry <= 0)
        engine->options.held_retry = HELD_RETRY;
    make_bench_safe(engine);
    error_clear(error);

    if (logbook_begin(options->logbook, error) || session_begin(engine, error) ||
        logbook_commit(options->logbook, error) || loop_open(engine, error) ||
        notify_open(engine, error) || engine_load(engine, error)) {
        engine_close(engine);
        return error->code;
    }
    absent_tell(engine);
    engine->last_commit = real_us();
    *out = engine;
    return 0;
}

void engine_stop(struct engine *engine, const char *why)
{
    engine->stopping = true;
    string_copy(engine->stop_why, sizeof engine->stop_why, why);
}

void engine_close(struct engine *engine)
{
    if (!engine)
        return;
    drop_all(engine);
    notify_close(engine);
    loop_close(engine);
    ask_drop_all(engine);
    deadlines_free(&engine->deadlines);
    session_free(engine);
    unfit_forget(engine);
    absent_forget(engine);
    text_free(&engine->progress);
    free(engine);
}
