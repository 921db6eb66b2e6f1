/* The zone of a logbook: kept, refused where it is not known, UTC without a word. */
#include "bench_day.h"

static bool has_zones(void)
{
    struct zone *zone;

    if (zone_open(&zone, "Asia/Kathmandu", &error)) {
        print_message("skipped: the time zone database is not there\n");
        error_clear(&error);
        return false;
    }
    zone_close(zone);
    return true;
}

static void test_it_is_utc_without_a_word(void **state)
{
    struct logbook *logbook = new_logbook(*state);

    assert_null(logbook_zone(logbook));
    assert_int_equal(ask(logbook, "SELECT zone = 'UTC' FROM logbook"), 1);
    close_sound(logbook);
}

static void test_it_is_kept(void **state)
{
    struct folder *folder = *state;
    const struct logbook_birth born = {.created = DAY_ONE, .seed = 1, .zone = "Asia/Kathmandu"};
    struct logbook *logbook;

    if (!has_zones())
        skip();
    must(logbook_create(folder->logbook, &born, &error));
    for (int mode = LOGBOOK_READ; mode <= LOGBOOK_WRITE; mode++) {
        must(logbook_open(&logbook, folder->logbook, (enum logbook_mode)mode, &error));
        assert_string_equal(zone_name(logbook_zone(logbook)), "Asia/Kathmandu");
        close_sound(logbook);
    }
}

/* A file that came from a machine with a newer database, or to one with none. */
static void test_an_unknown_one_is_refused(void **state)
{
    struct folder *folder = *state;
    const struct logbook_birth born = {.created = DAY_ONE, .seed = 1, .zone = "Mars/Nowhere"};
    struct logbook *logbook;

    must(logbook_create(folder->logbook, &born, &error));
    for (int mode = LOGBOOK_READ; mode <= LOGBOOK_WRITE; mode++) {
        assert_int_equal(logbook_open(&logbook, folder->logbook, (enum logbook_mode)mode, &error),
                         ERROR_LOGBOOK);
        assert_non_null(strstr(error.why, "Mars/Nowhere"));
        assert_null(logbook);
    }
    assert_int_equal(folder_files(folder, false), 1);
}

static void test_a_roll_back_keeps_it(void **state)
{
    const struct logbook_birth born = {.created = DAY_ONE, .seed = 1, .zone = "Asia/Kathmandu"};
    struct logbook *logbook;

    (void)state;
    if (!has_zones())
        skip();
    must(logbook_open_memory(&logbook, &born, &error));
    const struct zone *before = logbook_zone(logbook);
    must(logbook_begin(logbook, &error));
    logbook_rollback(logbook);
    assert_ptr_equal(logbook_zone(logbook), before);
    close_sound(logbook);
}

static void test_a_due_date_is_written_as_its_clock_shows_it(void **state)
{
    const struct logbook_birth born = {.created = DAY_ONE, .seed = 1, .zone = "Asia/Kathmandu"};
    struct logbook *logbook;
    struct run_record record;
    int64_t first;

    (void)state;
    if (!has_zones())
        skip();
    must(logbook_open_memory(&logbook, &born, &error));
    must(logbook_begin(logbook, &error));
    first = add_run(logbook, 0);
    must(logbook_run(logbook, first, &record, &error));
    assert_string_equal(record.due_civil, "");
    assert_string_equal(record.due_zone, "");
    record.due_at = DAY_ONE + US_PER_S / 2; /* 08:00:00.5Z; Nepal is 5 h 45 min ahead */
    must(logbook_add_run(logbook, &record, &error));
    run_record_free(&record);
    must(logbook_commit(logbook, &error));
    must(logbook_run(logbook, first + 1, &record, &error));
    assert_int_equal(record.due_at, DAY_ONE + US_PER_S / 2);
    assert_string_equal(record.due_civil, "2026-03-02T13:45:00.500");
    assert_string_equal(record.due_zone, "Asia/Kathmandu");
    run_record_free(&record);
    assert_int_equal(ask(logbook, "SELECT count(*) FROM run WHERE due_civil IS NULL"), 1);
    close_sound(logbook);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_it_is_utc_without_a_word, folder_make, folder_remove),
        cmocka_unit_test_setup_teardown(test_it_is_kept, folder_make, folder_remove),
        cmocka_unit_test_setup_teardown(test_an_unknown_one_is_refused, folder_make, folder_remove),
        cmocka_unit_test(test_a_roll_back_keeps_it),
        cmocka_unit_test(test_a_due_date_is_written_as_its_clock_shows_it),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
