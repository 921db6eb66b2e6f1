/* A day at the bench: made, worked on, looked at. */
#include "cut_day.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/text.h"
#include "bench/simulated.h"
#include "bindings/script.h"
#include "engine/acts.h"
#include "engine/audit.h"
#include "engine/engine_internal.h"
#include "logbook/facts.h"
#include "logbook/logbook_internal.h"
#include "logbook/steps.h"

#define DAY_ONE (1772438400LL * US_PER_S) /* 2026-03-02T08:00:00Z */
#define SCALE   20000.0                   /* of the scaled clock: 20 s of the bench a millisecond */
#define CELLS   5

static const char *const labels[CELLS] = {"WRE-01", "WRE-02", "WRE-03", "WRE-04", "WRE-05"};

/* Every primitive that a run can be cut in: steps of all kinds, results, notes, waits, segments. */
static const char turns[] =
    "return protocol {\n"
    "  title = 'Turns',\n"
    "  params = { most = { unit = '', default = 3, about = 'turns' } },\n"
    "  results = { charge = 'Ah', draw = '', start = 'V' },\n"
    "  run = function(cell, p, state)\n"
    "    local turn = state and state.turn or 1\n"
    "    record('draw', random())\n"
    "    record('start', cell:read {}.voltage, 'V')\n"
    "    cell:charge { current = '0.5 It', stop = { time = '20 min' }, every = '1 min' }\n"
    "    cell:rest { time = '5 min' }\n"
    "    cell:pulse { current = { '0.1 It', '0.5 It' }, time = { '10 s', '3 s' } }\n"
    "    local out = cell:discharge {\n"
    "      current = '0.5 It', stop = { time = '15 min', voltage = '0.9 V' }, every = '30 s' }\n"
    "    record('charge', out.charge, 'Ah')\n"
    "    note('turn ' .. turn)\n"
    "    wait('10 min')\n"
    "    if turn < p.most then restart_with { turn = turn + 1 } end\n"
    "  end,\n"
    "}\n";

static void must(int failed, const char *doing, const struct error *error)
{
    if (!failed)
        return;
    fprintf(stderr, "%s: ", doing);
    error_print(stderr, error);
    exit(2);
}

/* --- making one ------------------------------------------------------------------------------- */

static void change(struct logbook *logbook, json_t *request)
{
    struct error error = {0};
    json_t *reply = NULL;
    must(request == NULL || act(logbook, NULL, lua_script_ops(), DAY_ONE, request, &reply, &error),
         "preparing", &error);
    json_decref(request);
    json_decref(reply);
}

/* `script` NULL: a shipped protocol of this name. */
static void start(struct logbook *logbook, const char *name, const char *script, const char *label,
                  json_t *params)
{
    char path[512], *text = NULL;
    size_t length;
    struct error error = {0};
    if (script != NULL) {
        text = xstrdup(script);
    } else {
        snprintf(path, sizeof path, "%s/protocols/%s", SOURCE_DIR, name);
        must(file_read(path, 1 << 20, &text, &length, &error), path, &error);
    }
    change(logbook,
           json_pack("{s:s, s:s, s:s, s:s, s:{}, s:o, s:[s]}", "act", "start", "kind", "protocol",
                     "name", name, "text", text, "modules", "params", params, "cells", label));
    free(text);
}

static void start_runs(struct logbook *logbook, enum day_size size)
{
    if (size == DAY_SHORT) {
        start(logbook, "turns.lua", turns, labels[0], json_pack("{s:s}", "most", "1"));
        start(logbook, "drain.lua", NULL, labels[1], json_pack("{s:s}", "rate", "2 It"));
        return;
    }
    start(logbook, "turns.lua", turns, labels[0], json_object());
    start(logbook, "drain.lua", NULL, labels[1], json_pack("{s:s}", "rate", "1 It"));
    start(logbook, "capacity.lua", NULL, labels[2],
          json_pack("{s:s, s:s, s:s, s:s}", "charge", "0.5 It", "fill", "144 min", "rest", "10 min",
                    "rate", "1 It"));
    start(logbook, "break-in.lua", NULL, labels[3],
          json_pack("{s:s, s:s, s:s, s:s, s:s}", "charge", "0.5 It", "fill", "144 min", "rest",
                    "10 min", "rate", "1 It", "most", "2"));
    start(logbook, "turns.lua", turns, labels[4], json_pack("{s:s}", "most", "2"));
}

