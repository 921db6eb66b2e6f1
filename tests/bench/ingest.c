/* How fast samples go into the logbook, beside the bare limit: the same tables, inserts, moves and
 * commits written out in the shortest C against SQLite. One line a case:
 *
 *     RUNS runs, ROWS a commit: ours N/s, bare N/s, ratio; bytes written a sample; bytes a row in
 *     the file; how long a call to move samples took
 *
 * Each side is run three times in turn, since a disk is not always as quick: the best time of each
 * counts, and the longest move of all.
 *
 * Usage: ingest [FOLDER]: on the disk to be measured (a folder in memory tells little). The bytes
 * written are the kernel's count for this process (/proc/self/io), so that both the log and the
 * file count; both sides end with everything moved and the log emptied. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include <sqlite3.h>

#include "base/text.h"
#include "logbook/runs.h"
#include "logbook/steps.h"

#define MOST_RUNS 1000
#define MOVE_ROWS 256
#define REPEATS   3

struct load {
    const char *about;
    int runs, rows, commits; /* `rows` of each run in one commit */
    bool sums;               /* with the sums and the progress of each step in each commit */
};

struct outcome {
    double seconds;
    double written, file; /* bytes */
};

static const char progress[] =
    "1 elapsed=3600 active=3600 charge=1440 energy=1872 voltage_time=4680 first=1.412 peak=1.412 "
    "low=1.203 smooth=1.204 smooth_peak=1.398 mid=1.251 last_t=3600 last_v=1.203 last_i=-0.4 "
    "kept_t=3590 kept_v=1.204 kept_i=-0.4 level=0 gaps=0 gap_time=0 rows=3600 "
    "window=3585:1.204:21.1,3586:1.204:21.1,3587:1.204:21.1,3588:1.204:21.1,3589:1.204:21.1,"
    "3590:1.204:21.1,3591:1.204:21.1,3592:1.204:21.1,3593:1.203:21.1,3594:1.203:21.1";

/* How long each call to move samples took, s. */
static double *moves;
static int move_count, move_room;

static void note_move(double seconds)
{
    if (move_count == move_room) {
        move_room = move_room == 0 ? 1024 : 2 * move_room;
        moves = xrealloc(moves, (size_t)move_room * sizeof(*moves));
    }
    moves[move_count++] = seconds;
}

static int shorter(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;

    return (x > y) - (x < y);
}

static double now(void)
{
    struct timespec time;

    clock_gettime(CLOCK_MONOTONIC, &time);
    return (double)time.tv_sec + (double)time.tv_nsec / 1e9;
}

static double bytes_written(void)
{
    char line[128];
    double bytes = 0;
    FILE *file = fopen("/proc/self/io", "r");

    while (file != NULL && fgets(line, sizeof(line), file) != NULL)
        sscanf(line, "write_bytes: %lf", &bytes);
    if (file != NULL)
        fclose(file);
    return bytes;
}

static double file_size(const char *path)
{
    struct stat about;

    return stat(path, &about) == 0 ? (double)about.st_size : 0;
}

static void remove_all(const char *path)
{
    static const char *const parts[] = {"", "-wal", "-shm", "-lock"};
    char name[512];

    for (int i = 0; i < 4; i++) {
        snprintf(name, sizeof(name), "%s%s", path, parts[i]);
        unlink(name);
    }
}

static struct sample sample_of(int run, int k)
{
    return (struct sample){.t_us = (int64_t)k * 1000000 + run,
                           .voltage = 1.25 + 0.15 * (double)((k * 7919 + run) % 10007) / 10007,
                           .current = -0.4,
                           .temperature = 21.0 + (double)(k % 500) / 1000};
}

static void fail(const char *what)
{
    fprintf(stderr, "ingest: %s\n", what);
    exit(1);
}

/* --- ours ------------------------------------------------------------------------------------- */

static struct error error;

static void must(int failed)
{
    if (failed) {
        error_print(stderr, &error);
        exit(1);
    }
}

