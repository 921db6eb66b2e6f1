/* The journal. */
#include <time.h>

#include "bench_day.h"

struct reader {
    int64_t next, stop_at;
    size_t bytes;
    int open; /* entries without an outcome */
};

static int read_entry(void *context, const struct journal_entry *entry)
{
    struct reader *reader = context;

    assert_int_equal(entry->n, reader->next);
    assert_int_equal(entry->intent_at, DAY_ONE + entry->n);
    reader->next++;
    reader->bytes += strlen(entry->name) + strlen(entry->args);
    if (entry->outcome == NULL) {
        reader->open++;
        assert_int_equal(entry->outcome_at, 0);
    } else {
        reader->bytes += strlen(entry->outcome);
        assert_int_equal(entry->outcome_at, DAY_ONE + entry->n + 1);
    }
    return reader->next == reader->stop_at;
}

static void test_intents_and_outcomes(void **state)
{
    struct logbook *logbook = memory_logbook();
    struct journal_entry whole = {3, "note", "{\"text\":\"x\"}", DAY_ONE + 3, "true", DAY_ONE + 4};
    struct reader reader = {.next = 1};
    int64_t run;

    (void)state;
    must(logbook_begin(logbook, &error));
    run = add_run(logbook, 0);
    add_entry(logbook, run, 1, "charge");
    must(logbook_journal_outcome(logbook, run, 0, 1, "{\"charge\":1.9}", DAY_ONE + 2, &error));
    add_entry(logbook, run, 2, "rest");
    must(logbook_journal_intent(logbook, run, 0, &whole, &error));
    must(logbook_commit(logbook, &error));
    must(logbook_journal_read(logbook, run, 0, read_entry, &reader, &error));
    assert_int_equal(reader.next, 4);
    assert_int_equal(reader.open, 1);
    must(logbook_journal_read(logbook, run, 1, read_entry, &reader, &error)); /* empty */
    must(logbook_journal_read(logbook, run + 1, 0, read_entry, &reader, &error));
    assert_int_equal(reader.next, 4);
    reader = (struct reader){.next = 1, .stop_at = 2};
    must(logbook_journal_read(logbook, run, 0, read_entry, &reader, &error));
    assert_int_equal(reader.next, 2);
    close_sound(logbook);
}

static void test_numbers_are_taken_in_order_and_outcomes_once(void **state)
{
    struct logbook *logbook = memory_logbook();
    struct journal_entry entry = {.name = "rest", .args = "{}", .intent_at = DAY_ONE};
    int64_t run;

    (void)state;
    must(logbook_begin(logbook, &error));
    run = add_run(logbook, 0);
    entry.n = 2;
    refused(ERROR_INTERNAL, logbook_journal_intent(logbook, run, 0, &entry, &error));
    add_entry(logbook, run, 1, "charge");
    entry.n = 1;
    refused(ERROR_INTERNAL, logbook_journal_intent(logbook, run, 0, &entry, &error));
    must(logbook_journal_intent(logbook, run, 1, &entry, &error)); /* a segment of its own */
    refused(ERROR_INTERNAL, logbook_journal_intent(logbook, run + 1, 0, &entry, &error));
    must(logbook_journal_outcome(logbook, run, 0, 1, "1", DAY_ONE, &error));
    refused(ERROR_INTERNAL, logbook_journal_outcome(logbook, run, 0, 1, "2", DAY_ONE, &error));
    refused(ERROR_INTERNAL, logbook_journal_outcome(logbook, run, 0, 9, "2", DAY_ONE, &error));
    must(logbook_commit(logbook, &error));
    ask_text(logbook, "SELECT outcome FROM journal WHERE segment = 0", "1");
    close_sound(logbook);
}

/* A visitor may look things up in the same logbook, also in the same journal. */
static int read_within(void *context, const struct journal_entry *entry)
{
    struct logbook *logbook = context;
    struct reader reader = {.next = 1};

    must(logbook_journal_read(logbook, 1, 0, read_entry, &reader, &error));
    assert_int_equal(reader.next, 4);
    return entry->n == 3;
}

static void test_a_visitor_may_read_too(void **state)
{
    struct logbook *logbook = memory_logbook();

    (void)state;
    must(logbook_begin(logbook, &error));
    add_run(logbook, 0);
    for (int n = 1; n <= 3; n++)
        add_entry(logbook, 1, n, "rest");
    must(logbook_commit(logbook, &error));
    must(logbook_journal_read(logbook, 1, 0, read_within, logbook, &error));
    close_sound(logbook);
}

#define LONG 100000

static void test_a_long_journal_is_read_quickly(void **state)
{
    struct folder *folder = *state;
    struct logbook *logbook = new_logbook(folder);
    struct journal_entry entry = {.name = "discharge",
                                  .args = "{\"current\":0.4,\"stop\":{\"voltage\":1}}"};
    struct reader reader = {.next = 1};
    struct timespec begun, done;
    double seconds;
    int64_t run;

    must(logbook_begin(logbook, &error));
    run = add_run(logbook, 0);
    for (int n = 1; n <= LONG; n++) {
        entry.n = n;
        entry.intent_at = DAY_ONE + n;
        must(logbook_journal_intent(logbook, run, 0, &entry, &error));
        must(logbook_journal_outcome(
            logbook, run, 0, n, "{\"charge\":1.923456,\"energy\":2.345678,\"duration\":17311.5}",
            DAY_ONE + n + 1, &error));
    }
    must(logbook_commit(logbook, &error));
    logbook_close(logbook);

    logbook = open_logbook(folder, LOGBOOK_READ);
    clock_gettime(CLOCK_MONOTONIC, &begun);
    must(logbook_journal_read(logbook, run, 0, read_entry, &reader, &error));
    clock_gettime(CLOCK_MONOTONIC, &done);
    seconds = (double)(done.tv_sec - begun.tv_sec) + (double)(done.tv_nsec - begun.tv_nsec) / 1e9;
    print_message("%d entries read in %.3f s\n", LONG, seconds);
    assert_int_equal(reader.next, LONG + 1);
    assert_true(seconds < 2); /* 0.05 s where nothing else is at work; slow only if it is wrong */
    close_sound(logbook);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_intents_and_outcomes),
        cmocka_unit_test(test_numbers_are_taken_in_order_and_outcomes_once),
        cmocka_unit_test(test_a_visitor_may_read_too),
        cmocka_unit_test_setup_teardown(test_a_long_journal_is_read_quickly, folder_make,
                                        folder_remove),
    };

    return cmocka_run_group_tests_name("journal", tests, NULL, NULL);
}
