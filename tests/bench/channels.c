/* What channels of real instruments cost: the engine's whole path (step, wired channel, shipped Lua
 * driver, link, pseudo-terminal, logbook, guardian), beside a bare loop that does the same in the
 * same run: the same questions and answers over the same ptys, the numbers read, charge and
 * energy added up, and the same samples and those sums written to SQLite in one synchronous = FULL
 * commit a second. No pass or fail.
 *
 *   channels [SECONDS [FOLDER]]     for each measurement [5]; the logbooks' folder [/tmp]
 *
 * Each channel is a two-quadrant source in a long discharge, on record at each due time. Processor
 * time is that of the one process, while all channels are at work; the instruments answer from
 * another. Due: each channel's first reading, and the interval on from there; the bare loop is
 * given the due times that the engine came to have. Late: from when a reading was due to when its
 * last answer is in hand, read by the process that asked. Missed: due times without a sample on
 * record. The two take turns; ratios are medians over the rounds. */
#include <inttypes.h>
#include <math.h>
#include <sys/mman.h>
#include <uv.h>

#include "base/descriptors.h"
#include "base/text.h"
#include "bench/guardian.h"
#include "bench/world.h"
#include "bindings/bench_file.h"
#include "bindings/script.h"
#include "channels_bare.h"
#include "engine/acts.h"
#include "engine/engine.h"
#include "link/loop.h"

#define ROUNDS     3
#define SETTLE     1.0  /* s after the last channel has begun, before anything is measured */
#define BEGIN_MOST 30.0 /* s in which all must begin */

static const char protocol[] = "return protocol { title = 'Channels',\n"
                               "  params = { every = { unit = 's', default = 1 } }, results = {},\n"
                               "  run = function(cell, p)\n"
                               "    cell:discharge { current = '0.2 It', stop = { time = '10 h' }, "
                               "every = p.every }\n"
                               "  end }\n";

static void stop_on(int code, const struct error *error)
{
    if (!code)
        return;
    error_print(stderr, error);
    exit(1);
}

/* --- the instruments ------------------------------------------------------------------------- */

/* A source as SCPI-1999 has it, which gives just what it is set to. */
static size_t answer(int index, const char *line, char *out, size_t room)
{
    static struct {
        bool on;
        double volts, amps;
    } all[PTYS_MOST], *is;
    is = &all[index];
    out[0] = '\0';
    if (strcmp(line, "MEAS:VOLT?") == 0)
        snprintf(out, room, "+1.23450E+00\n");
    else if (strcmp(line, "MEAS:CURR?") == 0)
        snprintf(out, room, "%+.5E\n", is->on ? is->amps : 0);
    else if (strcmp(line, "OUTP?") == 0)
        snprintf(out, room, "%d\n", is->on);
    else if (strcmp(line, "*IDN?") == 0)
        snprintf(out, room, "SALTMERE,FAKE,%04d,1\n", index + 1);
    else if (strcmp(line, "SYST:ERR?") == 0)
        snprintf(out, room, "0,\"No error\"\n");
    else if (strcmp(line, "*OPC?") == 0)
        snprintf(out, room, "1\n");
    else if (strcmp(line, "VOLT?") == 0)
        snprintf(out, room, "%.5E\n", is->volts);
    else if (strcmp(line, "CURR?") == 0)
        snprintf(out, room, "%.5E\n", is->amps);
    else if (strncmp(line, "VOLT ", 5) == 0)
        is->volts = atof(line + 5);
    else if (strncmp(line, "CURR ", 5) == 0)
        is->amps = atof(line + 5);
    else if (strncmp(line, "OUTP ", 5) == 0)
        is->on = strcmp(line + 5, "ON") == 0;
    return strlen(out);
}

/* --- ours ------------------------------------------------------------------------------------ */

