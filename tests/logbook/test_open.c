/* Making, opening and closing; and every kind of file that is no logbook, left as it was. */
#include <signal.h>
#include <sys/wait.h>

#include "bench_day.h"

static void write_file(const char *path, const void *bytes, size_t length)
{
    FILE *file = fopen(path, "wb");

    assert_non_null(file);
    assert_int_equal(fwrite(bytes, 1, length, file), length);
    fclose(file);
}

static void write_database(const char *path, const char *sql)
{
    sqlite3 *db;

    assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
    assert_int_equal(sqlite3_exec(db, sql, NULL, NULL, NULL), SQLITE_OK);
    sqlite3_close(db);
}

/* A logbook of some size, closed, as bytes; for damaging. */
static char *sound_bytes(struct folder *folder, size_t *length)
{
    struct logbook *logbook = new_logbook(folder);
    char *bytes;

    must(logbook_begin(logbook, &error));
    add_samples(logbook, add_step(logbook, add_run(logbook, add_cell(logbook, "KES-01")), 1), 0,
                5000);
    must(logbook_commit(logbook, &error));
    logbook_close(logbook);
    must(file_read(folder->logbook, 1 << 26, &bytes, length, &error));
    unlink(folder->logbook);
    return bytes;
}

/* --- making and opening ----------------------------------------------------------------------- */

static void test_a_new_one_is_as_it_was_born(void **state)
{
    struct folder *folder = *state;
    const struct logbook_birth born = {DAY_ONE, UINT64_MAX - 4, "x60", NULL};
    struct logbook *logbook;

    must(logbook_create(folder->logbook, &born, &error));
    assert_int_equal(folder_files(folder, false), 1);
    for (int mode = LOGBOOK_READ; mode <= LOGBOOK_WRITE; mode++) {
        must(logbook_open(&logbook, folder->logbook, (enum logbook_mode)mode, &error));
        assert_true(logbook_seed(logbook) == UINT64_MAX - 4);
        assert_int_equal(logbook_created(logbook), DAY_ONE);
        assert_string_equal(logbook_clock(logbook), "x60");
        assert_string_equal(logbook_path(logbook), folder->logbook);
        close_sound(logbook);
        assert_int_equal(folder_files(folder, false), 1);
    }
}

/* The marks stand where the SQLite file format puts them (its section 1.3: user version at 60,
 * application id at 68, write and read version 2 at 18 and 19 for WAL). */
static void test_the_file_says_what_it_is(void **state)
{
    struct folder *folder = *state;
    char *bytes;
    size_t length;

    logbook_close(new_logbook(folder));
    must(file_read(folder->logbook, 1 << 26, &bytes, &length, &error));
    assert_memory_equal(bytes, "SQLite format 3", 16);
    assert_memory_equal(bytes + 68, "PERD", 4);
    assert_memory_equal(bytes + 60, "\0\0\0\2", 4);
    assert_memory_equal(bytes + 18, "\2\2", 2);
    free(bytes);
}

static void test_settings_are_safe(void **state)
{
    struct folder *folder = *state;
    struct logbook *logbook = new_logbook(folder);

    ask_text(logbook, "PRAGMA journal_mode", "wal");
    assert_int_equal(ask(logbook, "PRAGMA synchronous"), 2); /* FULL */
    assert_int_equal(ask(logbook, "PRAGMA foreign_keys"), 1);
    assert_int_equal(ask(logbook,
                         "SELECT count(*) FROM pragma_table_list "
                         "WHERE type = 'table' AND NOT strict AND name NOT LIKE 'sqlite%'"),
                     0);
    assert_int_equal(ask(logbook,
                         "SELECT count(*) FROM pragma_table_list t WHERE type = 'table' AND NOT wr "
                         "AND (SELECT count(*) FROM pragma_table_info(t.name) WHERE pk > 0) > 1"),
                     0); /* compound keys: WITHOUT ROWID */
    close_sound(logbook);
}

static void test_an_existing_file_is_not_made_anew(void **state)
{
    struct folder *folder = *state;
    struct logbook *logbook = new_logbook(folder);
    char name[192];

    must(logbook_begin(logbook, &error));
    add_cell(logbook, "KES-01");
    must(logbook_commit(logbook, &error));
    logbook_close(logbook);
    refused(ERROR_LOGBOOK, logbook_create(folder->logbook, &birth, &error));
    logbook = open_logbook(folder, LOGBOOK_READ);
    assert_int_equal(ask(logbook, "SELECT count(*) FROM cell"), 1);
    close_sound(logbook);

    /* A log left by a file that is gone would be taken for the new one's. */
    write_file(in_folder(folder, "other.perdure-wal", name), "x", 1);
    in_folder(folder, "other.perdure", name);
    refused(ERROR_LOGBOOK, logbook_create(name, &birth, &error));
    refused(ERROR_LOGBOOK, logbook_create("/nowhere/at/all.perdure", &birth, &error));
    assert_int_equal(folder_files(folder, false), 2);
}

