/* What comes while an engine is held by a full disk, or just as it is let go.
 *
 *     full_held FOLDER */
#include <errno.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "bindings/script.h"
#include "cut_day.h"
#include "engine/acts.h"
#include "vfs_disk.h"

static int failures_found;

#define check(holds, ...)                                                                          \
    do {                                                                                           \
        if (!(holds)) {                                                                            \
            failures_found++;                                                                      \
            printf("line %d: ", __LINE__);                                                         \
            printf(__VA_ARGS__);                                                                   \
            printf("\n");                                                                          \
        }                                                                                          \
    } while (0)

struct held {
    struct day day;
    struct day_work work;
    struct day_bench bench;
    void (*meanwhile)(struct held *held); /* done once the engine is held; NULL: nothing */
    int held, let_go;
};

static int64_t number(const struct held *held, const char *sql)
{
    sqlite3 *db = NULL;
    sqlite3_stmt *stmt = NULL;
    int64_t count = -1;
    if (sqlite3_open_v2(held->day.logbook, &db, SQLITE_OPEN_READONLY, NULL) == SQLITE_OK &&
        sqlite3_prepare_v2(db, sql, -1, &stmt, NULL) == SQLITE_OK &&
        sqlite3_step(stmt) == SQLITE_ROW)
        count = sqlite3_column_int64(stmt, 0);
    sqlite3_finalize(stmt);
    sqlite3_close(db);
    return count;
}

static void on_tell(void *owner, utc_us at, int64_t run, const char *level, const char *text)
{
    struct held *held = owner;
    (void)at;
    (void)run;
    (void)level;
    held->let_go += strstr(text, "room on the disk again") != NULL;
    if (strstr(text, "disk is full") == NULL)
        return;
    held->held++;
    check(day_is_safe(&held->bench), "a cell is driven while the engine is held");
    if (held->meanwhile != NULL)
        held->meanwhile(held);
}

static void frees_room_in_time(void *owner)
{
    (void)owner;
    if (disk_failures() > 8)
        disk_mend();
}

static void begin(struct held *held, const char *folder, enum day_pace pace)
{
    *held = (struct held){0};
    held->work = (struct day_work){
        .pace = pace, .commit_passes = 2, .tell = on_tell, .owner = held, .bench = &held->bench};
    day_make(&held->day, folder, DAY_SHORT, 7);
}

static void fill(uint64_t at)
{
    const struct disk_fault full = {.on = DISK_WRITE,
                                    .at = at,
                                    .lasting = true,
                                    .code = SQLITE_FULL,
                                    .cause = ENOSPC,
                                    .met = frees_room_in_time};
    disk_fail(&full);
}

static void work(struct held *held)
{
    struct error error;
    /* Full once more when all that is left is to say that the session ends. */
    if (day_work(&held->day, &held->work, &error) && error.code != ERROR_FULL)
        check(false, "%s: %s", error.what, error.why);
    disk_mend();
}

static void must_be_sound(const struct held *held, bool finished)
{
    char why[512];
    check(day_look(&held->day, finished, why, sizeof why) == DAY_SOUND, "%s", why);
}

static void must_be_held_once(const struct held *held)
{
    check(held->held == 1 && held->let_go == 1, "held %d times, let go %d times", held->held,
          held->let_go);
}

/* --- a run is started just as there is room again --------------------------------------------- */

/* With room on the disk again. Takes the request over. */
static void asks(struct held *held, json_t *request)
{
    struct error error;
    json_t *reply = NULL;
    disk_mend();
    check(!act(held->bench.logbook, held->bench.engine, lua_script_ops(),
               clock_utc(&held->bench.clock), request, &reply, &error),
          "%s", error.why);
    json_decref(request);
    json_decref(reply);
}

static void starts_a_run(struct held *held)
{
    static const char text[] = "return protocol { title = 'Look', results = { v = 'V' },\n"
                               "  run = function(cell)\n"
                               "    record('v', cell:read {}.voltage, 'V')\n"
                               "  end }\n";
    asks(held,
         json_pack("{s:s, s:s, s:s, s:s, s:{}, s:{}, s:[s]}", "act", "start", "kind", "protocol",
                   "name", "look.lua", "text", text, "modules", "params", "cells", "WRE-04"));
}

static void test_start_while_held(const char *folder)
{
    for (uint64_t at = 20; at < 200; at += 20) {
        struct held held;
        begin(&held, folder, PACE_STEPPED);
        held.meanwhile = starts_a_run;
        fill(at);
        work(&held);
        must_be_held_once(&held);
        check(number(&held, "SELECT count(*) FROM run") == 3, "three runs");
        check(number(&held, "SELECT count(*) FROM result WHERE name = 'v'") == 1,
              "the new run is done once");
        must_be_sound(&held, true);
    }
}

/* --- the engine is to end when one run is over ------------------------------------------------ */

static void stops_the_run(struct held *held)
{
    asks(held, json_pack("{s:s, s:i}", "act", "stop", "run", 2));
}

/* Nobody in memory sees it come to its end. */
static void test_until_stopped_run(const char *folder)
{
    static const enum day_pace paces[] = {PACE_SCALED, PACE_VIRTUAL};
    for (int i = 0; i < 2; i++) {
        struct held held;
        begin(&held, folder, paces[i]);
        held.work.until_run = 2;
        held.meanwhile = stops_the_run;
        fill(9);
        work(&held);
        must_be_held_once(&held);
        check(number(&held, "SELECT state = 'stopped' FROM run WHERE id = 2") == 1,
              "run 2 is not stopped");
        must_be_sound(&held, false);
    }
}

/* Over in memory is not over: the disk may fill up at that very commit. */
static void test_until_run(const char *folder)
{
    static const enum day_pace paces[] = {PACE_SCALED, PACE_VIRTUAL};
    for (int i = 0; i < 2; i++) {
        int held_at_all = 0;
        for (uint64_t at = 6;; at += i == 0 ? 15 : 3) { /* from the engine's first commit on */
            struct held held;
            begin(&held, folder, paces[i]);
            held.work.until_run = 2;
            fill(at);
            work(&held);
            held_at_all += held.held;
            check(number(&held, "SELECT state = 'done' FROM run WHERE id = 2") == 1,
                  "the engine has ended and its run is not done (write %d)", (int)at);
            must_be_sound(&held, false);
            if (disk_failures() == 0)
                break;
        }
        check(held_at_all > 0, "the disk was never full");
    }
}

/* --- what the record says --------------------------------------------------------------------- */

static void test_gap_on_record(const char *folder)
{
    struct held held;
    begin(&held, folder, PACE_STEPPED);
    fill(60);
    work(&held);
    must_be_held_once(&held);
    check(number(&held, "SELECT count(*) FROM gap WHERE why = 'the disk was full'") > 0,
          "no gap is put down to the disk");
    check(number(&held, "SELECT count(*) FROM gap WHERE why <> 'the disk was full'") == 0,
          "a gap is put down to something else");
    check(number(&held, "SELECT count(*) FROM event WHERE text LIKE '%disk was full%'") == 1,
          "no event says that the disk was full");
    must_be_sound(&held, true);
}

int main(int count, char **values)
{
    char folder[300];
    if (count < 2)
        return 2;
    snprintf(folder, sizeof folder, "%s/held", values[1]);
    alarm(300); /* one that never ends is a failure too */
    disk_register();
    test_start_while_held(folder);
    test_until_stopped_run(folder);
    test_until_run(folder);
    test_gap_on_record(folder);
    printf("%d failures\n", failures_found);
    return failures_found > 0;
}
