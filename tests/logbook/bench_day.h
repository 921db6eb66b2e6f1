/* What the tests of the logbook share: a folder of their own, and a logbook with an invented model,
 * its cells, a script and a run.
 *
 * must() ends a test at the first error and shows it; refused() wants an error of that code. */
#ifndef PERDURE_TESTS_LOGBOOK_BENCH_DAY_H
#define PERDURE_TESTS_LOGBOOK_BENCH_DAY_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <dirent.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/text.h"
#include "logbook/cells.h"
#include "logbook/facts.h"
#include "logbook/logbook_internal.h"
#include "logbook/runs.h"
#include "logbook/staging.h"
#include "logbook/steps.h"

static struct error error;

#define must(call) must_at((call), #call, __FILE__, __LINE__)
static inline void must_at(int failed, const char *call, const char *file, int line)
{
    if (failed) {
        print_error("%s: ", call);
        error_print(stderr, &error);
        _fail(file, line);
    }
}

#define refused(code, call) refused_at((code), (call), #call, __FILE__, __LINE__)
static inline void refused_at(enum error_code code, int is, const char *call, const char *file,
                              int line)
{
    if (is != (int)code || error.code != code || error.what[0] == '\0' || error.why[0] == '\0' ||
        error.todo[0] == '\0') {
        print_error("%s gave %s, not %s: ", call, error_code_name((enum error_code)is),
                    error_code_name(code));
        error_print(stderr, &error);
        _fail(file, line);
    }
    error_clear(&error);
}

/* --- a folder --------------------------------------------------------------------------------- */

struct folder {
    char path[64];
    char logbook[128]; /* a logbook's name in it */
};

static inline char *in_folder(const struct folder *folder, const char *name, char buffer[192])
{
    snprintf(buffer, 192, "%s/%s", folder->path, name);
    return buffer;
}

static inline int folder_make(void **state)
{
    struct folder *folder = xcalloc(1, sizeof(*folder));

    string_copy(folder->path, sizeof(folder->path), "/tmp/logbook-test-XXXXXX");
    assert_non_null(mkdtemp(folder->path));
    snprintf(folder->logbook, sizeof(folder->logbook), "%s/kestrel.perdure", folder->path);
    *state = folder;
    return 0;
}

/* How many files there are; removes them when asked. */
static inline int folder_files(const struct folder *folder, bool remove_them)
{
    DIR *dir = opendir(folder->path);
    struct dirent *entry;
    int count = 0;

    assert_non_null(dir);
    while ((entry = readdir(dir)) != NULL) {
        char name[512];
        if (entry->d_name[0] == '.')
            continue;
        count++;
        snprintf(name, sizeof(name), "%s/%s", folder->path, entry->d_name);
        if (remove_them && unlink(name) != 0)
            rmdir(name);
    }
    closedir(dir);
    return count;
}

static inline int folder_remove(void **state)
{
    struct folder *folder = *state;

    chmod(folder->path, 0755);
    folder_files(folder, true);
    rmdir(folder->path);
    free(folder);
    return 0;
}

/* --- a logbook -------------------------------------------------------------------------------- */

#define DAY_ONE (1772438400LL * US_PER_S) /* 2026-03-02T08:00:00Z */

static const struct logbook_birth birth = {DAY_ONE, 17, NULL, NULL};

static inline struct logbook *new_logbook(const struct folder *folder)
{
    struct logbook *logbook;

    must(logbook_create(folder->logbook, &birth, &error));
    must(logbook_open(&logbook, folder->logbook, LOGBOOK_WRITE, &error));
    return logbook;
}

static inline struct logbook *open_logbook(const struct folder *folder, enum logbook_mode mode)
{
    struct logbook *logbook;

    must(logbook_open(&logbook, folder->logbook, mode, &error));
    return logbook;
}

static inline struct logbook *memory_logbook(void)
{
    struct logbook *logbook;

    must(logbook_open_memory(&logbook, &birth, &error));
    return logbook;
}

/* Ends every test: what is in it is sound. */
static inline void close_sound(struct logbook *logbook)
{
    must(logbook_check(logbook, &error));
    logbook_close(logbook);
}

/* --- what is in it; all within a transaction -------------------------------------------------- */