static void test_odd_names(void **state)
{
    static const char *const names[] = {"a?mode=memory", "50%20.perdure", "#1 book", "file:x"};
    struct folder *folder = *state;
    struct logbook *logbook;
    char name[192];

    for (size_t i = 0; i < sizeof(names) / sizeof(names[0]); i++) {
        must(logbook_create(in_folder(folder, names[i], name), &birth, &error));
        assert_int_equal(access(name, F_OK), 0);
        must(logbook_open(&logbook, name, LOGBOOK_WRITE, &error));
        close_sound(logbook);
        must(logbook_open(&logbook, name, LOGBOOK_READ, &error));
        close_sound(logbook);
    }
}

static void test_in_memory(void **state)
{
    struct logbook *logbook;

    (void)state;
    must(logbook_open(&logbook, ":memory:", LOGBOOK_WRITE, &error));
    must(logbook_begin(logbook, &error));
    add_cell(logbook, "KES-01");
    must(logbook_commit(logbook, &error));
    assert_true(logbook_created(logbook) > DAY_ONE / 2);
    close_sound(logbook);
}

/* --- what is no logbook ----------------------------------------------------------------------- */

struct bad_file {
    const char *about, *why; /* a word of the reason */
    void (*make)(struct folder *folder, char *sound, size_t length);
    bool only_to_write; /* a reader finds it when it reads there */
};

static void make_missing(struct folder *folder, char *sound, size_t length)
{
    (void)folder, (void)sound, (void)length;
}

static void make_folder(struct folder *folder, char *sound, size_t length)
{
    (void)sound, (void)length;
    assert_int_equal(mkdir(folder->logbook, 0755), 0);
}

static void make_pipe(struct folder *folder, char *sound, size_t length)
{
    (void)sound, (void)length;
    assert_int_equal(mkfifo(folder->logbook, 0644), 0);
}

static void make_empty(struct folder *folder, char *sound, size_t length)
{
    (void)sound, (void)length;
    write_file(folder->logbook, "", 0);
}

static void make_text(struct folder *folder, char *sound, size_t length)
{
    (void)sound, (void)length;
    write_file(folder->logbook, "label,model\nKES-01,Kestrel 2000\n", 32);
}

static void make_other_database(struct folder *folder, char *sound, size_t length)
{
    (void)sound, (void)length;
    write_database(folder->logbook, "PRAGMA application_id = 77; CREATE TABLE cell (id)");
}

static void make_other_wal_database(struct folder *folder, char *sound, size_t length)
{
    (void)sound, (void)length;
    write_database(folder->logbook, "PRAGMA journal_mode = WAL; CREATE TABLE cell (id)");
}

static void make_newer(struct folder *folder, char *sound, size_t length)
{
    sound[60 + 3] = LOGBOOK_VERSION + 1;
    write_file(folder->logbook, sound, length);
}

static void make_stub(struct folder *folder, char *sound, size_t length)
{
    (void)length;
    write_file(folder->logbook, sound, 50);
}

static void make_truncated(struct folder *folder, char *sound, size_t length)
{
    write_file(folder->logbook, sound, length / 2);
}

static void make_garbled_header(struct folder *folder, char *sound, size_t length)
{
    memset(sound + 16, 0x5a, 40); /* page size, versions, counters */
    write_file(folder->logbook, sound, length);
}

static void make_garbled_schema(struct folder *folder, char *sound, size_t length)
{
    memset(sound + 100, 0x5a, 2000);
    write_file(folder->logbook, sound, length);
}

static void make_garbled_page(struct folder *folder, char *sound, size_t length)
{
    assert_true(length > 60 * 4096);
    memset(sound + 50 * 4096, 0x5a, 4096); /* among the samples */
    write_file(folder->logbook, sound, length);
}

static void make_tableless(struct folder *folder, char *sound, size_t length)
{
    (void)sound, (void)length;
    write_database(folder->logbook, "PRAGMA application_id = 0x50455244; PRAGMA user_version = 2;"
                                    "CREATE TABLE cell (id)");
}

static void make_secret(struct folder *folder, char *sound, size_t length)
{
    write_file(folder->logbook, sound, length);
    chmod(folder->logbook, 0);
}