static void begin_steps(struct logbook *logbook, int64_t *steps, int count)
{
    struct run_record run = {.kind = "study", .script_name = "ingest", .queued_at = 1};

    must(logbook_begin(logbook, &error));
    must(logbook_add_script(logbook, "ingest", "", 0, run.script_hash, &error));
    must(logbook_add_run(logbook, &run, &error));
    for (int i = 0; i < count; i++) {
        struct journal_entry entry = {.n = i + 1, .name = "rest", .args = "{}"};
        struct step_record step = {.run = run.id, .n = i + 1, .kind = "rest", .how = "simulated"};
        must(logbook_journal_intent(logbook, run.id, 0, &entry, &error));
        must(logbook_add_step(logbook, &step, &error));
        steps[i] = step.id;
    }
    must(logbook_commit(logbook, &error));
}

static void move_ours(struct logbook *logbook)
{
    double begun = now();
    bool more;

    must(logbook_move_samples(logbook, &more, &error));
    note_move(now() - begun);
}

static struct outcome ours(const char *path, const struct load *load)
{
    const struct logbook_birth birth = {1, 1, NULL, NULL};
    struct sample *batch = xmalloc((size_t)load->rows * sizeof(*batch));
    struct outcome outcome = {.seconds = 0};
    int64_t steps[MOST_RUNS];
    struct logbook *logbook;
    double begun;

    must(logbook_create(path, &birth, &error));
    must(logbook_open(&logbook, path, LOGBOOK_WRITE, &error));
    begin_steps(logbook, steps, load->runs);
    outcome.written = bytes_written();
    outcome.file = file_size(path);
    begun = now();
    for (int commit = 0; commit < load->commits; commit++) {
        must(logbook_begin(logbook, &error));
        for (int run = 0; run < load->runs; run++) {
            int k = commit * load->rows;
            for (int i = 0; i < load->rows; i++)
                batch[i] = sample_of(run, k + i);
            must(logbook_add_samples(logbook, steps[run], k, batch, load->rows, &error));
            if (load->sums) {
                double x = 1.25 * commit;
                struct step_sums sums = {x, x, x, x, x, x, x, x, x, x, 0, x, NULL, NULL};
                must(logbook_checkpoint_step(logbook, steps[run], &sums, progress, k, &error));
            }
        }
        must(logbook_commit(logbook, &error));
        move_ours(logbook);
    }
    logbook_close(logbook);
    outcome.seconds = now() - begun;
    outcome.written = bytes_written() - outcome.written;
    outcome.file = file_size(path) - outcome.file;
    free(batch);
    return outcome;
}

/* --- the bare limit --------------------------------------------------------------------------- */

struct bare_row {
    int64_t t, v, i, temperature;
};

struct bare {
    sqlite3 *db;
    sqlite3_stmt *begin, *commit, *recent, *sample, *sums, *remove;
    struct bare_row *rows; /* [run][MOVE_ROWS] that wait */
    int *waiting, *moved;
};

static sqlite3_stmt *prepare(sqlite3 *db, const char *sql)
{
    sqlite3_stmt *stmt;

    if (sqlite3_prepare_v2(db, sql, -1, &stmt, NULL) != SQLITE_OK)
        fail(sqlite3_errmsg(db));
    return stmt;
}

static void run_once(sqlite3_stmt *stmt)
{
    if (sqlite3_step(stmt) != SQLITE_DONE)
        fail(sqlite3_errmsg(sqlite3_db_handle(stmt)));
    sqlite3_reset(stmt);
}

