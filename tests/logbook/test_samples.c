/* Samples: staging, moving, reading back. */
#include <math.h>

#include "bench_day.h"

struct seen {
    int64_t step, next, stop_at;
    bool wrong;
};

static int see(void *context, int64_t k, const struct sample *sample)
{
    struct seen *seen = context;
    struct sample want = sample_at(seen->step, k);

    if (k != seen->next || sample->t_us != want.t_us ||
        fabs(sample->voltage - want.voltage) > 1e-9 ||
        fabs(sample->current - want.current) > 1e-9 ||
        isnan(sample->temperature) != isnan(want.temperature) ||
        (!isnan(want.temperature) && fabs(sample->temperature - want.temperature) > 1e-9))
        seen->wrong = true;
    seen->next = k + 1;
    return seen->next == seen->stop_at;
}

/* The step has these samples and no others, however one looks. */
static void has_samples(struct logbook *logbook, int64_t step, int64_t count)
{
    struct seen seen = {.step = step};
    char sql[128];

    must(logbook_samples(logbook, step, see, &seen, &error));
    assert_false(seen.wrong);
    assert_int_equal(seen.next, count);
    snprintf(sql, sizeof(sql), "SELECT count(DISTINCT k) FROM reading WHERE step = %d", (int)step);
    assert_int_equal(ask(logbook, sql), count);
    snprintf(sql, sizeof(sql), "SELECT count(*) FROM reading WHERE step = %d", (int)step);
    assert_int_equal(ask(logbook, sql), count);
}

static void move_all_due(struct logbook *logbook)
{
    bool more = true;

    while (more)
        must(logbook_move_samples(logbook, &more, &error));
}

static void test_few_are_staged(void **state)
{
    struct logbook *logbook = memory_logbook();
    bool more;
    int64_t step;

    (void)state;
    must(logbook_begin(logbook, &error));
    step = add_step(logbook, add_run(logbook, 0), 1);
    add_samples(logbook, step, 0, 1);
    add_samples(logbook, step, 1, 31);
    must(logbook_commit(logbook, &error));
    must(logbook_move_samples(logbook, &more, &error));
    assert_false(more);
    assert_int_equal(ask(logbook, "SELECT count(*) FROM recent"), 32);
    assert_int_equal(ask(logbook, "SELECT count(*) FROM sample"), 0);
    has_samples(logbook, step, 32);
    close_sound(logbook);
}

static void test_a_long_batch_goes_directly(void **state)
{
    struct logbook *logbook = memory_logbook();
    int64_t step;

    (void)state;
    must(logbook_begin(logbook, &error));
    step = add_step(logbook, add_run(logbook, 0), 1);
    add_samples(logbook, step, 0, 256);
    add_samples(logbook, step, 256, 32);
    assert_int_equal(ask(logbook, "SELECT count(*) FROM recent"), 0);
    add_samples(logbook, step, 288, 10);
    add_samples(logbook, step, 298, 300); /* what is staged goes first */
    assert_int_equal(ask(logbook, "SELECT count(*) FROM sample"), 598);
    must(logbook_commit(logbook, &error));
    has_samples(logbook, step, 598);
    close_sound(logbook);
}

/* One sample a step a commit, many steps side by side, as an engine does in real time. */
static void interleave(struct logbook *logbook, const int64_t *steps, int count, int64_t from,
                       int64_t to)
{
    for (int64_t k = from; k < to; k++) {
        bool more;
        must(logbook_begin(logbook, &error));
        for (int i = 0; i < count; i++)
            add_samples(logbook, steps[i], k, 1);
        must(logbook_commit(logbook, &error));
        must(logbook_move_samples(logbook, &more, &error));
    }
}

#define STEPS 40

static void test_interleaved_steps_are_moved(void **state)
{
    struct logbook *logbook = memory_logbook();
    int64_t steps[STEPS], run;

    (void)state;
    must(logbook_begin(logbook, &error));
    run = add_run(logbook, 0);
    for (int i = 0; i < STEPS; i++)
        steps[i] = add_step(logbook, run, i + 1);
    must(logbook_commit(logbook, &error));
    interleave(logbook, steps, STEPS, 0, 700);
    move_all_due(logbook);
    /* Each has been moved at least once, and what was moved has left `recent`. */
    assert_true(ask(logbook, "SELECT count(*) FROM sample") >= STEPS * 512);
    assert_true(ask(logbook, "SELECT count(*) FROM recent") <= STEPS * (700 - 512) + 8192);
    for (int i = 0; i < STEPS; i++)
        has_samples(logbook, steps[i], 700);
    close_sound(logbook);
}

