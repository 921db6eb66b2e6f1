/* Reading ahead: the file comes into memory, and nothing is left open. */
#include <fcntl.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <time.h>

#include "bench_day.h"

static int open_descriptors(void)
{
    DIR *dir = opendir("/proc/self/fd");
    int count = 0;
    assert_non_null(dir);
    while (readdir(dir) != NULL)
        count++;
    closedir(dir);
    return count;
}

/* Bytes of the file that are in memory. */
static size_t resident(const char *path, size_t *whole)
{
    struct stat facts;
    size_t page = (size_t)sysconf(_SC_PAGESIZE), count = 0;
    int file = open(path, O_RDONLY);
    assert_true(file >= 0);
    assert_int_equal(fstat(file, &facts), 0);
    *whole = ((size_t)facts.st_size + page - 1) / page;
    unsigned char *there = xcalloc(*whole, 1);
    void *map = mmap(NULL, (size_t)facts.st_size, PROT_READ, MAP_SHARED, file, 0);
    assert_ptr_not_equal(map, MAP_FAILED);
    assert_int_equal(mincore(map, (size_t)facts.st_size, there), 0);
    for (size_t i = 0; i < *whole; i++)
        count += there[i] & 1;
    munmap(map, (size_t)facts.st_size);
    close(file);
    free(there);
    return count;
}

/* Out of memory, where the file system can do without it there. */
static void forget(const char *path)
{
    int file = open(path, O_RDWR);
    assert_true(file >= 0);
    assert_int_equal(fsync(file), 0);
    assert_int_equal(posix_fadvise(file, 0, 0, POSIX_FADV_DONTNEED), 0);
    close(file);
}

/* Makes the file some megabytes large. */
static void fill(const struct folder *folder)
{
    struct logbook *logbook = new_logbook(folder);
    char *text = xmalloc(1 << 20);
    memset(text, 'x', (1 << 20) - 1);
    text[(1 << 20) - 1] = '\0';
    must(logbook_begin(logbook, &error));
    for (int i = 0; i < 8; i++)
        must(logbook_add_event(logbook, DAY_ONE, 0, 0, "note", text, &error));
    must(logbook_commit(logbook, &error));
    logbook_close(logbook);
    free(text);
}

static void test_the_whole_file_is_fetched(void **state)
{
    const struct folder *folder = *state;
    struct logbook *logbook;
    struct timespec moment = {.tv_nsec = 10000000};
    size_t whole, there = 0;
    fill(folder);
    forget(folder->logbook);
    must(logbook_open(&logbook, folder->logbook, LOGBOOK_READ, &error));
    logbook_read_ahead(logbook);
    for (int i = 0; i < 1000 && (there = resident(folder->logbook, &whole)) < whole; i++)
        nanosleep(&moment, NULL);
    assert_true(whole > 2000);
    assert_int_equal(there, whole);
    logbook_close(logbook);
}

static void test_nothing_is_left_open(void **state)
{
    const struct folder *folder = *state;
    struct logbook *logbook;
    json_t *rows;
    int before;
    fill(folder);
    before = open_descriptors();
    must(logbook_open(&logbook, folder->logbook, LOGBOOK_READ, &error));
    logbook_read_ahead(logbook);
    logbook_read_ahead(logbook); /* does no more */
    must(logbook_list(logbook, LIST_EVENTS, &(struct listing_filter){0}, &rows, &error));
    assert_int_equal(json_array_size(rows), 8);
    json_decref(rows);
    logbook_close(logbook);
    assert_int_equal(open_descriptors(), before);
    must(logbook_open_memory(&logbook, &birth, &error));
    logbook_read_ahead(logbook);
    logbook_close(logbook);
    assert_int_equal(open_descriptors(), before);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_the_whole_file_is_fetched, folder_make, folder_remove),
        cmocka_unit_test_setup_teardown(test_nothing_is_left_open, folder_make, folder_remove),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