static void bare_open(struct bare *bare, const char *path, int runs)
{
    if (sqlite3_open(path, &bare->db) != SQLITE_OK ||
        sqlite3_exec(
            bare->db,
            "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;"
            "PRAGMA secure_delete = OFF; PRAGMA cache_size = -16000;"
            "CREATE TABLE sample (step INTEGER NOT NULL, k INTEGER NOT NULL,"
            " microsecond INTEGER NOT NULL, microvolt INTEGER NOT NULL,"
            " microampere INTEGER NOT NULL, millidegree INTEGER,"
            " PRIMARY KEY (step, k)) STRICT, WITHOUT ROWID;"
            "CREATE TABLE recent (row INTEGER PRIMARY KEY, step INTEGER NOT NULL,"
            " k INTEGER NOT NULL, microsecond INTEGER NOT NULL, microvolt INTEGER NOT NULL,"
            " microampere INTEGER NOT NULL, millidegree INTEGER) STRICT;"
            "CREATE TABLE outcome (step INTEGER PRIMARY KEY, at INTEGER NOT NULL,"
            " ended_at INTEGER, samples INTEGER NOT NULL, charge REAL, energy REAL,"
            " duration REAL, first_voltage REAL, last_voltage REAL, mean_voltage REAL,"
            " mid_voltage REAL, peak_voltage REAL, max_temperature REAL, resistance REAL,"
            " gaps INTEGER NOT NULL, gap_time REAL NOT NULL, ended_by TEXT, quality TEXT,"
            " progress TEXT) STRICT",
            NULL, NULL, NULL) != SQLITE_OK)
        fail(sqlite3_errmsg(bare->db));
    bare->begin = prepare(bare->db, "BEGIN IMMEDIATE");
    bare->commit = prepare(bare->db, "COMMIT");
    bare->recent = prepare(bare->db, "INSERT INTO recent VALUES (NULL, ?, ?, ?, ?, ?, ?)");
    bare->sample = prepare(bare->db, "INSERT INTO sample VALUES (?, ?, ?, ?, ?, ?)");
    bare->remove = prepare(bare->db, "DELETE FROM recent");
    bare->sums =
        prepare(bare->db,
                "INSERT INTO outcome VALUES (?1, ?2, NULL, ?2, ?3, ?3, ?3, ?3, ?3, ?3, ?3, ?3, ?3,"
                " ?3, 0, ?3, NULL, NULL, ?4) ON CONFLICT DO UPDATE SET at = ?2, samples = ?2,"
                " charge = ?3, energy = ?3, duration = ?3, first_voltage = ?3, last_voltage = ?3,"
                " mean_voltage = ?3, mid_voltage = ?3, peak_voltage = ?3, max_temperature = ?3,"
                " resistance = ?3, gap_time = ?3, progress = ?4");
    bare->rows = xcalloc((size_t)runs * MOVE_ROWS, sizeof(*bare->rows));
    bare->waiting = xcalloc((size_t)runs, sizeof(int));
    bare->moved = xcalloc((size_t)runs, sizeof(int));
}

static void bare_insert(sqlite3_stmt *stmt, int run, int k, const struct bare_row *row)
{
    sqlite3_bind_int64(stmt, 1, run + 1);
    sqlite3_bind_int64(stmt, 2, k);
    sqlite3_bind_int64(stmt, 3, row->t);
    sqlite3_bind_int64(stmt, 4, row->v);
    sqlite3_bind_int64(stmt, 5, row->i);
    sqlite3_bind_int64(stmt, 6, row->temperature);
    run_once(stmt);
}

/* Eight runs in a transaction; `recent` is emptied when the last of all runs has been moved. */
static void bare_move(struct bare *bare, const struct load *load)
{
    for (int first = 0; first < load->runs; first += 8) {
        run_once(bare->begin);
        for (int run = first; run < load->runs && run < first + 8; run++) {
            for (int i = 0; i < bare->waiting[run]; i++)
                bare_insert(bare->sample, run, bare->moved[run] + i,
                            &bare->rows[run * MOVE_ROWS + i]);
            bare->moved[run] += bare->waiting[run];
            bare->waiting[run] = 0;
        }
        if (first + 8 >= load->runs)
            run_once(bare->remove);
        run_once(bare->commit);
    }
}

static struct bare_row bare_row_of(int run, int k)
{
    struct sample sample = sample_of(run, k);

    return (struct bare_row){sample.t_us, (int64_t)(sample.voltage * 1e6 + 0.5),
                             (int64_t)(sample.current * 1e6 - 0.5),
                             (int64_t)(sample.temperature * 1e3 + 0.5)};
}