struct ours {
    struct trial *trial;
    struct side *side;
    struct engine *engine;
    uv_timer_t timer;
    bool measuring;
    double processor; /* when it began */
    long readings;
    double opened;
    int begun; /* channels that have an origin */
    /* The wired channel's own functions, and the engine's that hears of its readings. */
    const struct channel_ops *ops;
    void (*notify)(void *owner, const struct reading *reading, const struct error *failure);
    struct {
        void *owner;
        int index;
    } heard[4096]; /* by owner */
};

static struct ours ours; /* one a process; a channel only knows its owner */

/* Between channel and engine: looks at the clock, and passes on. */
static void hear(void *owner, const struct reading *reading, const struct error *failure)
{
    if (reading && reading->current != 0) {
        size_t at = (uintptr_t)owner / 16 % 4096;
        while (ours.heard[at].owner != owner)
            at = (at + 1) % 4096;
        double *origin = &ours.side->origin[ours.heard[at].index],
               taken = (double)reading->at / 1e6;
        double every = ours.trial->every;
        if (*origin == 0) {
            *origin = taken;
            ours.begun++;
        }
        if (ours.measuring)
            note(ours.side, *origin + (double)lround((taken - *origin) / every) * every);
    }
    ours.notify(owner, reading, failure);
}

static enum channel_reply read_cell(struct channel *channel, struct reading *out,
                                    struct error *error)
{
    if (channel->notify && channel->notify != hear) {
        size_t at = (uintptr_t)channel->owner / 16 % 4096;
        while (ours.heard[at].owner)
            at = (at + 1) % 4096;
        ours.heard[at].owner = channel->owner;
        ours.heard[at].index = atoi(channel->name + 1) - 1;
        ours.notify = channel->notify;
        channel->notify = hear;
    }
    return ours.ops->read(channel, out, error);
}

static void on_end(uv_timer_t *timer)
{
    ours.side->processor = seconds(CLOCK_PROCESS_CPUTIME_ID) - ours.processor;
    ours.side->ended = now();
    ours.side->readings = engine_count(ours.engine).readings - ours.readings;
    ours.measuring = false;
    engine_stop(ours.engine, "measured");
    uv_stop(timer->loop);
}

static void on_begin(uv_timer_t *timer)
{
    uv_timer_start(timer, on_end, (uint64_t)(ours.trial->length * 1e3), 0);
    ours.readings = engine_count(ours.engine).readings;
    ours.measuring = true;
    ours.side->began = now();
    ours.processor = seconds(CLOCK_PROCESS_CPUTIME_ID);
}

static void on_look(uv_timer_t *timer)
{
    if (ours.begun == ours.trial->ptys->count)
        uv_timer_start(timer, on_begin, (uint64_t)(SETTLE * 1e3), 0);
    else if (now() - ours.opened > BEGIN_MOST) {
        fprintf(stderr, "channels: after %g s only %d have begun\n", BEGIN_MOST, ours.begun);
        exit(1);
    }
}

static void enrol(struct logbook *logbook, const struct trial *trial)
{
    struct error error;
    json_t *reply = NULL, *labels = json_array();
    for (int i = 0; i < trial->ptys->count; i++)
        json_array_append_new(labels, json_sprintf("C-%04d", i + 1));
    json_t *request = json_pack("{s:s, s:[{s:s, s:s, s:f, s:O}]}", "act", "enrol", "models", "name",
                                "Model", "chemistry", "NiMH", "rated_Ah", 2.0, "cells", labels);
    stop_on(act(logbook, NULL, lua_script_ops(), 1, request, &reply, &error), &error);
    json_decref(request);
    json_decref(reply);
    request = json_pack("{s:s, s:s, s:s, s:s, s:{}, s:{s:f}, s:o}", "act", "start", "kind",
                        "protocol", "name", "channels", "text", protocol, "modules", "params",
                        "every", trial->every, "cells", labels);
    stop_on(act(logbook, NULL, lua_script_ops(), 1, request, &reply, &error), &error);
    json_decref(request);
    json_decref(reply);
}

