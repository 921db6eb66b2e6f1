/* A disk that fills up or fails at the so-many-th operation, for 1, 2, 3 and so on until a whole
 * day passes untouched.
 *
 *     full_errors FOLDER GROWTH
 *
 * GROWTH 0 tries every point; 0.1 goes up by a tenth each time. At each point a child works in
 * process on a day of two runs. Wanted: outputs are safe before anything else, and no time passes
 * for a driven cell once the failure is known; the error says what, why and what to do, exit status
 * 3; nothing acknowledged is lost. On a full disk the engine holds, and goes on by itself when
 * there is room. After any other error a new engine goes on and finishes. After a failed sync the
 * power is cut too: what that sync was for may be lost, and nothing else. */
#include <errno.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "cut_day.h"
#include "cut_facts.h"
#include "vfs_disk.h"

#define TELLS_BEFORE_ROOM 12 /* failures until somebody frees some space */

enum circumstance {
    LASTING = 1, /* until there is room again; else that one operation only */
    CUT = 2,     /* the power is cut once the engine has ended */
    LONG = 4,    /* a long day: virtual time commits once in hundreds of passes */
    BEGUN = 8    /* another engine was at work before, and lost its power */
};

static const struct trouble {
    const char *name;
    enum disk_operation on;
    int code, cause; /* for SQLite; the system's */
    enum day_pace pace;
    unsigned circumstances;
} troubles[] = {
    {"disk full", DISK_WRITE, SQLITE_FULL, ENOSPC, PACE_STEPPED, LASTING},
    {"disk full, scaled clock", DISK_WRITE, SQLITE_FULL, ENOSPC, PACE_SCALED, LASTING},
    {"disk full, virtual clock", DISK_WRITE, SQLITE_FULL, ENOSPC, PACE_VIRTUAL, LASTING | LONG},
    {"disk full, taking up", DISK_WRITE, SQLITE_FULL, ENOSPC, PACE_STEPPED, LASTING | BEGUN},
    {"disk full for one write", DISK_WRITE, SQLITE_FULL, ENOSPC, PACE_STEPPED, 0},
    {"disk full, found at the sync", DISK_SYNC, SQLITE_IOERR_FSYNC, ENOSPC, PACE_STEPPED, LASTING},
    {"the same, cut at the end", DISK_SYNC, SQLITE_IOERR_FSYNC, ENOSPC, PACE_STEPPED,
     LASTING | CUT},
    {"quota used up", DISK_WRITE, SQLITE_IOERR_WRITE, EDQUOT, PACE_STEPPED, LASTING},
    {"no room for shared memory", DISK_SHARE, SQLITE_IOERR_SHMSIZE, ENOSPC, PACE_STEPPED, LASTING},
    {"write error", DISK_WRITE, SQLITE_IOERR_WRITE, EIO, PACE_STEPPED, 0},
    {"write error, scaled clock", DISK_WRITE, SQLITE_IOERR_WRITE, EIO, PACE_SCALED, 0},
    {"write error, virtual clock", DISK_WRITE, SQLITE_IOERR_WRITE, EIO, PACE_VIRTUAL, LONG},
    {"write error for good", DISK_WRITE, SQLITE_IOERR_WRITE, EIO, PACE_STEPPED, LASTING},
    {"sync error", DISK_SYNC, SQLITE_IOERR_FSYNC, EIO, PACE_STEPPED, 0},
    {"sync error, then a power cut", DISK_SYNC, SQLITE_IOERR_FSYNC, EIO, PACE_STEPPED, CUT},
    {"the same, scaled clock", DISK_SYNC, SQLITE_IOERR_FSYNC, EIO, PACE_SCALED, CUT},
    {"read error", DISK_READ, SQLITE_IOERR_READ, EIO, PACE_STEPPED, 0},
    {"read error, taking up", DISK_READ, SQLITE_IOERR_READ, EIO, PACE_STEPPED, BEGUN},
    {"read error for good", DISK_READ, SQLITE_IOERR_READ, EIO, PACE_STEPPED, LASTING},
    {"truncation error", DISK_TRUNCATE, SQLITE_IOERR_TRUNCATE, EIO, PACE_STEPPED, 0},
    {"removal error", DISK_REMOVE, SQLITE_IOERR_DELETE, EIO, PACE_STEPPED, 0},
    {"opening error", DISK_OPEN, SQLITE_CANTOPEN, EMFILE, PACE_STEPPED, 0},
    {"shared memory error", DISK_SHARE, SQLITE_IOERR_SHMMAP, EIO, PACE_STEPPED, 0},
};