static void bare_commit(struct bare *bare, const struct load *load, int commit)
{
    run_once(bare->begin);
    for (int run = 0; run < load->runs; run++) {
        for (int i = 0; i < load->rows; i++) {
            int k = commit * load->rows + i;
            struct bare_row row = bare_row_of(run, k);
            if (load->rows < MOVE_ROWS) {
                bare_insert(bare->recent, run, k, &row);
                bare->rows[run * MOVE_ROWS + bare->waiting[run]++] = row;
            } else {
                bare_insert(bare->sample, run, k, &row);
            }
        }
        if (load->sums) {
            sqlite3_bind_int64(bare->sums, 1, run + 1);
            sqlite3_bind_int64(bare->sums, 2, commit);
            sqlite3_bind_double(bare->sums, 3, 1.25 * commit);
            sqlite3_bind_text(bare->sums, 4, progress, -1, SQLITE_STATIC);
            run_once(bare->sums);
        }
    }
    run_once(bare->commit);
}

static struct outcome bare(const char *path, const struct load *load)
{
    struct outcome outcome = {.seconds = 0};
    struct bare bare;
    double begun;

    bare_open(&bare, path, load->runs);
    outcome.written = bytes_written();
    begun = now();
    for (int commit = 0; commit < load->commits; commit++) {
        bare_commit(&bare, load, commit);
        if (bare.waiting[0] + load->rows > MOVE_ROWS)
            bare_move(&bare, load);
    }
    bare_move(&bare, load);
    sqlite3_finalize(bare.begin);
    sqlite3_finalize(bare.commit);
    sqlite3_finalize(bare.recent);
    sqlite3_finalize(bare.sample);
    sqlite3_finalize(bare.sums);
    sqlite3_finalize(bare.remove);
    if (sqlite3_close(bare.db) != SQLITE_OK)
        fail("the bare database could not be closed");
    outcome.seconds = now() - begun;
    outcome.written = bytes_written() - outcome.written;
    outcome.file = file_size(path);
    free(bare.rows);
    free(bare.waiting);
    free(bare.moved);
    return outcome;
}

/* --- both ------------------------------------------------------------------------------------- */

static void keep_best(struct outcome *best, struct outcome latest)
{
    if (best->seconds == 0 || latest.seconds < best->seconds)
        *best = latest;
}

static void compare(const char *path, const struct load *load)
{
    double samples = (double)load->runs * load->rows * load->commits;
    struct outcome limit = {.seconds = 0}, is = {.seconds = 0};

    move_count = 0;
    for (int i = 0; i < REPEATS; i++) {
        remove_all(path);
        keep_best(&limit, bare(path, load));
        remove_all(path);
        keep_best(&is, ours(path, load));
    }
    remove_all(path);
    qsort(moves, (size_t)move_count, sizeof(*moves), shorter);
    printf("%4d runs, %3d a commit%s: ours %7.0f/s, bare %7.0f/s, ratio %.2f; written %4.0f B a "
           "sample (bare %4.0f), in the file %.1f B a row (bare %.1f); moves: 99 %% under %.1f ms, "
           "the longest %.1f ms\n",
           load->runs, load->rows, load->about, samples / is.seconds, samples / limit.seconds,
           limit.seconds / is.seconds, is.written / samples, limit.written / samples,
           is.file / samples, limit.file / samples, moves[move_count * 99 / 100] * 1e3,
           moves[move_count - 1] * 1e3);
    fflush(stdout);
}

int main(int argc, char **argv)
{
    static const struct load loads[] = {
        {"", 48, 1, 1200, false},        {" with sums", 48, 1, 1200, true},
        {"", 1000, 1, 600, false},       {" with sums", 1000, 1, 300, true},
        {" (bulk)", 48, 500, 40, false}, {" (bulk, staged)", 48, 100, 200, false},
    };
    char path[512];

    snprintf(path, sizeof(path), "%s/ingest-%d.perdure", argc > 1 ? argv[1] : ".", (int)getpid());
    for (size_t i = 0; i < sizeof(loads) / sizeof(loads[0]); i++)
        compare(path, &loads[i]);
    free(moves);
    return 0;
}