/* The cells themselves exist before any engine sees them. */
static void put_on_shelf(const struct day *day, struct logbook *logbook)
{
    struct world *world = NULL;
    struct error error = {0};
    must(world_open(&world, day->world, &error), "cells", &error);
    for (int i = 0; i < CELLS; i++) {
        struct cell_facts facts;
        must(facts_of_cell(logbook, labels[i], &facts, &error) ||
                 world_cell(world, &facts, NULL, DAY_ONE, &error) == NULL,
             labels[i], &error);
    }
    world_close(world);
}

static void name_files(struct day *day, const char *folder)
{
    string_copy(day->folder, sizeof day->folder, folder);
    snprintf(day->logbook, sizeof day->logbook, "%s/wren.perdure", folder);
    snprintf(day->world, sizeof day->world, "%s/wren.perdure-world", folder);
}

static const char *const parts[] = {"", "-wal", "-shm", "-journal", "-lock", "-world"};

void day_make(struct day *day, const char *folder, enum day_size size, uint64_t seed)
{
    struct logbook_birth birth = {.created = DAY_ONE, .seed = seed, .clock = "virtual"};
    struct logbook *logbook = NULL;
    struct error error = {0};
    json_t *cells = json_array();
    name_files(day, folder);
    mkdir(folder, 0755);
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
        char path[400];
        snprintf(path, sizeof path, "%s%s", day->logbook, parts[i]);
        unlink(path);
    }
    must(logbook_create(day->logbook, &birth, &error) ||
             logbook_open(&logbook, day->logbook, LOGBOOK_WRITE, &error),
         "making a logbook", &error);
    for (int i = 0; i < CELLS; i++)
        json_array_append_new(cells, json_string(labels[i]));
    change(logbook, json_pack("{s:s, s:[{s:s, s:s, s:f, s:o}]}", "act", "enrol", "models", "name",
                              "Wren 2000", "chemistry", "NiMH", "rated_Ah", 2.0, "cells", cells));
    start_runs(logbook, size);
    put_on_shelf(day, logbook);
    logbook_close(logbook);
}

void day_copy(const struct day *from, struct day *to, const char *folder)
{
    name_files(to, folder);
    mkdir(folder, 0755);
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
        char old[400], new[400], *bytes = NULL;
        size_t length;
        snprintf(old, sizeof old, "%s%s", from->logbook, parts[i]);
        snprintf(new, sizeof new, "%s%s", to->logbook, parts[i]);
        unlink(new);
        if (access(old, F_OK) != 0)
            continue;
        FILE *file = fopen(new, "wb");
        if (file_read(old, SIZE_MAX / 2, &bytes, &length, NULL) != 0 || file == NULL ||
            fwrite(bytes, 1, length, file) != length || fclose(file) != 0) {
            perror(new);
            exit(2);
        }
        free(bytes);
    }
}

/* --- working on it ---------------------------------------------------------------------------- */

static void add_channels(struct day_bench *bench, bool scaled)
{
    struct error error = {0};
    for (int i = 1; i <= 3; i++) {
        char name[8];
        snprintf(name, sizeof name, "S%d", i);
        struct channel *channel = simulated_channel(name, &bench->clock, bench->world, NULL);
        if (scaled)
            channel->tick_least = 20;
        must(bench_add(&bench->bench, channel, &error), "bench", &error);
    }
}

static int open_bench(struct day_bench *bench, const struct day *day, const struct day_work *work,
                      struct error *error)
{
    utc_us latest = 0;
    char said[160];
    if (logbook_open(&bench->logbook, day->logbook, LOGBOOK_WRITE, error))
        return error->code;
    if (work->pragma != NULL && sql_script(bench->logbook->db, day->logbook, work->pragma, error))
        return error->code;
    if (work->checkpoint_frames > 0) {
        snprintf(said, sizeof said, "PRAGMA wal_autocheckpoint = %d", work->checkpoint_frames);
        if (sql_script(bench->logbook->db, day->logbook, said, error))
            return error->code;
    }
    if (logbook_latest(bench->logbook, &latest, error) ||
        world_open(&bench->world, day->world, error))
        return error->code;
    if (world_latest(bench->world) > latest)
        latest = world_latest(bench->world);
    latest += work->outage;
    if (work->pace == PACE_SCALED) {
        struct clock real;
        clock_open_real(&real);
        clock_open_scaled(&bench->clock, SCALE, latest, clock_utc(&real));
    } else {
        clock_open_virtual(&bench->clock, latest);
    }
    add_channels(bench, work->pace == PACE_SCALED);
    return 0;
}