static const struct bad_file bad_files[] = {
    {"missing", "no such file", make_missing, false},
    {"a folder", "folder", make_folder, false},
    {"a pipe", "not a plain file", make_pipe, false},
    {"empty", "empty", make_empty, false},
    {"text", "not a logbook", make_text, false},
    {"another program's database", "something else", make_other_database, false},
    {"another program's database with a log", "something else", make_other_wal_database, false},
    {"a newer version", "of version 3", make_newer, false},
    {"a stub", "damaged", make_stub, false},
    {"cut in half", "damaged", make_truncated, false},
    {"a garbled header", "damaged", make_garbled_header, false},
    {"a garbled schema", "damaged", make_garbled_schema, false},
    {"a garbled page", "damaged", make_garbled_page, true},
    {"without tables", "damaged", make_tableless, false},
    {"unreadable", "cannot be opened", make_secret, false},
};

static void try_bad_file(struct folder *folder, const struct bad_file *bad, enum logbook_mode mode)
{
    struct logbook *logbook = NULL;
    struct stat about;
    char *sound, *before = NULL, *after = NULL;
    size_t length, before_length = 0, after_length = 0;
    bool plain;
    int files;

    if (bad->make == make_secret && geteuid() == 0)
        return; /* root reads everything */
    sound = sound_bytes(folder, &length);
    bad->make(folder, sound, length);
    files = folder_files(folder, false);
    plain =
        stat(folder->logbook, &about) == 0 && S_ISREG(about.st_mode) && bad->make != make_secret;
    if (plain)
        must(file_read(folder->logbook, 1 << 26, &before, &before_length, &error));
    if (logbook_open(&logbook, folder->logbook, mode, &error) == 0) {
        print_error("%s: was opened\n", bad->about);
        fail();
    }
    if (strstr(error.why, bad->why) == NULL) {
        error_print(stderr, &error);
        fail_msg("%s: the reason is not \"%s\"", bad->about, bad->why);
    }
    assert_null(logbook);
    assert_string_equal(error.what, folder->logbook);
    refused(ERROR_LOGBOOK, logbook_open(&logbook, folder->logbook, mode, &error));
    if (plain) {
        must(file_read(folder->logbook, 1 << 26, &after, &after_length, &error));
        assert_int_equal(before_length, after_length);
        assert_memory_equal(before, after, after_length);
    }
    if (folder_files(folder, false) != files)
        fail_msg("%s: something was left beside it", bad->about);
    free(before);
    free(after);
    free(sound);
    folder_files(folder, true);
}

static void test_bad_files_are_refused_and_left(void **state)
{
    struct folder *folder = *state;

    for (size_t i = 0; i < sizeof(bad_files) / sizeof(bad_files[0]); i++) {
        try_bad_file(folder, &bad_files[i], LOGBOOK_WRITE);
        if (!bad_files[i].only_to_write)
            try_bad_file(folder, &bad_files[i], LOGBOOK_READ);
    }
}

static int see_none(void *context, int64_t k, const struct sample *sample)
{
    (void)context, (void)k, (void)sample;
    return 0;
}

static void test_a_reader_meets_a_garbled_page(void **state)
{
    struct folder *folder = *state;
    struct logbook *logbook;
    size_t length;
    char *sound = sound_bytes(folder, &length);

    make_garbled_page(folder, sound, length);
    logbook = open_logbook(folder, LOGBOOK_READ);
    refused(ERROR_LOGBOOK, logbook_samples(logbook, 1, see_none, NULL, &error));
    refused(ERROR_LOGBOOK, logbook_check(logbook, &error));
    logbook_close(logbook);
    assert_int_equal(folder_files(folder, false), 1);
    free(sound);
}

/* --- two at once ------------------------------------------------------------------------------ */

static void test_one_writer_at_a_time(void **state)
{
    struct folder *folder = *state;
    struct logbook *logbook = new_logbook(folder), *other = NULL;
    char pid_text[32];
    int pid;
    utc_us since;

    assert_int_equal(logbook_open(&other, folder->logbook, LOGBOOK_WRITE, &error), ERROR_BUSY);
    assert_null(other);
    snprintf(pid_text, sizeof(pid_text), "process %d ", (int)getpid());
    assert_non_null(strstr(error.why, pid_text));
    must(logbook_holder(folder->logbook, &pid, &since, &error));
    assert_int_equal(pid, getpid());
    assert_true(since > DAY_ONE / 2);
    close_sound(logbook);
    must(logbook_holder(folder->logbook, &pid, &since, &error));
    assert_int_equal(pid, 0);
    assert_int_equal(since, 0);
    assert_int_equal(folder_files(folder, false), 1);
    close_sound(open_logbook(folder, LOGBOOK_WRITE));
}