/* --- the child -------------------------------------------------------------------------------- */

enum child_status { UNTOUCHED = 40, HELD, TOLERATED, ENDED, WRONG };

struct child {
    const struct trouble *trouble;
    struct disk_fault fault;
    struct day_bench bench;
    bool failed, held;
    int open_runs;      /* when engine_work had returned */
    bench_us failed_at; /* the latest failure: the one that the engine came to know of */
    const char *wrong;  /* NULL: nothing */
};

static bool lacks_room(const struct disk_fault *fault)
{
    return fault->cause == ENOSPC || fault->cause == EDQUOT;
}

/* The clock when the failure came, while it is open. */
static bench_us now(const struct child *child)
{
    return child->bench.engine != NULL ? clock_bench(&child->bench.clock) : 0;
}

static void on_failure(void *owner)
{
    struct child *child = owner;
    child->failed_at = now(child);
    child->failed = true;
    if (lacks_room(&child->fault) && disk_failures() >= TELLS_BEFORE_ROOM)
        disk_mend();
}

static void check_safe(struct child *child)
{
    if (!day_is_safe(&child->bench))
        child->wrong = "a cell is still driven after the failure";
    /* In scaled time the clock goes on by itself. */
    if (child->trouble->pace != PACE_SCALED && child->failed && now(child) > child->failed_at)
        child->wrong = "time went on for a driven cell after the failure";
}

static void on_tell(void *owner, utc_us at, int64_t run, const char *level, const char *text)
{
    struct child *child = owner;
    (void)at;
    (void)run;
    if (strcmp(level, "error") != 0 || strstr(text, "disk is full") == NULL)
        return;
    if (strstr(text, "outputs are safe") == NULL || strstr(text, "free some room") == NULL)
        child->wrong = "the message does not say what to do";
    check_safe(child);
    child->held = true;
}

static void on_return(void *owner, int code)
{
    struct child *child = owner;
    if (child->bench.engine != NULL)
        child->open_runs = engine_count(child->bench.engine).runs;
    if (code)
        check_safe(child);
    else if (!day_is_safe(&child->bench))
        child->wrong = "a cell is driven after the end";
}

static const char *message_fault(const struct error *error)
{
    if (error_exit_status(error) != 3)
        return "the exit status is not 3";
    if (strstr(error->what, "wren.perdure") == NULL || error->why[0] == '\0' ||
        error->todo[0] == '\0')
        return "the message does not say what, why and what to do";
    return NULL;
}

static enum child_status work(struct child *child, const struct day *day)
{
    struct error error;
    struct day_work orders = {.pace = child->trouble->pace,
                              .commit_passes = 2,
                              .checkpoint_frames = 60,
                              .tell = on_tell,
                              .owner = child,
                              .after = on_return,
                              .bench = &child->bench};
    /* A logbook far larger than SQLite's cache is read all the time. */
    if (child->fault.on == DISK_READ)
        orders.pragma = "PRAGMA cache_size = 2";
    disk_fail(&child->fault);
    int code = day_work(day, &orders, &error);
    disk_mend();
    if (code && child->wrong == NULL)
        child->wrong = message_fault(&error);
    if (code && child->wrong == NULL && lacks_room(&child->fault) && error.code != ERROR_FULL)
        child->wrong = "a full disk is not called one";
    if (code && child->wrong == NULL && lacks_room(&child->fault) && child->open_runs > 0)
        child->wrong = "the engine did not hold";
    if (child->wrong != NULL) {
        printf("    %s: %s; ", child->trouble->name, child->wrong);
        fflush(stdout);
        if (code)
            error_print(stdout, &error);
        else
            printf("\n");
        return WRONG;
    }
    if (code)
        return ENDED;
    if (!child->failed)
        return UNTOUCHED;
    return child->held ? HELD : TOLERATED;
}