static void read_bench(const struct trial *trial, const struct clock *clock, struct world *world,
                       const struct bench_access *access, struct bench *bench)
{
    struct error error;
    struct text text = TEXT_EMPTY;
    text_add(&text, "local channels = {}\nfor i, path in ipairs {\n");
    for (int i = 0; i < trial->ptys->count; i++)
        text_addf(&text, "\"%s\",\n", trial->ptys->paths[i]);
    text_addf(&text,
              "} do\n  local source = instrument { driver = \"two_quadrant\", link = pty(path),\n"
              "    name = \"Q\" .. i, identity = { serial = string.format(\"%%04d\", i) } }\n"
              "  channels[\"A\" .. i] = channel { source = source, sink = source, tick = %g,\n"
              "    limits = { discharge_current_most = \"1 A\" } }\n"
              "end\nreturn bench { channels = channels }\n",
              trial->every);
    stop_on(
        bench_file_read("bench.lua", text.bytes, text.length, clock, world, access, bench, &error),
        &error);
    text_free(&text);
    if (bench_reach(bench, 30)) {
        fprintf(stderr, "channels: not every instrument is reached\n");
        exit(1);
    }
}

static void look_at_record(struct logbook *logbook, const struct trial *trial)
{
    struct error error;
    for (int i = 0; i < trial->ptys->count; i++) {
        struct due due = due_begin(trial->ours, i, trial->every);
        stop_on(logbook_samples(logbook, i + 1, visit, &due, &error), &error);
        trial->ours->missed += due_end(&due);
    }
}

static void tell(void *owner, utc_us at, int64_t run, const char *level, const char *text)
{
    (void)owner, (void)at;
    if (strcmp(level, "info") != 0)
        fprintf(stderr, "channels: run %" PRId64 ": %s: %s\n", run, level, text);
}

static void our_side(struct trial *trial)
{
    struct error error;
    char path[400];
    struct logbook *logbook;
    struct logbook_birth birth = {.created = 1, .seed = 7, .clock = "real"};
    struct world *world;
    struct clock clock;
    struct bench bench;
    struct channel_ops ops;
    void *loop = loop_new();
    struct guardian *guardian = guardian_open(0);
    struct bench_access access = {.uv_loop = loop, .folder = SOURCE_DIR, .guardian = guardian};

    setenv("PERDURE_DRIVERS", SOURCE_DIR "/bindings/drivers", 1);
    snprintf(path, sizeof path, "%s/ours.perdure", trial->folder);
    stop_on(logbook_create(path, &birth, &error), &error);
    stop_on(logbook_open(&logbook, path, LOGBOOK_WRITE, &error), &error);
    stop_on(world_open(&world, NULL, &error), &error);
    clock_open_real(&clock);
    enrol(logbook, trial);
    read_bench(trial, &clock, world, &access, &bench);
    bench.guardian = guardian;
    ours.trial = trial;
    ours.side = trial->ours;
    ours.ops = bench.channels[0]->ops;
    ops = *ours.ops;
    ops.read = read_cell;
    for (int i = 0; i < bench.count; i++)
        bench.channels[i]->ops = &ops;

    struct engine_options options = {.logbook = logbook,
                                     .clock = &clock,
                                     .bench = &bench,
                                     .scripts = lua_script_ops(),
                                     .bench_name = "bench",
                                     .bench_hash = "",
                                     .placed = true, /* nobody is asked */
                                     .guardian = guardian,
                                     .uv_loop = loop,
                                     .tell = tell};
    stop_on(engine_open(&ours.engine, &options, &error), &error);
    ours.opened = now();
    uv_timer_init(loop, &ours.timer);
    uv_timer_start(&ours.timer, on_look, 50, 50);
    stop_on(engine_work(ours.engine, &error), &error);
    uv_close((uv_handle_t *)&ours.timer, NULL);
    engine_close(ours.engine);
    look_at_record(logbook, trial);
    bench_close(&bench);
    guardian_close(guardian);
    loop_free(loop);
    world_close(world);
    logbook_close(logbook);
}