/* What loop.c does around a pass, but with a commit every few passes. */
static int work_stepped(struct engine *engine, struct clock *clock, int commit_passes,
                        struct error *error)
{
    for (int pass = 1;; pass++) {
        bool more = false;
        if (engine_pass(engine, error))
            return error->code;
        if (pass % commit_passes == 0 && !engine->held && engine_commit(engine))
            logbook_move_samples(engine->options.logbook, &more, engine_error(engine));
        if (engine->trouble.code)
            continue;
        if (engine->held) {
            usleep(200);
            continue;
        }
        bench_us next = deadlines_next(&engine->deadlines);
        if (next != BENCH_NEVER)
            clock_advance(clock, next);
        else if (engine_idle(engine) && engine_commit(engine))
            return 0;
    }
}

int day_work(const struct day *day, const struct day_work *work, struct error *error)
{
    struct day_bench own = {0}, *bench = work->bench != NULL ? work->bench : &own;
    struct engine_options options = {
        .clock = &bench->clock,
        .bench = &bench->bench,
        .scripts = lua_script_ops(),
        .bench_name = "three.lua",
        .bench_hash = "0000",
        .until_idle = work->until_run == 0,
        .until_run = work->until_run,
        .commit_every = 0.001,
        .held_retry = 0.003, /* longer than from commit to commit, as usual */
        .tell = work->tell,
        .owner = work->owner,
    };
    error_clear(error);
    int code = open_bench(bench, day, work, error);
    options.logbook = bench->logbook;
    if (!code)
        code = engine_open(&bench->engine, &options, error);
    if (!code && work->pace == PACE_STEPPED) {
        code = work_stepped(bench->engine, &bench->clock, work->commit_passes, error);
        if (!code && work->until_run == 0)
            engine_stop(bench->engine, "nothing left to do");
    }
    if (!code)
        code = engine_work(bench->engine, error);
    if (work->after != NULL)
        work->after(work->owner, code);
    engine_close(bench->engine);
    bench_close(&bench->bench);
    world_close(bench->world);
    logbook_close(bench->logbook);
    return code;
}

/* --- looking at it ---------------------------------------------------------------------------- */

/* They are all there since day_make: their label finds them. */
static struct simcell *cell_of(struct world *world, const char *label)
{
    struct cell_facts facts = {0};
    struct error error = {0};
    string_copy(facts.label, sizeof facts.label, label);
    struct simcell *cell = world_cell(world, &facts, NULL, DAY_ONE, &error);
    must(cell == NULL, label, &error);
    return cell;
}

bool day_is_safe(const struct day_bench *bench)
{
    bool safe = true;
    for (int i = 0; i < CELLS && bench->world != NULL; i++)
        safe &= cell_of(bench->world, labels[i])->drive.mode == DRIVE_OFF;
    return safe;
}

void day_switch_off(const struct day *day)
{
    struct world *world = NULL;
    struct error error = {0};
    if (access(day->world, F_OK) != 0)
        return;
    must(world_open(&world, day->world, &error), "cells", &error);
    for (int i = 0; i < CELLS; i++)
        cell_of(world, labels[i])->drive = DRIVE_NOTHING;
    world_close(world);
}

static enum day_finding look_inside(struct logbook *logbook, bool finished, char *why, size_t size,
                                    struct error *error)
{
    struct audit found = {0};
    enum day_finding finding = DAY_SOUND;
    int64_t *ids = NULL;
    int count = 0;
    if (logbook_check(logbook, error) || audit(logbook, lua_script_ops(), &found, error) ||
        logbook_open_runs(logbook, &ids, &count, error)) {
        snprintf(why, size, "%s", error->why);
        finding = DAY_DAMAGED;
    } else if (json_array_size(found.findings) > 0) {
        snprintf(why, size, "%s", json_string_value(json_array_get(found.findings, 0)));
        finding = DAY_UNCLEAN;
    } else if (finished) {
        struct listing_filter all = {0};
        json_t *runs = NULL, *run;
        size_t i;
        must(logbook_list(logbook, LIST_RUNS, &all, &runs, error), "runs", error);
        json_array_foreach(runs, i, run)
        {
            const char *state = json_string_value(json_object_get(run, "state"));
            if (strcmp(state, "done") == 0)
                continue;
            snprintf(why, size, "run %d is %s", (int)i + 1, state);
            finding = DAY_UNFINISHED;
        }
        json_decref(runs);
    }
    json_decref(found.findings);
    free(ids);
    return finding;
}

enum day_finding day_look(const struct day *day, bool finished, char *why, size_t size)
{
    struct logbook *logbook = NULL;
    struct error error = {0};
    why[0] = '\0';
    if (logbook_open(&logbook, day->logbook, LOGBOOK_READ, &error)) {
        snprintf(why, size, "%s", error.why);
        return DAY_DAMAGED;
    }
    enum day_finding finding = look_inside(logbook, finished, why, size, &error);
    logbook_close(logbook);
    return finding;
}
