/* Steps: their outcomes so far and in the end, and taking them up again. */
#include <math.h>

#include "bench_day.h"

static const struct step_sums some = {
    .charge = 3600,
    .energy = 4320,
    .duration = 9000,
    .first_voltage = 1.40,
    .last_voltage = 1.00,
    .mean_voltage = 1.20,
    .mid_voltage = 1.22,
    .peak_voltage = 1.41,
    .max_temperature = 24.5,
    .resistance = NAN,
    .gaps = 1,
    .gap_time = 12.5,
    .quality = "gap",
};

static void expect_open(struct logbook *logbook, int64_t run, int64_t n, int64_t want,
                        const char *want_progress, utc_us want_checkpoint)
{
    int64_t step;
    utc_us started_at, checkpoint_at;
    char *progress;

    must(logbook_open_step(logbook, run, 0, n, &step, &started_at, &progress, &checkpoint_at,
                           &error));
    assert_int_equal(step, want);
    assert_int_equal(started_at, want == 0 ? 0 : DAY_ONE + n * US_PER_S);
    if (want_progress == NULL)
        assert_null(progress);
    else
        assert_string_equal(progress, want_progress);
    assert_int_equal(checkpoint_at, want_checkpoint);
    free(progress);
}

static void test_a_step_is_taken_up_and_ended(void **state)
{
    struct logbook *logbook = memory_logbook();
    struct step_sums last = some;
    int64_t run, step;

    (void)state;
    must(logbook_begin(logbook, &error));
    run = add_run(logbook, 0);
    expect_open(logbook, run, 1, 0, NULL, 0);
    step = add_step(logbook, run, 1);
    expect_open(logbook, run, 1, step, NULL, 0);
    must(logbook_checkpoint_step(logbook, step, &no_sums, "1 elapsed=1", DAY_ONE + 5, &error));
    expect_open(logbook, run, 1, step, "1 elapsed=1", DAY_ONE + 5);
    must(logbook_checkpoint_step(logbook, step, &some, "1 elapsed=2", DAY_ONE + 6, &error));
    expect_open(logbook, run, 1, step, "1 elapsed=2", DAY_ONE + 6);
    expect_open(logbook, run, 2, 0, NULL, 0);
    last.ended_by = "voltage";
    add_samples(logbook, step, 0, 3);
    must(logbook_end_step(logbook, step, &last, DAY_ONE + 7, &error));
    expect_open(logbook, run, 1, 0, NULL, 0);
    refused(ERROR_INTERNAL, logbook_end_step(logbook, step, &last, DAY_ONE + 8, &error));
    refused(ERROR_INTERNAL,
            logbook_checkpoint_step(logbook, step, &some, "again", DAY_ONE + 8, &error));
    must(logbook_commit(logbook, &error));
    assert_int_equal(ask(logbook, "SELECT samples FROM outcome"), 3);
    assert_int_equal(ask(logbook, "SELECT progress IS NULL FROM outcome"), 1);
    close_sound(logbook);
}

/* 1 Ah is 3,600 C and 1 Wh is 3,600 J (SI Brochure, 9th edition, table 8: 1 h = 3,600 s). */
static void test_outcomes_in_bench_units(void **state)
{
    struct logbook *logbook = memory_logbook();
    struct step_sums last = some;
    int64_t step;

    (void)state;
    last.ended_by = "voltage";
    must(logbook_begin(logbook, &error));
    step = add_step(logbook, add_run(logbook, 0), 1);
    must(logbook_end_step(logbook, step, &last, DAY_ONE, &error));
    must(logbook_commit(logbook, &error));
    ask_text(
        logbook,
        "SELECT printf('%.3f Ah %.3f Wh %.2f h %.2f %.2f %.2f %.2f %.2f V %.1f degC', charge_Ah,"
        " energy_Wh, duration_h, first_voltage_V, last_voltage_V, mean_voltage_V,"
        " mid_voltage_V, peak_voltage_V, max_temperature_degC) FROM outcomes",
        "1.000 Ah 1.200 Wh 2.50 h 1.40 1.00 1.20 1.22 1.41 V 24.5 degC");
    ask_text(logbook,
             "SELECT coalesce(resistance_ohm, 'none') || ' ' || gaps || ' ' || gap_time_s || ' ' ||"
             " ended_by || ' ' || quality || ' ' || started FROM outcomes",
             "none 1 12.5 voltage gap 2026-03-02T08:00:01Z");
    close_sound(logbook);
}