/* --- both ------------------------------------------------------------------------------------ */

/* A process of its own for each measurement: processor time and memory begin anew. */
static void in_process(void (*side)(struct trial *trial), struct trial *trial)
{
    int status;
    pid_t process = fork();
    if (process == 0) {
        prctl(PR_SET_PDEATHSIG, SIGKILL);
        side(trial);
        exit(0);
    }
    if (waitpid(process, &status, 0) != process || status != 0) {
        errno = 0;
        fail("a measurement failed");
    }
}

static struct side *new_side(void)
{
    struct side *side =
        mmap(NULL, sizeof *side, PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0);
    if (side == MAP_FAILED)
        fail("no memory");
    return side;
}

static double median(double *values, int count)
{
    qsort(values, (size_t)count, sizeof *values, ascending);
    return values[count / 2];
}

enum figure { PROCESSOR, BARE_PROCESSOR, PROCESSOR_RATIO, LATE, BARE_LATE, LATE_RATIO, FIGURES };

static void compare(const char *folder, int count, double rate, double length)
{
    static struct ptys ptys;
    double figures[FIGURES][ROUNDS];
    long readings = 0, missed = 0, bare_missed = 0;
    for (int round = 0; round < ROUNDS; round++) {
        struct trial trial = {&ptys, 1 / rate, length, "", new_side(), new_side()};
        char command[400];
        snprintf(trial.folder, sizeof trial.folder, "%s/channels-XXXXXX", folder);
        if (!mkdtemp(trial.folder))
            fail(trial.folder);
        ptys_begin(&ptys, count, answer);
        in_process(our_side, &trial);
        in_process(bare_side, &trial);
        ptys_end(&ptys);
        struct side *us = trial.ours, *bare = trial.bare;
        figures[PROCESSOR][round] = us->processor / (double)us->readings * 1e6;
        figures[BARE_PROCESSOR][round] = bare->processor / (double)bare->readings * 1e6;
        figures[PROCESSOR_RATIO][round] =
            figures[PROCESSOR][round] / figures[BARE_PROCESSOR][round];
        figures[LATE][round] = late_99(us->late, us->late_count) * 1e3;
        figures[BARE_LATE][round] = late_99(bare->late, bare->late_count) * 1e3;
        figures[LATE_RATIO][round] = figures[LATE][round] / figures[BARE_LATE][round];
        readings += us->readings;
        missed += us->missed;
        bare_missed += bare->missed;
        munmap(us, sizeof *us);
        munmap(bare, sizeof *bare);
        snprintf(command, sizeof command, "rm -rf '%s'", trial.folder);
        if (system(command))
            exit(1);
    }
    double middle[FIGURES];
    for (int i = 0; i < FIGURES; i++)
        middle[i] = median(figures[i], ROUNDS);
    printf(
        "%4d channels at %g Hz: %.1f us a reading (bare %.1f us, ratio %.2f); 99 %% late by under "
        "%.2f ms (bare %.2f ms, ratio %.2f); %ld readings, %ld missed (bare %ld)\n",
        count, rate, middle[PROCESSOR], middle[BARE_PROCESSOR], middle[PROCESSOR_RATIO],
        middle[LATE], middle[BARE_LATE], middle[LATE_RATIO], readings, missed, bare_missed);
    fflush(stdout);
}

int main(int argc, char **argv)
{
    double length = argc > 1 ? atof(argv[1]) : 5;
    const char *folder = argc > 2 ? argv[2] : "/tmp";
    if (!(length >= 2))
        length = 2;
    descriptors_raise();
    if (argc > 4) { /* CHANNELS and HZ */
        compare(folder, atoi(argv[3]), atof(argv[4]), length);
        return 0;
    }
    compare(folder, 64, 1, length);
    compare(folder, 200, 10, length);
    compare(folder, 1000, 1, length);
    return 0;
}