/* A step with a sample now and then must not keep those of the others from leaving `recent`. */
static void test_a_slow_step_holds_nobody_up(void **state)
{
    struct logbook *logbook = memory_logbook();
    int64_t fast, slow, run;
    int64_t most = 0;

    (void)state;
    must(logbook_begin(logbook, &error));
    run = add_run(logbook, 0);
    slow = add_step(logbook, run, 1);
    fast = add_step(logbook, run, 2);
    add_samples(logbook, slow, 0, 3);
    for (int64_t k = 0; k < 200000; k += 200) {
        add_samples(logbook, fast, k, 200);
        if (k % 2000 == 0) {
            must(logbook_commit(logbook, &error));
            move_all_due(logbook);
            must(logbook_begin(logbook, &error));
        }
    }
    must(logbook_commit(logbook, &error));
    most = ask(logbook, "SELECT count(*) FROM recent");
    assert_in_range(most, 0, 65536 + 8192 + 2000);
    has_samples(logbook, slow, 3);
    has_samples(logbook, fast, 200000);
    close_sound(logbook);
}

/* Steps of three samples each: they are gathered, and moved although none ever has many. */
static void test_short_ended_steps_are_gathered(void **state)
{
    struct logbook *logbook = memory_logbook();
    int64_t run, step = 0;
    bool more;

    (void)state;
    must(logbook_begin(logbook, &error));
    run = add_run(logbook, 0);
    for (int i = 0; i < 1000; i++) {
        step = add_step(logbook, run, i + 1);
        add_samples(logbook, step, 0, 3);
        must(logbook_end_step(logbook, step, &no_sums, DAY_ONE, &error));
        if (i == 100) {
            must(logbook_commit(logbook, &error));
            must(logbook_move_samples(logbook, &more, &error));
            assert_int_equal(ask(logbook, "SELECT count(*) FROM sample"), 0);
            must(logbook_begin(logbook, &error));
        }
    }
    must(logbook_commit(logbook, &error));
    move_all_due(logbook);
    assert_int_equal(ask(logbook, "SELECT count(*) FROM sample"), 3000);
    has_samples(logbook, step, 3);
    close_sound(logbook);
}

/* Nobody moves: a step then moves its own, so that memory stays bounded. */
static void test_memory_is_bounded(void **state)
{
    struct logbook *logbook = memory_logbook();
    int64_t step;

    (void)state;
    must(logbook_begin(logbook, &error));
    step = add_step(logbook, add_run(logbook, 0), 1);
    for (int64_t k = 0; k < 2000; k++)
        add_samples(logbook, step, k, 1);
    must(logbook_commit(logbook, &error));
    assert_true(ask(logbook, "SELECT count(*) FROM sample") >= 2000 - 448);
    has_samples(logbook, step, 2000);
    move_all_due(logbook);
    has_samples(logbook, step, 2000);
    close_sound(logbook);
}

static void test_rollback_takes_back_what_was_staged_and_moved(void **state)
{
    struct logbook *logbook = memory_logbook();
    int64_t step;

    (void)state;
    must(logbook_begin(logbook, &error));
    step = add_step(logbook, add_run(logbook, 0), 1);
    add_samples(logbook, step, 0, 200);
    must(logbook_commit(logbook, &error));
    must(logbook_begin(logbook, &error));
    add_samples(logbook, step, 200, 50);
    add_samples(logbook, step, 250, 400); /* moves the 250 before it */
    logbook_rollback(logbook);
    has_samples(logbook, step, 200);
    must(logbook_begin(logbook, &error));
    add_samples(logbook, step, 200, 400);
    must(logbook_end_step(logbook, step, &no_sums, DAY_ONE, &error));
    logbook_rollback(logbook);
    must(logbook_begin(logbook, &error));
    add_samples(logbook, step, 200, 1); /* the end was taken back too */
    must(logbook_commit(logbook, &error));
    has_samples(logbook, step, 201);
    close_sound(logbook);
}

static void test_only_the_next_sample_is_taken(void **state)
{
    struct logbook *logbook = memory_logbook();
    struct sample sample = sample_at(1, 0);
    struct sample nonsense = {.voltage = NAN}, huge = {.voltage = 1.0, .current = 1e300};
    int64_t step;

    (void)state;
    must(logbook_begin(logbook, &error));
    step = add_step(logbook, add_run(logbook, 0), 1);
    add_samples(logbook, step, 0, 2);
    refused(ERROR_INTERNAL, logbook_add_samples(logbook, step, 1, &sample, 1, &error));
    refused(ERROR_INTERNAL, logbook_add_samples(logbook, step, 3, &sample, 1, &error));
    refused(ERROR_INTERNAL, logbook_add_samples(logbook, step + 1, 0, &sample, 1, &error));
    refused(ERROR_INTERNAL, logbook_add_samples(logbook, step, 2, &nonsense, 1, &error));
    refused(ERROR_INTERNAL, logbook_add_samples(logbook, step, 2, &huge, 1, &error));
    must(logbook_end_step(logbook, step, &no_sums, DAY_ONE, &error));
    refused(ERROR_INTERNAL, logbook_add_samples(logbook, step, 2, &sample, 1, &error));
    must(logbook_commit(logbook, &error));
    refused(ERROR_INTERNAL, logbook_add_samples(logbook, step, 2, &sample, 1, &error));
    has_samples(logbook, step, 2);
    close_sound(logbook);
}

