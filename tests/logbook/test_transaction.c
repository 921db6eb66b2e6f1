/* Transactions: all or nothing, also when the disk is full; and the logbook about itself. */
#include "bench_day.h"

static void test_rolled_back_is_gone(void **state)
{
    struct logbook *logbook = memory_logbook();
    struct cell_record cell;

    (void)state;
    must(logbook_begin(logbook, &error));
    add_cell(logbook, "KES-01");
    must(logbook_commit(logbook, &error));
    must(logbook_begin(logbook, &error));
    add_cell(logbook, "KES-02");
    logbook_rollback(logbook);
    logbook_rollback(logbook); /* without one: nothing happens */
    must(logbook_cell(logbook, "KES-01", &cell, &error));
    refused(ERROR_FAILED, logbook_cell(logbook, "KES-02", &cell, &error));
    close_sound(logbook);
}

static void test_writing_wants_a_transaction(void **state)
{
    struct logbook *logbook = memory_logbook();
    bool more;

    (void)state;
    refused(ERROR_INTERNAL, logbook_add_event(logbook, DAY_ONE, 0, 0, "info", "x", &error));
    refused(ERROR_INTERNAL, logbook_commit(logbook, &error));
    must(logbook_begin(logbook, &error));
    refused(ERROR_INTERNAL, logbook_begin(logbook, &error));
    refused(ERROR_INTERNAL, logbook_move_samples(logbook, &more, &error));
    must(logbook_add_event(logbook, DAY_ONE, 0, 0, "info", "x", &error));
    must(logbook_commit(logbook, &error));
    close_sound(logbook);
}

static void test_close_keeps_only_what_was_committed(void **state)
{
    struct folder *folder = *state;
    struct logbook *logbook = new_logbook(folder);

    must(logbook_begin(logbook, &error));
    add_cell(logbook, "KES-01");
    must(logbook_commit(logbook, &error));
    must(logbook_begin(logbook, &error));
    add_cell(logbook, "KES-02");
    logbook_close(logbook);
    logbook = open_logbook(folder, LOGBOOK_WRITE);
    assert_int_equal(ask(logbook, "SELECT count(*) FROM cell"), 1);
    close_sound(logbook);
}

/* One commit of everything that a step brings: returns the first failure, with the error filled. */
static int one_commit(struct logbook *logbook, int64_t step, int64_t k, int count)
{
    struct sample samples[300];
    int failed = logbook_begin(logbook, &error);

    for (int i = 0; i < count; i++)
        samples[i] = sample_at(step, k + i);
    if (!failed)
        failed = logbook_add_samples(logbook, step, k, samples, count, &error);
    if (!failed)
        failed = logbook_checkpoint_step(logbook, step, &no_sums, "at work", DAY_ONE, &error);
    if (!failed)
        return logbook_commit(logbook, &error);
    logbook_rollback(logbook);
    return failed;
}

static int count_samples(void *context, int64_t k, const struct sample *sample)
{
    (void)k, (void)sample;
    ++*(int64_t *)context;
    return 0;
}

/* No room: the whole transaction is refused, again and again; with room it goes through as it was.
 * SQLite's own limit of pages stands in for the disk's. */
static void fill_up(struct folder *folder, int batch)
{
    struct logbook *logbook = new_logbook(folder);
    int64_t step, k = 0, count = 0;
    char limit[64];

    must(logbook_begin(logbook, &error));
    step = add_step(logbook, add_run(logbook, 0), 1);
    must(logbook_commit(logbook, &error));
    snprintf(limit, sizeof(limit), "PRAGMA max_page_count = %d",
             (int)ask(logbook, "PRAGMA page_count") + 20);
    must(sql_script(logbook->db, folder->logbook, limit, &error));
    while (one_commit(logbook, step, k, batch) == 0) {
        k += batch;
        assert_true(k < 20000);
    }
    refused(ERROR_FULL, one_commit(logbook, step, k, batch));
    refused(ERROR_FULL, one_commit(logbook, step, k, batch));
    must(logbook_samples(logbook, step, count_samples, &count, &error));
    assert_int_equal(count, k);
    must(sql_script(logbook->db, folder->logbook, "PRAGMA max_page_count = 100000", &error));
    must(one_commit(logbook, step, k, batch));
    k += batch;
    count = 0;
    must(logbook_samples(logbook, step, count_samples, &count, &error));
    assert_int_equal(count, k);
    assert_int_equal(ask(logbook, "SELECT samples FROM outcome"), k);
    close_sound(logbook);
    folder_files(folder, true);
}