static void be_child(const struct trouble *trouble, uint64_t at, const struct day *day, int fd)
{
    static struct child child;
    static const struct disk_power cut = {.style = CUT_DROPS, .sector = 4096, .seed = 1};
    child.trouble = trouble;
    child.fault = (struct disk_fault){.on = trouble->on,
                                      .at = at,
                                      .lasting = (trouble->circumstances & LASTING) != 0,
                                      .code = trouble->code,
                                      .cause = trouble->cause,
                                      .met = on_failure,
                                      .owner = &child};
    alarm(300); /* one that never ends is a failure too */
    disk_register();
    disk_power(&cut);
    facts_tell(fd);
    enum child_status status = work(&child, day);
    if ((trouble->circumstances & CUT) && status != UNTOUCHED && status != WRONG)
        disk_cut();
    fflush(stdout);
    exit((int)status); /* not _exit: whatever was not freed is looked for here */
}

/* The same without a failure: two runs get going, and then the power is cut. */
static _Noreturn void be_forerunner(const struct day *day, int fd)
{
    static const struct disk_power power = {.at = 150, .style = CUT_KEEPS, .sector = 4096};
    static const struct day_work orders = {.pace = PACE_STEPPED, .commit_passes = 2};
    struct error error;
    disk_register();
    disk_power(&power);
    facts_tell(fd);
    day_work(day, &orders, &error);
    _exit(0);
}

/* --- each point ------------------------------------------------------------------------------- */

struct tally {
    long points, held, tolerated, ended, cut, gaps, wrong;
};

struct sweep {
    char folder[200], copy[230];
    struct tally all;
};

