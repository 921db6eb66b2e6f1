/* Whole life in virtual time: cells through full cycles and a year on the shelf, rows on record, by
 * the engine and Lua, beside the bare limit in the same run: the same number of control ticks and
 * the same number of rows by the least C that gives them. One line a case; no pass or fail.
 *
 *   life [CELLS [CYCLES [FOLDER]]]      default: 48 cells, 300 cycles; 1,000 cells, 3 cycles;
 *                                       and 48 cells, 1 cycle, read every second
 *
 * A cycle is 0.1 It for 16 h, 1 h, 0.2 It to 1.0 V, 1 h. */
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <time.h>
#include <unistd.h>

#include <sqlite3.h>

#include "base/text.h"
#include "bench/simulated.h"
#include "bindings/script.h"
#include "engine/acts.h"
#include "engine/engine.h"

static const char protocol[] =
    "return protocol { title = 'Life', params = { cycles = { unit = '', default = 1 } },\n"
    "  results = { capacity = 'Ah', remaining = 'Ah' },\n"
    "  run = function(cell, p)\n"
    "    local function fill() cell:charge { current = '0.1 It', stop = { time = '16 h' } } end\n"
    "    local function empty()\n"
    "      return cell:discharge { current = '0.2 It', stop = { voltage = '1.0 V' } }\n"
    "    end\n"
    "    for i = 1, p.cycles do\n"
    "      fill()\n"
    "      cell:rest { time = '1 h' }\n"
    "      local out = empty()\n"
    "      if i % 50 == 0 then record('capacity', out.charge, 'Ah') end\n"
    "      cell:rest { time = '1 h' }\n"
    "    end\n"
    "    fill()\n"
    "    wait 'P1Y'\n"
    "    record('remaining', empty().charge, 'Ah')\n"
    "  end }\n";

struct figures {
    double seconds;
    int64_t ticks, rows;
    double memory; /* bytes a cell, resident */
};

static double now(void)
{
    struct timespec time;
    clock_gettime(CLOCK_MONOTONIC, &time);
    return (double)time.tv_sec + (double)time.tv_nsec / 1e9;
}

static double resident(void)
{
    long pages = 0;
    FILE *file = fopen("/proc/self/statm", "r");
    if (!file || fscanf(file, "%*d %ld", &pages) != 1)
        pages = 0;
    if (file)
        fclose(file);
    return (double)pages * (double)sysconf(_SC_PAGESIZE);
}

static void stop_on(int code, const struct error *error)
{
    if (!code)
        return;
    error_print(stderr, error);
    exit(1);
}

/* --- ours ------------------------------------------------------------------------------------- */

static void enrol(struct logbook *logbook, int cells, json_t **labels)
{
    struct error error;
    json_t *reply = NULL;
    *labels = json_array();
    for (int i = 0; i < cells; i++)
        json_array_append_new(*labels, json_sprintf("C-%04d", i + 1));
    json_t *request = json_pack("{s:s, s:[{s:s, s:s, s:f, s:O}]}", "act", "enrol", "models", "name",
                                "Model", "chemistry", "NiMH", "rated_Ah", 2.0, "cells", *labels);
    stop_on(act(logbook, NULL, lua_script_ops(), 1, request, &reply, &error), &error);
    json_decref(request);
    json_decref(reply);
}

/* `tick_most`: s between readings, always; 0: as rarely as the steps allow. */
static struct figures ours(const char *folder, int cells, int cycles, double tick_most)
{
    struct figures figures = {0};
    struct error error;
    char path[512];
    struct logbook *logbook;
    struct world *world;
    struct clock clock;
    struct bench bench = {0};
    struct engine *engine;
    json_t *labels, *reply = NULL;
    struct logbook_birth birth = {.created = 0, .seed = 7, .clock = "virtual"};

    error_clear(&error);
    snprintf(path, sizeof path, "%s/ours.perdure", folder);
    stop_on(logbook_create(path, &birth, &error), &error);
    stop_on(logbook_open(&logbook, path, LOGBOOK_WRITE, &error), &error);
    stop_on(world_open(&world, NULL, &error), &error);
    clock_open_virtual(&clock, 0);
    double before = resident();
    for (int i = 0; i < cells; i++) {
        char name[16];
        snprintf(name, sizeof name, "S%d", i + 1);
        struct channel *channel = simulated_channel(name, &clock, world, NULL);
        if (tick_most > 0)
            channel->tick_most = channel->rest_most = tick_most;
        stop_on(bench_add(&bench, channel, &error), &error);
    }
    enrol(logbook, cells, &labels);
    json_t *request = json_pack("{s:s, s:s, s:s, s:s, s:{}, s:{s:i}, s:o}", "act", "start", "kind",
                                "protocol", "name", "life", "text", protocol, "modules", "params",
                                "cycles", cycles, "cells", labels);
    stop_on(act(logbook, NULL, lua_script_ops(), 1, request, &reply, &error), &error);

    struct engine_options options = {.logbook = logbook,
                                     .clock = &clock,
                                     .bench = &bench,
                                     .scripts = lua_script_ops(),
                                     .bench_name = "bench",
                                     .bench_hash = "",
                                     .until_idle = true};
    double begin = now();
    stop_on(engine_open(&engine, &options, &error), &error);
    stop_on(engine_work(engine, &error), &error);
    figures.seconds = now() - begin;
    figures.ticks = engine_count(engine).readings;
    struct rusage usage;
    getrusage(RUSAGE_SELF, &usage);
    figures.memory = ((double)usage.ru_maxrss * 1024 - before) / cells;
    engine_close(engine);
    bench_close(&bench);
    world_close(world);
    logbook_close(logbook);
    json_decref(request);
    json_decref(reply);

