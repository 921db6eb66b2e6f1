/* Backups while others write; migrations. */
#include <signal.h>
#include <sys/wait.h>

#include "bench_day.h"

/* --- backups ---------------------------------------------------------------------------------- */

static void test_a_backup_holds_what_is_committed(void **state)
{
    struct folder *folder = *state;
    struct logbook *logbook = new_logbook(folder), *copy;
    char to[192], *before, *after;
    int64_t step;

    must(logbook_begin(logbook, &error));
    step = add_step(logbook, add_run(logbook, add_cell(logbook, "KES-01")), 1);
    add_samples(logbook, step, 0, 100);
    add_samples(logbook, step, 100, 300);
    add_samples(logbook, step, 400, 100);
    must(logbook_commit(logbook, &error));
    before = dump(logbook);
    must(logbook_begin(logbook, &error)); /* of this nothing is copied */
    add_cell(logbook, "KES-02");
    in_folder(folder, "copy.perdure", to);
    must(logbook_backup(logbook, to, &error));
    must(logbook_commit(logbook, &error));
    logbook_close(logbook);
    assert_int_equal(folder_files(folder, false), 2);

    must(logbook_open(&copy, to, LOGBOOK_READ, &error));
    after = dump(copy);
    assert_string_equal(before, after);
    close_sound(copy);
    must(logbook_open(&copy, to, LOGBOOK_WRITE, &error)); /* it can be gone on with */
    must(logbook_begin(copy, &error));
    add_samples(copy, step, 500, 1);
    must(logbook_commit(copy, &error));
    close_sound(copy);
    free(before);
    free(after);
}

static void test_a_backup_replaces_a_backup_only(void **state)
{
    struct folder *folder = *state;
    struct logbook *logbook = new_logbook(folder);
    char to[192], other[192];
    FILE *file;

    in_folder(folder, "copy.perdure", to);
    must(logbook_backup(logbook, to, &error));
    must(logbook_begin(logbook, &error));
    add_cell(logbook, "KES-01");
    must(logbook_commit(logbook, &error));
    must(logbook_backup(logbook, to, &error));
    refused(ERROR_LOGBOOK, logbook_backup(logbook, folder->logbook, &error));
    file = fopen(in_folder(folder, "notes.txt", other), "w");
    assert_non_null(file);
    fputs("KES-01 came dented\n", file);
    fclose(file);
    refused(ERROR_LOGBOOK, logbook_backup(logbook, other, &error));
    refused(ERROR_LOGBOOK, logbook_backup(logbook, "/nowhere/at/all.perdure", &error));
    const struct logbook_birth later = {.created = logbook_created(logbook) + 1,
                                        .seed = logbook_seed(logbook)};
    must(logbook_create(in_folder(folder, "another.perdure", other), &later, &error));
    refused(ERROR_LOGBOOK, logbook_backup(logbook, other, &error));
    close_sound(logbook);
    assert_int_equal(folder_files(folder, false), 4);
    must(logbook_open(&logbook, to, LOGBOOK_READ, &error));
    assert_int_equal(ask(logbook, "SELECT count(*) FROM cell"), 1);
    close_sound(logbook);
}

static void test_a_logbook_in_memory_can_be_kept(void **state)
{
    struct folder *folder = *state;
    struct logbook *logbook = memory_logbook(), *copy;

    must(logbook_begin(logbook, &error));
    add_cell(logbook, "KES-01");
    refused(ERROR_INTERNAL, logbook_backup(logbook, folder->logbook, &error));
    must(logbook_commit(logbook, &error));
    must(logbook_backup(logbook, folder->logbook, &error));
    logbook_close(logbook);
    copy = open_logbook(folder, LOGBOOK_WRITE);
    assert_int_equal(ask(copy, "SELECT count(*) FROM cell"), 1);
    close_sound(copy);
}

/* A writer that never rests: k samples and the count of them, in each commit. */
static void write_on(const char *path, int ready)
{
    struct logbook *logbook;
    bool more;

    if (logbook_open(&logbook, path, LOGBOOK_WRITE, &error) != 0)
        _exit(1);
    for (int64_t k = 0;; k += 3) {
        struct sample samples[3] = {sample_at(1, k), sample_at(1, k + 1), sample_at(1, k + 2)};
        if (logbook_begin(logbook, &error) != 0 ||
            logbook_add_samples(logbook, 1, k, samples, 3, &error) != 0 ||
            logbook_checkpoint_step(logbook, 1, &no_sums, "x", DAY_ONE + k, &error) != 0 ||
            logbook_commit(logbook, &error) != 0 ||
            logbook_move_samples(logbook, &more, &error) != 0)
            _exit(1);
        if (k == 300 && write(ready, "x", 1) != 1)
            _exit(1);
    }
}

