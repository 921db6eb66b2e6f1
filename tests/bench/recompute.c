/* Charges recomputed from samples: what `perdure audit` does with the clustered table, beside a
 * bare scan of the same table by SQLite alone, in the same run.
 *
 *   speed_recompute [FOLDER [SAMPLES]]    5,000,000 where not said; 100,000,000 need 3.5 GB */
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

#include "base/text.h"
#include "engine/audit.h"
#include "logbook/runs.h"
#include "logbook/steps.h"

#define STEP_SAMPLES 20000
#define BATCH        2000
#define STEPS_A_LOT  50 /* steps in a transaction */

static struct error error;

static void must(int failed)
{
    if (failed) {
        error_print(stderr, &error);
        exit(1);
    }
}

static double now(void)
{
    struct timespec time;
    clock_gettime(CLOCK_MONOTONIC, &time);
    return (double)time.tv_sec + (double)time.tv_nsec / 1e9;
}

/* A discharge at 0.4 A with a ripple, a row a second. */
static struct sample sample_of(int64_t k)
{
    return (struct sample){.t_us = k * 1000000,
                           .voltage = 1.35 - 0.35 * (double)k / STEP_SAMPLES,
                           .current = -0.4 - 1e-6 * (double)(k * 7919 % 1009),
                           .temperature = 21.0 + (double)(k % 500) / 1000};
}

static void add_step(struct logbook *logbook, int64_t run, int64_t n, struct sample *batch)
{
    struct journal_entry entry = {.n = n, .name = "discharge", .args = "{}", .outcome = "{}"};
    struct step_record step = {.run = run, .n = n, .kind = "discharge", .how = "simulated"};
    double charge = 0;
    must(logbook_journal_intent(logbook, run, 0, &entry, &error));
    must(logbook_add_step(logbook, &step, &error));
    for (int64_t k = 0; k < STEP_SAMPLES; k += BATCH) {
        for (int i = 0; i < BATCH; i++) {
            batch[i] = sample_of(k + i);
            if (k + i > 0)
                charge -= (batch[i].current + sample_of(k + i - 1).current) / 2;
        }
        must(logbook_add_samples(logbook, step.id, k, batch, BATCH, &error));
    }
    struct step_sums sums = {
        .charge = charge, .duration = STEP_SAMPLES - 1, .ended_by = "voltage", .quality = "good"};
    must(logbook_end_step(logbook, step.id, &sums, STEP_SAMPLES * 1000000LL, &error));
}

static void build(const char *path, int64_t steps)
{
    const struct logbook_birth birth = {.created = 1, .seed = 1};
    struct run_record run = {.kind = "protocol", .script_name = "recompute", .queued_at = 1};
    struct sample *batch = xmalloc(BATCH * sizeof *batch);
    struct logbook *logbook;
    must(logbook_create(path, &birth, &error));
    must(logbook_open(&logbook, path, LOGBOOK_WRITE, &error));
    for (int64_t n = 1; n <= steps; n++) {
        if (n % STEPS_A_LOT == 1)
            must(logbook_begin(logbook, &error));
        if (n == 1) {
            must(logbook_add_script(logbook, "recompute", "", 0, run.script_hash, &error));
            must(logbook_add_run(logbook, &run, &error));
        }
        add_step(logbook, run.id, n, batch);
        if (n % STEPS_A_LOT == 0 || n == steps)
            must(logbook_commit(logbook, &error));
    }
    logbook_close(logbook);
    free(batch);
}

/* Every column of every row, in the table's order, and a sum so that nothing is left out. */
static double bare(const char *path, int64_t samples)
{
    sqlite3 *db;
    sqlite3_stmt *stmt;
    int64_t sum = 0, rows = 0;
    double begun = now();
    if (sqlite3_open_v2(path, &db, SQLITE_OPEN_READONLY, NULL) != SQLITE_OK ||
        sqlite3_prepare_v2(db,
                           "SELECT step, k, microsecond, microvolt, microampere, millidegree "
                           "FROM sample",
                           -1, &stmt, NULL) != SQLITE_OK)
        exit(1);
    for (; sqlite3_step(stmt) == SQLITE_ROW; rows++)
        for (int i = 0; i < 6; i++)
            sum += sqlite3_column_int64(stmt, i);
    sqlite3_finalize(stmt);
    sqlite3_close(db);
    if (rows != samples || sum == 0) {
        fprintf(stderr, "recompute: %lld rows, not %lld\n", (long long)rows, (long long)samples);
        exit(1);
    }
    return now() - begun;
}

static double ours(const char *path, int64_t samples)
{
    struct logbook *logbook;
    double begun = now();
    must(logbook_open(&logbook, path, LOGBOOK_READ, &error));
    struct audit found = {.findings = json_array()};
    must(audit_charges(&found, logbook, &error));
    logbook_close(logbook);
    double seconds = now() - begun;
    if (found.samples != samples || json_array_size(found.findings) || found.worst_charge > 1e-9) {
        fprintf(stderr, "recompute: %lld samples, %zu findings, off by %g\n",
                (long long)found.samples, json_array_size(found.findings), found.worst_charge);
        exit(1);
    }
    json_decref(found.findings);
    return seconds;
}

static void remove_all(const char *path)
{
    static const char *const parts[] = {"", "-wal", "-shm", "-lock"};
    char name[600];
    for (int i = 0; i < 4; i++) {
        snprintf(name, sizeof name, "%s%s", path, parts[i]);
        unlink(name);
    }
}

int main(int argc, char **argv)
{
    char path[512];
    int64_t wanted = argc > 2 ? atoll(argv[2]) : 5000000;
    int64_t steps = (wanted + STEP_SAMPLES - 1) / STEP_SAMPLES, samples = steps * STEP_SAMPLES;
    if (steps < 1) {
        fprintf(stderr, "recompute: how many samples?\n");
        return 2;
    }
    snprintf(path, sizeof path, "%s/recompute-%d.perdure", argc > 1 ? argv[1] : ".", (int)getpid());
    double begun = now(), limit = 0, is = 0;
    build(path, steps);
    printf("%lld samples in %lld steps written in %.1f s\n", (long long)samples, (long long)steps,
           now() - begun);
    fflush(stdout);
    int rounds = samples > 50000000 ? 2 : 3; /* the first finds the file on the disk */
    for (int i = 0; i < rounds; i++) {       /* in turn, so that both see the same machine */
        double b = bare(path, samples), o = ours(path, samples);
        limit = limit == 0 || b < limit ? b : limit;
        is = is == 0 || o < is ? o : is;
    }
    remove_all(path);
    printf("charges recomputed: %.2f s, %.2f million samples a second; bare scan %.2f s, %.2f "
           "million; ratio %.2f\n",
           is, (double)samples / is / 1e6, limit, (double)samples / limit / 1e6, limit / is);
    return 0;
}