    sqlite3 *db;
    sqlite3_stmt *count;
    sqlite3_open(path, &db);
    sqlite3_prepare_v2(db, "SELECT count(*) FROM reading", -1, &count, NULL);
    sqlite3_step(count);
    figures.rows = sqlite3_column_int64(count, 0);
    sqlite3_finalize(count);
    sqlite3_close(db);
    return figures;
}

/* --- the bare limit --------------------------------------------------------------------------- */

struct bare {
    double charge, v1, temperature, moved, energy, last, current;
    int row;
};

/* One stretch of a cell with one pair, a thermal mass and a straight open-circuit voltage. */
static void tick(struct bare *cell, double dt)
{
    const double pair = 0.9, thermal = 0.95; /* what exp() gives for a fixed stretch */
    cell->charge += cell->current * dt;
    cell->v1 = cell->v1 * pair + cell->current * 0.02 * (1 - pair);
    cell->temperature = 20 + (cell->temperature - 20) * thermal + cell->current * cell->current;
    double voltage = 1.0 + 0.4 * cell->charge / 7200 + cell->current * 0.03 + cell->v1;
    cell->moved += cell->current * dt;
    cell->energy += cell->current * dt * (voltage + cell->last) / 2;
    cell->last = voltage;
    if (voltage > 1.5 || voltage < 0.9)
        cell->current = -cell->current;
}

static void sql(sqlite3 *db, const char *text)
{
    if (sqlite3_exec(db, text, NULL, NULL, NULL)) {
        fprintf(stderr, "%s\n", sqlite3_errmsg(db));
        exit(1);
    }
}

static double bare(const char *folder, int cells, const struct figures *figures)
{
    char path[512];
    sqlite3 *db;
    sqlite3_stmt *insert;
    struct bare *cell = calloc((size_t)cells, sizeof *cell);
    snprintf(path, sizeof path, "%s/bare.db", folder);
    double begin = now(), committed = begin;
    sqlite3_open(path, &db);
    sql(db, "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;"
            "CREATE TABLE sample (step INTEGER NOT NULL, k INTEGER NOT NULL, t INTEGER NOT NULL,"
            "v INTEGER NOT NULL, a INTEGER NOT NULL, c INTEGER, PRIMARY KEY (step, k))"
            "STRICT, WITHOUT ROWID; BEGIN");
    sqlite3_prepare_v2(db, "INSERT INTO sample VALUES (?, ?, ?, ?, ?, ?)", -1, &insert, NULL);
    for (int i = 0; i < cells; i++)
        cell[i] = (struct bare){.charge = 3600, .temperature = 20, .current = 0.2};

    /* Rows of one cell in batches of 200, as a step's rows come. */
    int64_t ticks = figures->ticks / cells, rows = figures->rows / cells, done = 0, batch = 200;
    for (int64_t t = 0; t < ticks; t++) {
        for (int i = 0; i < cells; i++)
            tick(&cell[i], 60);
        if (done >= rows || (done + batch) * ticks > t * rows)
            continue;
        for (int i = 0; i < cells; i++) {
            for (int64_t k = 0; k < batch; k++) {
                sqlite3_bind_int64(insert, 1, (done / batch) * cells + i);
                sqlite3_bind_int64(insert, 2, k);
                sqlite3_bind_int64(insert, 3, k * 60000000);
                sqlite3_bind_int64(insert, 4, (int64_t)(cell[i].last * 1e6));
                sqlite3_bind_int64(insert, 5, (int64_t)(cell[i].current * 1e6));
                sqlite3_bind_int64(insert, 6, (int64_t)(cell[i].temperature * 1e3));
                sqlite3_step(insert);
                sqlite3_reset(insert);
            }
        }
        done += batch;
        if (now() - committed > 1) {
            sql(db, "COMMIT; BEGIN");
            committed = now();
        }
    }
    sql(db, "COMMIT");
    sqlite3_finalize(insert);
    sqlite3_close(db);
    free(cell);
    return now() - begin;
}

static void one_case(const char *folder, int cells, int cycles, double tick_most)
{
    char work[256], command[300];
    snprintf(work, sizeof work, "%s/life-XXXXXX", folder);
    if (!mkdtemp(work))
        exit(1);
    struct figures f = ours(work, cells, cycles, tick_most);
    double limit = bare(work, cells, &f);
    printf("%d cells, %d cycles and a year, read %s: %.2f s; %" PRId64
           " ticks, %.0f ns each all in; %" PRId64
           " rows, %.0f ns each all in; bare %.2f s, ratio %.2f; %.1f kB a channel\n",
           cells, cycles, tick_most > 0 ? "every second" : "as rarely as will do", f.seconds,
           f.ticks, f.seconds / (double)f.ticks * 1e9, f.rows, f.seconds / (double)f.rows * 1e9,
           limit, f.seconds / limit, f.memory / 1000);
    fflush(stdout);
    snprintf(command, sizeof command, "rm -rf '%s'", work);
    if (system(command))
        exit(1);
}

int main(int count, char **values)
{
    const char *folder = count > 3 ? values[3] : "/tmp";
    if (count > 1) {
        one_case(folder, atoi(values[1]), count > 2 ? atoi(values[2]) : 300, 0);
        return 0;
    }
    one_case(folder, 48, 300, 0);
    one_case(folder, 1000, 3, 0);
    one_case(folder, 48, 1, 1);
    return 0;
}