/* Every copy is of one instant, and the writer is not stopped by it. */
static void test_backups_while_another_writes(void **state)
{
    struct folder *folder = *state;
    struct logbook *logbook = new_logbook(folder);
    int64_t last = 0;
    int ready[2], status;
    char to[192], byte;
    pid_t child;

    must(logbook_begin(logbook, &error));
    add_step(logbook, add_run(logbook, 0), 1);
    must(logbook_commit(logbook, &error));
    logbook_close(logbook);
    assert_int_equal(pipe(ready), 0);
    child = fork();
    if (child == 0)
        write_on(folder->logbook, ready[1]);
    assert_int_equal(read(ready[0], &byte, 1), 1);
    in_folder(folder, "copy.perdure", to);
    logbook = open_logbook(folder, LOGBOOK_READ);
    for (int i = 0; i < 10; i++) {
        struct logbook *copy;
        int64_t samples;

        must(logbook_backup(logbook, to, &error));
        must(logbook_open(&copy, to, LOGBOOK_READ, &error));
        samples = ask(copy, "SELECT samples FROM outcome");
        assert_int_equal(ask(copy, "SELECT count(*) FROM reading"), samples);
        assert_true(samples >= last);
        last = samples;
        close_sound(copy);
        usleep(5000);
    }
    assert_true(ask(logbook, "SELECT samples FROM outcome") > 303);
    kill(child, SIGKILL);
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFSIGNALED(status)); /* it had not failed before */
    close_sound(logbook);
    close(ready[0]);
    close(ready[1]);
}

/* --- migrations ------------------------------------------------------------------------------- */

#define NOW LOGBOOK_VERSION /* what a fresh file is */

static const struct migration steps[] = {
    {NOW, "ALTER TABLE cell ADD COLUMN batch TEXT; UPDATE cell SET batch = 'first'"},
    {NOW + 1, "CREATE TABLE shelf (cell INTEGER PRIMARY KEY REFERENCES cell (id)) STRICT;"
              "INSERT INTO shelf SELECT id FROM cell"},
    {NOW + 2, "DELETE FROM cell"}, /* leaves the shelf pointing nowhere */
};

static const struct migration_plan two_on = {NOW + 2, steps, 3}, three_on = {NOW + 3, steps, 3},
                                   past = {NOW + 8, steps, 3};

static void make_one_of_today(const struct folder *folder)
{
    struct logbook *logbook = new_logbook(folder);

    must(logbook_begin(logbook, &error));
    add_cell(logbook, "KES-01");
    must(logbook_commit(logbook, &error));
    logbook_close(logbook);
}

