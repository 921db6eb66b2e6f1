/* Start-up time of the whole command on a small logbook, beside the least process that opens the
 * same file by SQLite and reads one row. Prints one line.
 *
 *   start PERDURE [FOLDER]        (with --bare FILE it is that least process itself) */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include <sqlite3.h>

#define TIMES 200

static int bare(const char *path)
{
    sqlite3 *db;
    sqlite3_stmt *row;
    if (sqlite3_open_v2(path, &db, SQLITE_OPEN_READONLY, NULL) ||
        sqlite3_prepare_v2(db, "SELECT count(*) FROM run", -1, &row, NULL) ||
        sqlite3_step(row) != SQLITE_ROW)
        return 1;
    sqlite3_finalize(row);
    sqlite3_close(db);
    return 0;
}

static double now(void)
{
    struct timespec time;
    clock_gettime(CLOCK_MONOTONIC, &time);
    return (double)time.tv_sec + (double)time.tv_nsec / 1e9;
}

static int compare(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return x < y ? -1 : x > y;
}

/* Median of many starts, ms. */
static double start(char *const *words)
{
    double took[TIMES];
    for (int i = 0; i < TIMES; i++) {
        double begin = now();
        pid_t child = fork();
        if (child == 0) {
            if (!freopen("/dev/null", "w", stdout))
                _exit(127);
            execv(words[0], words);
            _exit(127);
        }
        int status = 0;
        waitpid(child, &status, 0);
        if (status) {
            fprintf(stderr, "%s failed\n", words[0]);
            exit(1);
        }
        took[i] = (now() - begin) * 1e3;
    }
    qsort(took, TIMES, sizeof *took, compare);
    return took[TIMES / 2];
}

int main(int count, char **values)
{
    char path[512];
    if (count == 3 && strcmp(values[1], "--bare") == 0)
        return bare(values[2]);
    if (count < 2)
        return 2;
    snprintf(path, sizeof path, "%s/start-%d.perdure", count > 2 ? values[2] : "/tmp",
             (int)getpid());
    char *make[] = {values[1], (char *)"--logbook", path, (char *)"new", NULL};
    char *runs[] = {values[1], (char *)"--logbook", path, (char *)"runs", NULL};
    char *least[] = {values[0], (char *)"--bare", path, NULL};
    pid_t child = fork();
    if (child == 0) {
        if (!freopen("/dev/null", "w", stdout))
            _exit(127);
        execv(make[0], make);
        _exit(127);
    }
    waitpid(child, NULL, 0);
    double ours = start(runs), limit = start(least);
    printf("start-up: perdure runs %.2f ms, bare %.2f ms, ratio %.2f\n", ours, limit, ours / limit);
    unlink(path);
    return 0;
}