static void test_a_full_disk_refuses_all_of_it(void **state)
{
    fill_up(*state, 7);   /* staged */
    fill_up(*state, 290); /* directly */
}

/* A failure that made SQLite roll back must not let what follows slip through on its own. */
static void test_a_lost_transaction_takes_nothing_more(void **state)
{
    struct logbook *logbook = memory_logbook();

    (void)state;
    must(logbook_begin(logbook, &error));
    must(sql_script(logbook->db, ":memory:", "ROLLBACK", &error)); /* as SQLite does by itself */
    refused(ERROR_LOGBOOK, logbook_add_event(logbook, DAY_ONE, 0, 0, "info", "x", &error));
    refused(ERROR_LOGBOOK, logbook_commit(logbook, &error));
    assert_int_equal(ask(logbook, "SELECT count(*) FROM event"), 0);
    must(logbook_begin(logbook, &error));
    must(logbook_add_event(logbook, DAY_ONE, 0, 0, "info", "x", &error));
    must(logbook_commit(logbook, &error));
    close_sound(logbook);
}

/* A row that points to nothing is refused at the commit, with everything around it. */
static void test_a_broken_reference_is_refused(void **state)
{
    struct logbook *logbook = memory_logbook();
    struct step_record step = {.n = 5, .kind = "rest", .how = "simulated"};

    (void)state;
    must(logbook_begin(logbook, &error));
    step.run = add_run(logbook, 0);
    must(logbook_add_step(logbook, &step, &error)); /* there is no journal entry 5 */
    refused(ERROR_INTERNAL, logbook_commit(logbook, &error));
    assert_int_equal(ask(logbook, "SELECT count(*) FROM run"), 0);
    close_sound(logbook);
}

/* --- about itself ----------------------------------------------------------------------------- */

static void test_it_keeps_one_clock(void **state)
{
    struct folder *folder = *state;
    struct logbook *logbook = new_logbook(folder);
    utc_us utc, real;

    assert_string_equal(logbook_clock(logbook), "");
    must(logbook_clock_origin(logbook, &utc, &real, &error));
    assert_int_equal(utc, DAY_ONE); /* pinned at its birth */
    assert_int_equal(real, DAY_ONE);
    must(logbook_begin(logbook, &error));
    must(logbook_set_clock(logbook, "x60", 11, 22, &error));
    logbook_rollback(logbook);
    assert_string_equal(logbook_clock(logbook), "");

    must(logbook_begin(logbook, &error));
    must(logbook_set_clock(logbook, "x60", 11, 22, &error));
    refused(ERROR_FAILED, logbook_set_clock(logbook, "virtual", 0, 0, &error));
    refused(ERROR_INTERNAL, logbook_set_clock(logbook, "", 0, 0, &error));
    must(logbook_set_clock(logbook, "x60", 33, 44, &error));
    must(logbook_commit(logbook, &error));
    close_sound(logbook);

    logbook = open_logbook(folder, LOGBOOK_READ);
    assert_string_equal(logbook_clock(logbook), "x60");
    must(logbook_clock_origin(logbook, &utc, &real, &error));
    assert_int_equal(utc, 33);
    assert_int_equal(real, 44);
    close_sound(logbook);
}

static void expect_latest(struct logbook *logbook, utc_us want)
{
    utc_us latest;

    must(logbook_latest(logbook, &latest, &error));
    assert_int_equal(latest, want);
}