static void expect_version(const char *path, int version, int batches)
{
    sqlite3 *db;
    sqlite3_stmt *stmt;

    assert_int_equal(sqlite3_open_v2(path, &db, SQLITE_OPEN_READONLY, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_prepare_v2(db,
                                        "SELECT user_version, (SELECT count(*) FROM "
                                        "pragma_table_info('cell') WHERE name = 'batch'), "
                                        "(SELECT count(*) FROM cell) FROM pragma_user_version",
                                        -1, &stmt, NULL),
                     SQLITE_OK);
    assert_int_equal(sqlite3_step(stmt), SQLITE_ROW);
    assert_int_equal(sqlite3_column_int(stmt, 0), version);
    assert_int_equal(sqlite3_column_int(stmt, 1), batches);
    assert_int_equal(sqlite3_column_int(stmt, 2), 1);
    sqlite3_finalize(stmt);
    sqlite3_close(db);
}

static void test_an_older_file_is_migrated_after_a_backup(void **state)
{
    struct folder *folder = *state;
    struct logbook *logbook;
    char name[64], copy[192];

    make_one_of_today(folder);
    refused(ERROR_LOGBOOK,
            logbook_open_as(&logbook, folder->logbook, LOGBOOK_READ, &two_on, &error));
    expect_version(folder->logbook, NOW, 0);
    must(logbook_open_as(&logbook, folder->logbook, LOGBOOK_WRITE, &two_on, &error));
    ask_text(logbook, "SELECT label || ' ' || batch FROM cell JOIN shelf ON cell = id",
             "KES-01 first");
    assert_int_equal(ask(logbook, "PRAGMA foreign_keys"), 1);
    close_sound(logbook);
    expect_version(folder->logbook, NOW + 2, 1);
    snprintf(name, sizeof(name), "kestrel.perdure-version-%d", NOW);
    expect_version(in_folder(folder, name, copy), NOW, 0);
    must(logbook_open_as(&logbook, folder->logbook, LOGBOOK_READ, &two_on, &error));
    close_sound(logbook);
    /* This Perdure finds it newer than what it knows. */
    refused(ERROR_LOGBOOK, logbook_open(&logbook, folder->logbook, LOGBOOK_WRITE, &error));
    must(logbook_open(&logbook, copy, LOGBOOK_WRITE, &error)); /* the copy is a whole logbook */
    close_sound(logbook);
}

static void test_a_migration_that_fails_changes_nothing(void **state)
{
    static const struct migration broken[] = {
        {NOW, "ALTER TABLE cell ADD COLUMN batch TEXT"},
        {NOW + 1, "CREATE TABLE more (x); nonsense"},
    };
    static const struct migration_plan half_way = {NOW + 2, broken, 2};
    struct folder *folder = *state;
    struct logbook *logbook;

    make_one_of_today(folder);
    refused(ERROR_INTERNAL,
            logbook_open_as(&logbook, folder->logbook, LOGBOOK_WRITE, &half_way, &error));
    expect_version(folder->logbook, NOW, 0);
    refused(ERROR_LOGBOOK, /* references would be broken */
            logbook_open_as(&logbook, folder->logbook, LOGBOOK_WRITE, &three_on, &error));
    expect_version(folder->logbook, NOW, 0);
    refused(ERROR_LOGBOOK, /* no step leads there */
            logbook_open_as(&logbook, folder->logbook, LOGBOOK_WRITE, &past, &error));
    expect_version(folder->logbook, NOW, 0);
    close_sound(open_logbook(folder, LOGBOOK_WRITE));
}

static void test_the_programs_own_plan_is_whole(void **state)
{
    struct folder *folder = *state;
    struct logbook *logbook = new_logbook(folder);

    assert_int_equal(logbook_migrations.version, ask(logbook, "PRAGMA user_version"));
    assert_int_equal(logbook_migrations.count, logbook_migrations.version - 1);
    for (int i = 0; i < logbook_migrations.count; i++)
        assert_int_equal(logbook_migrations.steps[i].from, i + 1);
    close_sound(logbook);
}

#define ON_FILES(test) cmocka_unit_test_setup_teardown(test, folder_make, folder_remove)

/* One who may only read: no log is beside the file, and none can be made. */
static void test_a_backup_by_one_who_may_only_read(void **state)
{
    struct folder *folder = *state;
    char place[] = "/tmp/perdure-backup-XXXXXX", to[64];
    struct logbook *copy;
    int status;
    pid_t child;

    logbook_close(new_logbook(folder));
    chmod(folder->path, 0555);
    chmod(folder->logbook, 0444);
    assert_non_null(mkdtemp(place));
    chmod(place, 0777);
    snprintf(to, sizeof(to), "%s/copy.perdure", place);
    child = fork();
    if (child == 0) {
        struct logbook *logbook;
        if (geteuid() == 0 && (setgid(65534) != 0 || setuid(65534) != 0))
            _exit(77);
        if (logbook_open(&logbook, folder->logbook, LOGBOOK_READ, &error) != 0)
            _exit(1);
        if (logbook_backup(logbook, to, &error) != 0)
            _exit(2);
        logbook_close(logbook);
        _exit(0);
    }
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFEXITED(status));
    if (WEXITSTATUS(status) != 77) {
        assert_int_equal(WEXITSTATUS(status), 0);
        must(logbook_open(&copy, to, LOGBOOK_READ, &error));
        assert_int_equal(logbook_seed(copy), 17);
        logbook_close(copy);
        unlink(to);
    }
    rmdir(place);
    if (WEXITSTATUS(status) == 77)
        skip();
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        ON_FILES(test_a_backup_holds_what_is_committed),
        ON_FILES(test_a_backup_replaces_a_backup_only),
        ON_FILES(test_a_backup_by_one_who_may_only_read),
        ON_FILES(test_a_logbook_in_memory_can_be_kept),
        ON_FILES(test_backups_while_another_writes),
        ON_FILES(test_an_older_file_is_migrated_after_a_backup),
        ON_FILES(test_a_migration_that_fails_changes_nothing),
        ON_FILES(test_the_programs_own_plan_is_whole),
    };

    return cmocka_run_group_tests_name("backup", tests, NULL, NULL);
}