static inline int64_t add_cell(struct logbook *logbook, const char *label)
{
    struct model_record model = {.name = "Kestrel 2000",
                                 .maker = "Kestrel",
                                 .size = "AA",
                                 .chemistry = "NiMH",
                                 .rated_charge = 2.0 * 3600,
                                 .price = 2.5,
                                 .currency = "EUR"};
    int64_t id;

    must(logbook_add_model(logbook, &model, &error));
    must(logbook_add_cell(logbook, label, model.id, DAY_ONE, &id, &error));
    return id;
}

/* A queued run of a one-line script; `cell` may be 0. */
static inline int64_t add_run(struct logbook *logbook, int64_t cell)
{
    static const char text[] = "return protocol {}";
    struct run_record run = {.kind = "protocol",
                             .script_name = "capacity.lua",
                             .cell = cell,
                             .channel = "S1",
                             .seed = 5,
                             .queued_at = DAY_ONE,
                             .engine_version = "0.1.0",
                             .lua_version = "Lua 5.4"};

    must(logbook_add_script(logbook, "capacity.lua", text, strlen(text), run.script_hash, &error));
    must(logbook_add_run(logbook, &run, &error));
    return run.id;
}

static inline void add_entry(struct logbook *logbook, int64_t run, int64_t n, const char *name)
{
    struct journal_entry entry = {.n = n, .name = name, .args = "{}", .intent_at = DAY_ONE + n};

    must(logbook_journal_intent(logbook, run, 0, &entry, &error));
}

/* A step that answers journal entry n, which is made too. */
static inline int64_t add_step(struct logbook *logbook, int64_t run, int64_t n)
{
    struct step_record step = {.run = run,
                               .n = n,
                               .channel = "S1",
                               .kind = "discharge",
                               .how = "simulated",
                               .plan = "{\"current\": 0.4}",
                               .started_at = DAY_ONE + n * US_PER_S};

    add_entry(logbook, run, n, "discharge");
    must(logbook_add_step(logbook, &step, &error));
    return step.id;
}

static const struct step_sums no_sums = {NAN, NAN, NAN, NAN, NAN, NAN,  NAN,
                                         NAN, NAN, NAN, 0,   0,   NULL, NULL};

/* A sample that tells where it belongs. */
static inline struct sample sample_at(int64_t step, int64_t k)
{
    return (struct sample){.t_us = k * US_PER_S + step,
                           .voltage = 1.4 - (double)(k % 1000) * 1e-6,
                           .current = -0.4,
                           .temperature = k % 3 == 0 ? (double)NAN : 20.125};
}

static inline void add_samples(struct logbook *logbook, int64_t step, int64_t k, int count)
{
    struct sample *samples = xmalloc((size_t)count * sizeof(*samples));

    for (int i = 0; i < count; i++)
        samples[i] = sample_at(step, k + i);
    must(logbook_add_samples(logbook, step, k, samples, count, &error));
    free(samples);
}

/* --- looking straight at the file ------------------------------------------------------------- */

static inline int64_t ask(struct logbook *logbook, const char *sql)
{
    sqlite3_stmt *stmt;
    int64_t answer;

    must(sql_prepare(logbook, &error, sql, &stmt));
    assert_int_equal(sqlite3_step(stmt), SQLITE_ROW);
    answer = sqlite3_column_int64(stmt, 0);
    sqlite3_finalize(stmt);
    return answer;
}

static inline void ask_text(struct logbook *logbook, const char *sql, const char *want)
{
    sqlite3_stmt *stmt;

    must(sql_prepare(logbook, &error, sql, &stmt));
    assert_int_equal(sqlite3_step(stmt), SQLITE_ROW);
    assert_string_equal(column_string(stmt, 0), want);
    sqlite3_finalize(stmt);
}

/* Every row of every table, as text: owned by the caller. */
static inline char *dump(struct logbook *logbook)
{
    struct text text = TEXT_EMPTY;
    sqlite3_stmt *tables, *rows;

    must(sql_prepare(logbook, &error,
                     "SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name", &tables));
    while (sqlite3_step(tables) == SQLITE_ROW) {
        char sql[128];
        snprintf(sql, sizeof(sql), "SELECT * FROM \"%s\"", column_string(tables, 0));
        text_addf(&text, "%s\n", column_string(tables, 0));
        must(sql_prepare(logbook, &error, sql, &rows));
        while (sqlite3_step(rows) == SQLITE_ROW) {
            for (int i = 0; i < sqlite3_column_count(rows); i++)
                text_addf(&text, " %s", column_string(rows, i));
            text_add(&text, "\n");
        }
        sqlite3_finalize(rows);
    }
    sqlite3_finalize(tables);
    return text.bytes;
}

#endif