static void test_staged_samples_outlive_the_process(void **state)
{
    struct folder *folder = *state;
    struct logbook *logbook = new_logbook(folder);
    int64_t steps[2], run;

    must(logbook_begin(logbook, &error));
    run = add_run(logbook, 0);
    steps[0] = add_step(logbook, run, 1);
    steps[1] = add_step(logbook, run, 2);
    must(logbook_commit(logbook, &error));
    interleave(logbook, steps, 2, 0, 300);
    logbook_close(logbook);

    logbook = open_logbook(folder, LOGBOOK_WRITE);
    assert_int_equal(ask(logbook, "SELECT count(*) FROM recent"), 0); /* moved at the close */
    assert_int_equal(ask(logbook, "SELECT count(*) FROM sample"), 600);
    interleave(logbook, steps, 2, 300, 310);
    has_samples(logbook, steps[0], 310);
    close_sound(logbook);

    logbook = open_logbook(folder, LOGBOOK_READ);
    has_samples(logbook, steps[1], 310);
    close_sound(logbook);
}

static void test_reading_stops_when_told(void **state)
{
    struct logbook *logbook = memory_logbook();
    struct seen seen = {.stop_at = 260};

    (void)state;
    must(logbook_begin(logbook, &error));
    seen.step = add_step(logbook, add_run(logbook, 0), 1);
    add_samples(logbook, seen.step, 0, 256);
    add_samples(logbook, seen.step, 256, 100);
    must(logbook_commit(logbook, &error));
    must(logbook_samples(logbook, seen.step, see, &seen, &error));
    assert_int_equal(seen.next, 260);
    assert_false(seen.wrong);
    must(logbook_begin(logbook, &error)); /* reading has left no transaction behind */
    must(logbook_commit(logbook, &error));
    close_sound(logbook);
}

/* What the view shows is what a meter showed. 946684800 s after the epoch is 2000-01-01 (POSIX.1,
 * seconds since the Epoch, by its formula). */
static void test_the_view_shows_bench_units(void **state)
{
    struct logbook *logbook = memory_logbook();
    struct step_record step = {.n = 1,
                               .channel = "S1",
                               .kind = "charge",
                               .how = "simulated",
                               .started_at = 946684800LL * US_PER_S};
    struct sample sample = {1500000, 1.234567, -0.000001, 19.999};

    (void)state;
    must(logbook_begin(logbook, &error));
    step.run = add_run(logbook, 0);
    add_entry(logbook, step.run, 1, "charge");
    must(logbook_add_step(logbook, &step, &error));
    must(logbook_add_samples(logbook, step.id, 0, &sample, 1, &error));
    must(logbook_commit(logbook, &error));
    ask_text(logbook, "SELECT step || ' ' || k || ' ' || at || ' ' || seconds FROM reading",
             "1 0 2000-01-01T00:00:01.500Z 1.5");
    ask_text(logbook, "SELECT printf('%.6f V %.6f A %.3f degC', V, A, degC) FROM reading",
             "1.234567 V -0.000001 A 19.999 degC");
    close_sound(logbook);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_few_are_staged),
        cmocka_unit_test(test_a_long_batch_goes_directly),
        cmocka_unit_test(test_interleaved_steps_are_moved),
        cmocka_unit_test(test_a_slow_step_holds_nobody_up),
        cmocka_unit_test(test_short_ended_steps_are_gathered),
        cmocka_unit_test(test_memory_is_bounded),
        cmocka_unit_test(test_rollback_takes_back_what_was_staged_and_moved),
        cmocka_unit_test(test_only_the_next_sample_is_taken),
        cmocka_unit_test_setup_teardown(test_staged_samples_outlive_the_process, folder_make,
                                        folder_remove),
        cmocka_unit_test(test_reading_stops_when_told),
        cmocka_unit_test(test_the_view_shows_bench_units),
    };

    return cmocka_run_group_tests_name("samples", tests, NULL, NULL);
}