/* `trouble` NULL: the forerunner. Returns its exit status, -1 when it was killed. */
static int let_one_work(const struct trouble *trouble, uint64_t at, const struct day *day,
                        struct facts *facts)
{
    int ends[2], status;
    fflush(stdout);
    if (pipe(ends) != 0)
        exit(2);
    pid_t child = fork();
    if (child == 0) {
        close(ends[0]);
        if (trouble == NULL)
            be_forerunner(day, ends[1]);
        be_child(trouble, at, day, ends[1]);
    }
    close(ends[1]);
    facts_hear(facts, ends[0]);
    close(ends[0]);
    if (child < 0 || waitpid(child, &status, 0) != child)
        exit(2);
    return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

static int64_t count_of(const char *logbook, const char *sql)
{
    sqlite3 *db = NULL;
    sqlite3_stmt *stmt = NULL;
    int64_t count = -1;
    if (sqlite3_open_v2(logbook, &db, SQLITE_OPEN_READONLY, NULL) == SQLITE_OK &&
        sqlite3_prepare_v2(db, sql, -1, &stmt, NULL) == SQLITE_OK &&
        sqlite3_step(stmt) == SQLITE_ROW)
        count = sqlite3_column_int64(stmt, 0);
    sqlite3_finalize(stmt);
    sqlite3_close(db);
    return count;
}

/* NULL when all is well with what was left. */
static const char *look(struct sweep *sweep, const struct day *day, const struct facts *facts,
                        int status, char *why, size_t size)
{
    struct day copy;
    struct error error;
    struct day_work rest = {.pace = PACE_VIRTUAL};
    day_copy(day, &copy, sweep->copy);
    if (day_look(&copy, status != ENDED && status != DISK_CUT_STATUS, why, size) != DAY_SOUND)
        return "what was left is not sound";
    if (facts_missing(facts, copy.logbook, why, size) != 0)
        return "acknowledged and lost";
    if (status == HELD &&
        count_of(copy.logbook, "SELECT count(*) FROM event WHERE text LIKE '%disk was full%'") < 1)
        return "the full disk is not on record";
    sweep->all.gaps += status == HELD ? count_of(copy.logbook, "SELECT count(*) FROM gap") : 0;
    if (day_work(&copy, &rest, &error)) {
        snprintf(why, size, "%s", error.why);
        return "a new engine does not go on";
    }
    return day_look(&copy, true, why, size) != DAY_SOUND ? "not finished cleanly" : NULL;
}

static void count_point(struct tally *tally, int status)
{
    tally->points++;
    tally->held += status == HELD;
    tally->tolerated += status == TOLERATED;
    tally->ended += status == ENDED;
    tally->cut += status == DISK_CUT_STATUS;
}

/* False when the day passed untouched. */
static bool one_point(struct sweep *sweep, const struct trouble *trouble, uint64_t at)
{
    struct day day;
    struct facts facts = {0};
    char why[1024] = "";
    day_make(&day, sweep->folder, trouble->circumstances & LONG ? DAY_LONG : DAY_SHORT, 7);
    if (trouble->circumstances & BEGUN) {
        if (let_one_work(NULL, 0, &day, &facts) != DISK_CUT_STATUS)
            exit(2);
        day_switch_off(&day);
    }
    int status = let_one_work(trouble, at, &day, &facts);
    const char *wrong = status < UNTOUCHED || status == WRONG
                            ? "the child went wrong"
                            : look(sweep, &day, &facts, status, why, sizeof why);
    if (wrong != NULL) {
        printf("  %s, operation %llu: %s: %s\n", trouble->name, (unsigned long long)at, wrong, why);
        sweep->all.wrong++;
    }
    facts_free(&facts);
    if (status == UNTOUCHED)
        return false;
    count_point(&sweep->all, status);
    return true;
}

int main(int count, char **values)
{
    static struct sweep sweep;
    struct timespec begin, end;
    if (count < 3) {
        fprintf(stderr, "usage: full_errors FOLDER GROWTH [TROUBLE]\n");
        return 2;
    }
    double growth = atof(values[2]);
    snprintf(sweep.folder, sizeof sweep.folder, "%s/bench", values[1]);
    snprintf(sweep.copy, sizeof sweep.copy, "%s/copy", sweep.folder);
    clock_gettime(CLOCK_MONOTONIC, &begin);
    for (size_t i = 0; i < sizeof troubles / sizeof *troubles; i++) {
        struct tally before = sweep.all;
        uint64_t at = 1;
        if (count > 3 && strstr(troubles[i].name, values[3]) == NULL)
            continue;
        while (one_point(&sweep, &troubles[i], at))
            at += 1 + (uint64_t)((double)at * growth);
        struct tally *t = &sweep.all;
        printf("%-36s %4ld points up to %5llu: %ld held, %ld tolerated, %ld ended, %ld cut, %ld "
               "wrong\n",
               troubles[i].name, t->points - before.points, (unsigned long long)at,
               t->held - before.held, t->tolerated - before.tolerated, t->ended - before.ended,
               t->cut - before.cut, t->wrong - before.wrong);
    }
    clock_gettime(CLOCK_MONOTONIC, &end);
    const struct tally *t = &sweep.all;
    printf("%ld points of failure in %.1f s: %ld held and went on (%ld gaps on record), %ld "
           "tolerated, "
           "%ld ended and taken up, %ld cut as well; %ld wrong\n",
           t->points,
           (double)(end.tv_sec - begin.tv_sec) + (double)(end.tv_nsec - begin.tv_nsec) / 1e9,
           t->held, t->gaps, t->tolerated, t->ended, t->cut, t->wrong);
    return t->wrong > 0 || t->held == 0 || t->gaps == 0 || t->ended == 0;
}