static void test_the_latest_instant(void **state)
{
    struct logbook *logbook = memory_logbook();
    struct question_record question = {.n = 3, .text = "?", .expects = "{}"};
    struct result_record result = {.n = 2,
                                   .name = "capacity",
                                   .value = 1.9,
                                   .unit = "Ah",
                                   .uncertainty = NAN,
                                   .how = "simulated"};
    struct journal_entry entry = {.n = 2, .name = "record", .args = "{}"};
    int64_t run, step, session, at = DAY_ONE;

    (void)state;
    expect_latest(logbook, DAY_ONE);
    must(logbook_begin(logbook, &error));
    must(logbook_add_session(logbook, at += 10, "bench", "", "0.1.0", &session, &error));
    expect_latest(logbook, at);
    run = add_run(logbook, 0);
    must(logbook_set_run_state(logbook, run, RUN_RUNNING, at += 10, NULL, &error));
    expect_latest(logbook, at);
    step = add_step(logbook, run, 1);
    at = DAY_ONE + US_PER_S;
    expect_latest(logbook, at);
    must(logbook_checkpoint_step(logbook, step, &no_sums, "x", at += 10, &error));
    expect_latest(logbook, at);
    must(logbook_add_gap(logbook, step, at, at + 10, "asleep", &error));
    expect_latest(logbook, at += 10);
    must(logbook_end_step(logbook, step, &no_sums, at += 10, &error));
    must(logbook_journal_outcome(logbook, run, 0, 1, "{}", at += 10, &error));
    expect_latest(logbook, at);
    entry.intent_at = at += 10;
    must(logbook_journal_intent(logbook, run, 0, &entry, &error));
    expect_latest(logbook, at);
    result.run = question.run = run;
    result.at = at += 10;
    must(logbook_add_result(logbook, &result, &error));
    expect_latest(logbook, at);
    add_entry(logbook, run, 3, "ask");
    question.asked_at = at += 10;
    must(logbook_add_question(logbook, &question, &error));
    expect_latest(logbook, at);
    must(logbook_answer(logbook, question.id, "1", "AB", at += 10, &error));
    expect_latest(logbook, at);
    must(logbook_add_event(logbook, at += 10, run, 0, "note", "warm today", &error));
    expect_latest(logbook, at);
    must(logbook_set_run_state(logbook, run, RUN_DONE, at += 10, NULL, &error));
    expect_latest(logbook, at);
    must(logbook_end_session(logbook, session, at += 10, "idle", &error));
    expect_latest(logbook, at);
    refused(ERROR_INTERNAL, logbook_end_session(logbook, session, at, "again", &error));
    must(logbook_commit(logbook, &error));
    close_sound(logbook);
}

/* --- the check -------------------------------------------------------------------------------- */

static void test_the_check_finds_what_is_wrong(void **state)
{
    static const char *const damages[] = {
        "DELETE FROM sample WHERE k = 100",
        "DELETE FROM recent WHERE k = 260",
        "UPDATE recent SET k = 999 WHERE k = 265",
        "PRAGMA foreign_keys = OFF; DELETE FROM step",
        "PRAGMA foreign_keys = OFF; DELETE FROM script",
    };

    (void)state;
    for (size_t i = 0; i < sizeof(damages) / sizeof(damages[0]); i++) {
        struct logbook *logbook = memory_logbook();
        int64_t step;

        must(logbook_begin(logbook, &error));
        step = add_step(logbook, add_run(logbook, add_cell(logbook, "KES-01")), 1);
        add_samples(logbook, step, 0, 256);
        add_samples(logbook, step, 256, 10);
        must(logbook_commit(logbook, &error));
        must(logbook_check(logbook, &error));
        must(sql_script(logbook->db, ":memory:", damages[i], &error));
        refused(ERROR_LOGBOOK, logbook_check(logbook, &error));
        logbook_close(logbook);
    }
}

/* The same acts give the same content, whatever the hour and the process. */
static char *a_day(const struct folder *folder)
{
    struct logbook *logbook = new_logbook(folder);
    int64_t step;
    char *text;

    must(logbook_begin(logbook, &error));
    step = add_step(logbook, add_run(logbook, add_cell(logbook, "KES-01")), 1);
    for (int64_t k = 0; k < 700; k += 7)
        add_samples(logbook, step, k, 7);
    must(logbook_end_step(logbook, step, &no_sums, DAY_ONE + 700 * US_PER_S, &error));
    must(logbook_commit(logbook, &error));
    close_sound(logbook);
    logbook = open_logbook(folder, LOGBOOK_READ);
    text = dump(logbook);
    close_sound(logbook);
    unlink(folder->logbook);
    return text;
}

static void test_same_acts_same_content(void **state)
{
    char *first = a_day(*state), *second = a_day(*state);

    assert_string_equal(first, second);
    assert_non_null(strstr(first, "KES-01"));
    free(first);
    free(second);
}

#define ON_FILES(test) cmocka_unit_test_setup_teardown(test, folder_make, folder_remove)

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_rolled_back_is_gone),
        cmocka_unit_test(test_writing_wants_a_transaction),
        ON_FILES(test_close_keeps_only_what_was_committed),
        ON_FILES(test_a_full_disk_refuses_all_of_it),
        cmocka_unit_test(test_a_lost_transaction_takes_nothing_more),
        cmocka_unit_test(test_a_broken_reference_is_refused),
        ON_FILES(test_it_keeps_one_clock),
        cmocka_unit_test(test_the_latest_instant),
        cmocka_unit_test(test_the_check_finds_what_is_wrong),
        ON_FILES(test_same_acts_same_content),
    };

    return cmocka_run_group_tests_name("transaction", tests, NULL, NULL);
}