/* The lock goes with a process that is killed; its name is left and does not matter. */
static void test_a_killed_writer_leaves_no_lock(void **state)
{
    struct folder *folder = *state;
    int ready[2], status, pid;
    struct logbook *other;
    utc_us since;
    pid_t child;
    char byte;

    logbook_close(new_logbook(folder));
    assert_int_equal(pipe(ready), 0);
    child = fork();
    if (child == 0) {
        struct logbook *logbook;
        if (logbook_open(&logbook, folder->logbook, LOGBOOK_WRITE, &error) != 0)
            _exit(1);
        write(ready[1], "x", 1) == 1 ? pause() : 0;
        _exit(2);
    }
    assert_int_equal(read(ready[0], &byte, 1), 1);
    refused(ERROR_BUSY, logbook_open(&other, folder->logbook, LOGBOOK_WRITE, &error));
    must(logbook_holder(folder->logbook, &pid, &since, &error));
    assert_int_equal(pid, child);
    kill(child, SIGKILL);
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFSIGNALED(status));
    must(logbook_holder(folder->logbook, &pid, &since, &error));
    assert_int_equal(pid, 0);
    close_sound(open_logbook(folder, LOGBOOK_WRITE));
    close(ready[0]);
    close(ready[1]);
}

static void test_readers_see_what_is_committed(void **state)
{
    struct folder *folder = *state;
    struct logbook *writer = new_logbook(folder);
    struct logbook *reader = open_logbook(folder, LOGBOOK_READ);
    struct cell_record cell;

    must(logbook_begin(writer, &error));
    add_cell(writer, "KES-01");
    refused(ERROR_FAILED, logbook_cell(reader, "KES-01", &cell, &error));
    must(logbook_commit(writer, &error));
    must(logbook_cell(reader, "KES-01", &cell, &error));
    refused(ERROR_INTERNAL, logbook_begin(reader, &error));
    refused(ERROR_INTERNAL, logbook_add_event(reader, DAY_ONE, 0, 0, "info", "x", &error));
    close_sound(writer); /* before the reader: the log stays while it is read */
    must(logbook_cell(reader, "KES-01", &cell, &error));
    close_sound(reader);
    assert_int_equal(folder_files(folder, false), 1);
}

static void test_reading_changes_nothing(void **state)
{
    struct folder *folder = *state;
    char *before, *after;
    size_t length, after_length;

    logbook_close(new_logbook(folder));
    must(file_read(folder->logbook, 1 << 26, &before, &length, &error));
    close_sound(open_logbook(folder, LOGBOOK_READ));
    must(file_read(folder->logbook, 1 << 26, &after, &after_length, &error));
    assert_int_equal(length, after_length);
    assert_memory_equal(before, after, length);
    assert_int_equal(folder_files(folder, false), 1);
    free(before);
    free(after);
}

/* As on a disk that cannot be written: readable for whoever is not root, refused to write. */
static void test_a_folder_without_leave_to_write(void **state)
{
    struct folder *folder = *state;
    int status;
    pid_t child;

    logbook_close(new_logbook(folder));
    chmod(folder->path, 0555);
    chmod(folder->logbook, 0444);
    child = fork();
    if (child == 0) {
        struct logbook *logbook;
        if (geteuid() == 0 && (setgid(65534) != 0 || setuid(65534) != 0))
            _exit(77);
        if (logbook_open(&logbook, folder->logbook, LOGBOOK_READ, &error) != 0)
            _exit(1);
        if (logbook_seed(logbook) != 17)
            _exit(2);
        logbook_close(logbook);
        if (logbook_open(&logbook, folder->logbook, LOGBOOK_WRITE, &error) != ERROR_LOGBOOK)
            _exit(3);
        _exit(0);
    }
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFEXITED(status));
    if (WEXITSTATUS(status) == 77)
        skip();
    assert_int_equal(WEXITSTATUS(status), 0);
}

#define ON_FILES(test) cmocka_unit_test_setup_teardown(test, folder_make, folder_remove)

int main(void)
{
    const struct CMUnitTest tests[] = {
        ON_FILES(test_a_new_one_is_as_it_was_born),
        ON_FILES(test_the_file_says_what_it_is),
        ON_FILES(test_settings_are_safe),
        ON_FILES(test_an_existing_file_is_not_made_anew),
        ON_FILES(test_odd_names),
        cmocka_unit_test(test_in_memory),
        ON_FILES(test_bad_files_are_refused_and_left),
        ON_FILES(test_a_reader_meets_a_garbled_page),
        ON_FILES(test_one_writer_at_a_time),
        ON_FILES(test_a_killed_writer_leaves_no_lock),
        ON_FILES(test_readers_see_what_is_committed),
        ON_FILES(test_reading_changes_nothing),
        ON_FILES(test_a_folder_without_leave_to_write),
    };

    return cmocka_run_group_tests_name("open", tests, NULL, NULL);
}