/* A step that was begun anew under the same journal entry: the later one is the open one. */
static void test_the_latest_open_step_counts(void **state)
{
    struct logbook *logbook = memory_logbook();
    struct step_record again = {.n = 1, .kind = "rest", .how = "simulated"};
    int64_t first, step;
    utc_us started_at, at;
    char *progress;

    (void)state;
    must(logbook_begin(logbook, &error));
    again.run = add_run(logbook, 0);
    first = add_step(logbook, again.run, 1);
    must(logbook_add_step(logbook, &again, &error));
    must(logbook_open_step(logbook, again.run, 0, 1, &step, &started_at, &progress, &at, &error));
    assert_int_equal(step, again.id);
    must(logbook_end_step(logbook, again.id, &no_sums, DAY_ONE, &error));
    must(logbook_open_step(logbook, again.run, 0, 1, &step, &started_at, &progress, &at, &error));
    assert_int_equal(step, first);
    must(logbook_commit(logbook, &error));
    close_sound(logbook);
}

static void test_open_steps_of_a_run_are_stopped(void **state)
{
    struct logbook *logbook = memory_logbook();
    struct sample sample = {.voltage = 1};
    int64_t run, other, step[4];

    (void)state;
    must(logbook_begin(logbook, &error));
    run = add_run(logbook, 0);
    other = add_run(logbook, 0);
    for (int i = 0; i < 3; i++)
        step[i] = add_step(logbook, run, i + 1);
    step[3] = add_step(logbook, other, 1);
    must(logbook_end_step(logbook, step[0], &no_sums, DAY_ONE, &error));
    add_samples(logbook, step[1], 0, 2);
    must(logbook_checkpoint_step(logbook, step[1], &some, "x", DAY_ONE + 1, &error));
    must(logbook_stop_open_steps(logbook, run, DAY_ONE + 9, &error));
    must(logbook_stop_open_steps(logbook, run, DAY_ONE + 10, &error)); /* nothing is left to do */
    refused(ERROR_INTERNAL, logbook_add_samples(logbook, step[1], 2, &sample, 1, &error));
    must(logbook_commit(logbook, &error));
    ask_text(logbook,
             "SELECT group_concat(step || ' ' || (ended_at - 1772438400000000) || ' ' || samples ||"
             " ' ' || coalesce(charge, 'none') || ' ' || coalesce(ended_by, 'none') || ' ' ||"
             " coalesce(quality, 'none'), '; ') FROM outcome",
             "1 0 0 none none none; 2 9 2 3600.0 stopped void; 3 9 0 none stopped void");
    expect_open(logbook, other, 1, step[3], NULL, 0);
    close_sound(logbook);
}

static json_t *listed(struct logbook *logbook, enum listing listing,
                      const struct listing_filter *filter, size_t want)
{
    json_t *rows = NULL;
    must(logbook_list(logbook, listing, filter, &rows, &error));
    assert_int_equal(json_array_size(rows), want);
    return rows;
}

static double number(const json_t *rows, size_t row, const char *key)
{
    return json_number_value(json_object_get(json_array_get(rows, row), key));
}

/* One row for each open run that is in a step, with the sample that came last, wherever it is. */
static void test_the_steps_that_open_runs_are_in(void **state)
{
    struct logbook *logbook = memory_logbook();
    struct sample late = {.t_us = 99, .voltage = 1.25, .current = -0.5, .temperature = NAN};
    int64_t run, over, none, step;
    bool more = true;
    json_t *rows;

    (void)state;
    must(logbook_begin(logbook, &error));
    run = add_run(logbook, 0);
    over = add_run(logbook, 0);
    none = add_run(logbook, 0);
    must(logbook_end_step(logbook, add_step(logbook, run, 1), &no_sums, DAY_ONE, &error));
    must(logbook_end_step(logbook, add_step(logbook, none, 1), &no_sums, DAY_ONE, &error));
    add_step(logbook, over, 1);
    must(logbook_set_run_state(logbook, over, RUN_STOPPED, DAY_ONE, NULL, &error));
    step = add_step(logbook, run, 2);
    must(logbook_commit(logbook, &error));
    rows = listed(logbook, LIST_STEPS_NOW, NULL, 1);
    assert_int_equal(number(rows, 0, "step"), step);
    assert_true(json_is_null(json_object_get(json_array_get(rows, 0), "voltage_V")));
    json_decref(rows);

    for (int k = 0; k < 2; k++) { /* staged behind what was staged; then behind what was moved */
        must(logbook_begin(logbook, &error));
        if (k == 0)
            add_samples(logbook, step, 0, 600);
        must(logbook_add_samples(logbook, step, 600 + k, &late, 1, &error));
        must(logbook_checkpoint_step(logbook, step, &some, "x", DAY_ONE + 5, &error));
        must(logbook_commit(logbook, &error));
        rows = listed(logbook, LIST_STEPS_NOW, &(struct listing_filter){.run = run}, 1);
        assert_true(fabs(number(rows, 0, "voltage_V") - late.voltage) < 1e-9);
        assert_true(fabs(number(rows, 0, "current_A") - late.current) < 1e-9);
        assert_true(json_is_null(json_object_get(json_array_get(rows, 0), "temperature_degC")));
        assert_true(fabs(number(rows, 0, "charge_Ah") - 1) < 1e-9); /* 3,600 A.s */
        json_decref(rows);
        late.voltage = 1.3;
        while (more)
            must(logbook_move_samples(logbook, &more, &error));
    }
    must(logbook_begin(logbook, &error));
    must(logbook_end_step(logbook, step, &some, DAY_ONE + 6, &error));
    must(logbook_commit(logbook, &error));
    json_decref(listed(logbook, LIST_STEPS_NOW, NULL, 0));
    close_sound(logbook);
}

