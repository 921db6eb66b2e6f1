/* The agenda at size: 1,000 cells of ten models in 20 studies that last up to two years. How long
 * `perdure agenda --ics` takes and how much memory it takes at most, right after the start, when
 * all is still to come, and some way into the two years. Prints a line each:
 *
 *     WHEN: WEEKS weeks ahead, ours S s, MB MB; bare S s
 *
 * The bare limit opens the same file by SQLite and reads what the agenda has to read: the journals
 * of the open studies, their cells, and the last charge of each.
 *
 *   agenda PERDURE [FOLDER]        (with --bare FILE it is the bare limit itself)
 *
 * The years are made by the engine in virtual time: about a minute of it. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include <sqlite3.h>

#include "base/text.h"

#define CELLS   1000
#define STUDIES 20
#define TIMES   5 /* the median counts */

static int bare(const char *path)
{
    static const char *const queries[] = {
        "SELECT args, outcome FROM journal JOIN run ON run.id = journal.run "
        "WHERE ended_at IS NULL AND kind = 'study' ORDER BY run, journal.segment, n",
        "SELECT label, model.name, (SELECT max(outcome.ended_at) FROM step JOIN outcome "
        "ON outcome.step = step.id WHERE step.cell = cell.id AND kind = 'charge') "
        "FROM study_cell JOIN cell ON cell.id = study_cell.cell "
        "JOIN model ON model.id = cell.model"};
    sqlite3 *db;
    if (sqlite3_open_v2(path, &db, SQLITE_OPEN_READONLY, NULL))
        return 1;
    for (size_t i = 0; i < sizeof queries / sizeof *queries; i++) {
        sqlite3_stmt *rows;
        if (sqlite3_prepare_v2(db, queries[i], -1, &rows, NULL))
            return 1;
        while (sqlite3_step(rows) == SQLITE_ROW)
            sqlite3_column_text(rows, 1);
        if (sqlite3_finalize(rows))
            return 1;
    }
    sqlite3_close(db);
    return 0;
}

static double now(void)
{
    struct timespec time;
    clock_gettime(CLOCK_MONOTONIC, &time);
    return (double)time.tv_sec + (double)time.tv_nsec / 1e9;
}

struct cost {
    double seconds, megabytes;
};

/* Runs a command to its end, without its output; ends this program when it fails. */
static struct cost run(const char *const *words)
{
    double begin = now();
    int status = 0;
    struct rusage usage;
    fflush(stdout); /* or the child would print it as well */
    pid_t child = fork();
    if (child == 0) {
        if (!freopen("/dev/null", "w", stdout))
            _exit(127);
        execv(words[0], (char *const *)words);
        _exit(127);
    }
    if (wait4(child, &status, 0, &usage) != child || status) {
        fprintf(stderr, "%s failed\n", words[0]);
        exit(1);
    }
    return (struct cost){now() - begin, (double)usage.ru_maxrss / 1024};
}

static int by_time(const void *a, const void *b)
{
    double x = ((const struct cost *)a)->seconds, y = ((const struct cost *)b)->seconds;
    return x < y ? -1 : x > y;
}

static struct cost median(const char *const *words)
{
    struct cost cost[TIMES];
    for (int i = 0; i < TIMES; i++)
        cost[i] = run(words);
    qsort(cost, TIMES, sizeof *cost, by_time);
    return cost[TIMES / 2];
}

static FILE *create(const char *path)
{
    FILE *file = fopen(path, "w");
    if (!file) {
        perror(path);
        exit(1);
    }
    return file;
}

/* Enrolled and every study queued: "FOLDER/plan.perdure". */
static void start_all(const char *perdure)
{
    static const char *const studies[] = {"study-shelf", "study-drawer", "study-drawer",
                                          "study-wear"};
    static const char *const sets[] = {"each=1", "checks=8", "checks=12", "checks=3"};
    FILE *file = create("cells.csv");
    fputs("label,model,chemistry,rated\n", file);
    for (int i = 0; i < CELLS; i++)
        fprintf(file, "C-%04d,Model %d,NiMH,%d mAh\n", i, i / 5 % 10, 1900 + i / 5 % 10 * 10);
    fprintf(file, "STOP,Another,NiMH,2000 mAh\n");
    fclose(file);
    file = create("bench.lua");
    fprintf(file,
            "local c = {}\nfor i = 1, %d do c[\"S\" .. i] = simulated {} end\n"
            "return bench { title = \"Many\", channels = c }\n",
            CELLS + 1);
    fclose(file);
    file = create("stop.lua");
    fputs("return protocol { title = \"Stop\", run = function() wait(\"100 d\") end }\n", file);
    fclose(file);

    run((const char *[]){perdure, "--logbook", "plan.perdure", "new", "--clock", "virtual",
                         "--from", "2026-03-02", "--seed", "7", NULL});
    run((const char *[]){perdure, "--logbook", "plan.perdure", "enrol", "cells.csv", NULL});
    for (int s = 0; s < STUDIES; s++) {
        struct text labels = TEXT_EMPTY;
        /* Wear is left to few: its cycles take the engine most of the minute. */
        int kind = s % 10 == 3 ? 3 : s % 3;
        for (int i = 0; i < CELLS / STUDIES; i++)
            text_addf(&labels, "%sC-%04d", i ? "," : "", s * (CELLS / STUDIES) + i);
        run((const char *[]){perdure, "--logbook", "plan.perdure", "start", studies[kind], "--set",
                             sets[kind], "--cells", labels.bytes, NULL});
        text_free(&labels);
    }
}

static void measure(const char *perdure, const char *self, const char *when)
{
    static const char *const weeks[] = {"8", "104"};
    struct cost limit = median((const char *[]){self, "--bare", "plan.perdure", NULL});
    for (size_t i = 0; i < sizeof weeks / sizeof *weeks; i++) {
        struct cost ours = median((const char *[]){perdure, "--logbook", "plan.perdure", "agenda",
                                                   "--weeks", weeks[i], "--ics", "plan.ics", NULL});
        printf("%s: %s weeks ahead, ours %.3f s, %.0f MB; bare %.3f s\n", when, weeks[i],
               ours.seconds, ours.megabytes, limit.seconds);
    }
    fflush(stdout);
}

int main(int count, char **values)
{
    char folder[512], perdure[4096], self[4096], protocols[sizeof SOURCE_DIR + 16];
    if (count == 3 && strcmp(values[1], "--bare") == 0)
        return bare(values[2]);
    if (count < 2)
        return 2;
    snprintf(folder, sizeof folder, "%s/agenda-%d", count > 2 ? values[2] : "/tmp", (int)getpid());
    snprintf(protocols, sizeof protocols, "%s/protocols", SOURCE_DIR);
    setenv("PERDURE_PROTOCOLS", protocols, 1);
    if (!realpath(values[1], perdure) || !realpath("/proc/self/exe", self) || mkdir(folder, 0755) ||
        chdir(folder)) {
        perror(folder);
        return 1;
    }
    start_all(perdure);
    measure(perdure, self, "right after the start");
    run((const char *[]){perdure, "--logbook", "plan.perdure", "run", "stop.lua", "--cells", "STOP",
                         "--bench", "bench.lua", NULL});
    measure(perdure, self, "after 100 days");
    run((const char *[]){"/bin/rm", "-r", folder, NULL});
    return 0;
}