static void test_what_is_new_is_listed_after_a_mark(void **state)
{
    struct logbook *logbook = memory_logbook();
    struct logbook_marks marks;
    int64_t run, step;

    (void)state;
    must(logbook_marks(logbook, &marks, &error));
    assert_int_equal(marks.run + marks.step + marks.event, 0);
    must(logbook_begin(logbook, &error));
    run = add_run(logbook, 0);
    add_step(logbook, run, 1);
    must(logbook_add_event(logbook, DAY_ONE, run, 0, "info", "before", &error));
    must(logbook_commit(logbook, &error));
    must(logbook_marks(logbook, &marks, &error));
    must(logbook_begin(logbook, &error));
    step = add_step(logbook, run, 2);
    must(logbook_add_event(logbook, DAY_ONE, run, 0, "info", "after", &error));
    must(logbook_commit(logbook, &error));

    json_decref(listed(logbook, LIST_RUNS, &(struct listing_filter){.after = marks.run}, 0));
    json_decref(listed(logbook, LIST_RUNS, &(struct listing_filter){.after = marks.run - 1}, 1));
    json_t *rows = listed(logbook, LIST_STEPS, &(struct listing_filter){.after = marks.step}, 1);
    assert_int_equal(number(rows, 0, "step"), step);
    json_decref(rows);
    rows = listed(logbook, LIST_EVENTS, &(struct listing_filter){.after = marks.event}, 1);
    assert_string_equal(json_string_value(json_object_get(json_array_get(rows, 0), "text")),
                        "after");
    json_decref(rows);
    json_decref(listed(logbook, LIST_STEPS, NULL, 2));
    close_sound(logbook);
}

static void test_gaps(void **state)
{
    struct logbook *logbook = memory_logbook();
    int64_t step;

    (void)state;
    must(logbook_begin(logbook, &error));
    step = add_step(logbook, add_run(logbook, 0), 1);
    must(logbook_add_gap(logbook, step, DAY_ONE + 10, DAY_ONE + 20, "restart", &error));
    must(logbook_add_gap(logbook, step, DAY_ONE + 10, DAY_ONE + 50, "restart", &error));
    must(logbook_add_gap(logbook, step, DAY_ONE + 10, DAY_ONE + 50, "restart", &error));
    refused(ERROR_INTERNAL, logbook_add_gap(logbook, 99, DAY_ONE, DAY_ONE + 1, "x", &error));
    must(logbook_commit(logbook, &error));
    assert_int_equal(ask(logbook, "SELECT count(*) FROM gap"), 2);
    close_sound(logbook);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_step_is_taken_up_and_ended),
        cmocka_unit_test(test_outcomes_in_bench_units),
        cmocka_unit_test(test_the_latest_open_step_counts),
        cmocka_unit_test(test_open_steps_of_a_run_are_stopped),
        cmocka_unit_test(test_the_steps_that_open_runs_are_in),
        cmocka_unit_test(test_what_is_new_is_listed_after_a_mark),
        cmocka_unit_test(test_gaps),
    };

    return cmocka_run_group_tests_name("steps", tests, NULL, NULL);
}
