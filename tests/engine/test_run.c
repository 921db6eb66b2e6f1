/* A run's life: begun, journaled, paused, stopped, killed and taken up, failed, asked. */
#include "engine/rig.h"

static void a_run_does_what_its_script_asks_for(void **state)
{
    (void)state;
    struct rig rig;
    rig_open(&rig, 1);
    rig_queue(&rig, "crdRnw", "A");
    rig_work(&rig);
    rig_state(&rig, 1, RUN_DONE);

    json_t *steps = rig_rows(&rig, LIST_STEPS, 1);
    assert_int_equal(json_array_size(steps), 3);
    assert_near(rig_number(steps, 0, "charge_Ah"), 600 / 3600.0, 1e-9);
    assert_near(rig_number(steps, 2, "charge_Ah"), 300 / 3600.0, 1e-9);
    assert_near(rig_number(steps, 0, "last_voltage_V"), 1.25 + 0.05, 1e-9);
    assert_near(rig_number(steps, 2, "last_voltage_V"), 1.25 - 0.05, 1e-9);
    json_decref(steps);

    json_t *journal = rig_rows(&rig, LIST_JOURNAL, 1);
    assert_int_equal(json_array_size(journal), 6);
    json_decref(journal);
    json_t *results = rig_rows(&rig, LIST_RESULTS, 1);
    assert_int_equal(json_array_size(results), 1);
    assert_near(rig_number(results, 0, "value"), 1.5, 0);
    json_decref(results);
    assert_near((double)clock_bench(&rig.clock) / 1e6, 600 + 60 + 300 + 3600, 1e-9);
    rig_close(&rig);
}

/* Invariant 1 of run_step.c's promise: the charge is that of the time energised, wherever it is
 * cut. */
static void a_kill_at_any_second_loses_no_fact_and_counts_no_charge_twice(void **state)
{
    (void)state;
    for (int second = 1; second < 1000; second += 37) {
        struct rig rig;
        rig_open(&rig, 1);
        rig_queue(&rig, "crdR", "A");
        rig_engine(&rig);
        rig_until(&rig, second / 2.0);
        assert_true(engine_commit(rig.engine));
        rig_until(&rig, second);
        rig_kill(&rig);
        rig_work(&rig);
        rig_state(&rig, 1, RUN_DONE);

        json_t *steps = rig_rows(&rig, LIST_STEPS, 1);
        assert_int_equal(json_array_size(steps), 3);
        /* Ends by time count the time that was watched: exact, gap or none. */
        assert_near(rig_number(steps, 0, "charge_Ah"), 600 / 3600.0, 1e-9);
        assert_near(rig_number(steps, 2, "charge_Ah"), 300 / 3600.0, 1e-9);
        json_t *journal = rig_rows(&rig, LIST_JOURNAL, 1);
        assert_int_equal(json_array_size(journal), 4);
        json_decref(journal);
        json_decref(steps);
        rig_close(&rig);
    }
}

static void an_interrupted_step_says_so(void **state)
{
    (void)state;
    struct rig rig;
    rig_open(&rig, 1);
    rig_queue(&rig, "cR", "A");
    rig_engine(&rig);
    rig_until(&rig, 100);
    assert_true(engine_commit(rig.engine));
    rig_until(&rig, 130);
    rig_kill(&rig);
    rig_work(&rig);

    json_t *steps = rig_rows(&rig, LIST_STEPS, 1);
    assert_string_equal(rig_text(steps, 0, "quality"), "gap");
    assert_int_equal(rig_number(steps, 0, "gaps"), 1);
    json_t *gaps = NULL;
    struct listing_filter filter = {.step = (int64_t)rig_number(steps, 0, "step")};
    assert_int_equal(logbook_list(rig.logbook, LIST_GAPS, &filter, &gaps, &rig.error), 0);
    assert_int_equal(json_array_size(gaps), 1);
    double from = rig_number(gaps, 0, "from_s"), to = rig_number(gaps, 0, "to_s");
    assert_true(from <= 100 && from > 0);
    assert_near(to, 130, 1e-9);
    json_t *results = rig_rows(&rig, LIST_RESULTS, 1);
    assert_string_equal(rig_text(results, 0, "flags"), "gap");
    json_decref(results);
    json_decref(gaps);
    json_decref(steps);
    rig_close(&rig);
}

static void a_rest_goes_on_while_nobody_looks(void **state)
{
    (void)state;
    struct rig rig;
    rig_open(&rig, 1);
    rig_queue(&rig, "r", "A");
    rig_engine(&rig);
    rig_until(&rig, 10);
    assert_true(engine_commit(rig.engine));
    rig_kill(&rig);
    clock_advance(&rig.clock, 200 * US_PER_S); /* long past its end */
    rig_work(&rig);
    rig_state(&rig, 1, RUN_DONE);
    assert_int_equal(clock_bench(&rig.clock), 200 * US_PER_S);
    rig_close(&rig);
}

static void a_replay_hears_the_same_words(void **state)
{
    (void)state;
    struct rig rig;
    rig_open(&rig, 1);
    rig_queue(&rig, "crRw", "A");
    rig_engine(&rig);
    rig_until(&rig, 700); /* waits now */
    assert_true(engine_commit(rig.engine));
    char first[sizeof heard];
    string_copy(first, sizeof first, heard);
    rig_kill(&rig);
    heard[0] = '\0';
    rig_engine(&rig);
    rig_until(&rig, 710);
    assert_string_equal(heard, first);
    rig_work(&rig);
    rig_state(&rig, 1, RUN_DONE);
    assert_near((double)clock_bench(&rig.clock) / 1e6, 600 + 60 + 3600, 1e-9);
    rig_close(&rig);
}

static void an_edited_text_is_noticed_and_nothing_is_driven(void **state)
{
    (void)state;
    struct rig rig;
    rig_open(&rig, 1);
    rig_queue(&rig, "crw", "A");
    rig_engine(&rig);
    rig_until(&rig, 700);
    assert_true(engine_commit(rig.engine));
    rig_kill(&rig);

    char hash[SHA256_HEX];
    assert_int_equal(logbook_begin(rig.logbook, &rig.error), 0);
    logbook_add_script(rig.logbook, "letters", "cdw", 3, hash, &rig.error);
    logbook_set_run_script(rig.logbook, 1, hash, &rig.error);
    assert_int_equal(logbook_commit(rig.logbook, &rig.error), 0);
    rig_engine(&rig);
    rig_until(&rig, 710);
    rig_state(&rig, 1, RUN_ATTENTION);
    struct run_record record = {0};
    logbook_run(rig.logbook, 1, &record, &rig.error);
    assert_non_null(strstr(record.why, "rest"));
    assert_non_null(strstr(record.why, "discharge"));
    run_record_free(&record);
    assert_int_equal(engine_count(rig.engine).energised, 0);

    /* Sticky: another engine finds it so, and only an explicit act moves it. */
    rig_kill(&rig);
    rig_engine(&rig);
    rig_until(&rig, 720);
    rig_state(&rig, 1, RUN_ATTENTION);
    rig_act(&rig,
            json_pack("{s:s, s:I, s:s, s:s, s:{}}", "act", "adopt", "run", (json_int_t)1, "name",
                      "letters", "text", "ddw", "modules"),
            ERROR_FAILED);
    rig_act(&rig,
            json_pack("{s:s, s:I, s:s, s:s, s:{}}", "act", "adopt", "run", (json_int_t)1, "name",
                      "letters", "text", "crwd", "modules"),
            0);
    rig_act_on(&rig, "resume", 1, 0);
    rig_work(&rig);
    rig_state(&rig, 1, RUN_DONE);
    json_t *steps = rig_rows(&rig, LIST_STEPS, 1);
    assert_int_equal(json_array_size(steps), 3);
    json_decref(steps);
    rig_close(&rig);
}

static void pause_makes_safe_and_resume_goes_on(void **state)
{
    (void)state;
    struct rig rig;
    rig_open(&rig, 1);
    rig_queue(&rig, "c", "A");
    rig_engine(&rig);
    rig_until(&rig, 200);
    struct cell_facts facts;
    facts_of_cell(rig.logbook, "A", &facts, &rig.error);
    struct simcell *cell = world_cell(rig.world, &facts, NULL, RIG_START, &rig.error);
    assert_int_equal(cell->drive.mode, DRIVE_CURRENT);
    rig_act_on(&rig, "pause", 1, 0);
    assert_int_equal(cell->drive.mode, DRIVE_OFF);
    rig_state(&rig, 1, RUN_PAUSED);
    double before = cell->charge;

    /* Its cell keeps its channel meanwhile. */
    rig_queue(&rig, "c", "B");
    rig_until(&rig, 1000);
    rig_state(&rig, 2, RUN_QUEUED);
    rig_act_on(&rig, "pause", 1, ERROR_FAILED);
    rig_act_on(&rig, "resume", 1, 0);
    rig_work(&rig);
    rig_state(&rig, 1, RUN_DONE);
    rig_state(&rig, 2, RUN_DONE);
    json_t *steps = rig_rows(&rig, LIST_STEPS, 1);
    assert_near(rig_number(steps, 0, "charge_Ah"), 600 / 3600.0, 1e-9);
    assert_string_equal(rig_text(steps, 0, "quality"), "gap");
    json_decref(steps);
    /* What went into the cell is what the record says: 200 s before the pause, 400 s after. */
    assert_near(cell->charge - before, 400, 1e-6);
    rig_close(&rig);
}

static void stop_ends_a_run_and_frees_its_cell(void **state)
{
    (void)state;
    struct rig rig;
    rig_open(&rig, 1);
    rig_queue(&rig, "cccc", "A");
    rig_engine(&rig);
    rig_until(&rig, 200);
    rig_act_on(&rig, "stop", 1, 0);
    rig_until(&rig, 201);
    rig_state(&rig, 1, RUN_STOPPED);
    assert_true(engine_commit(rig.engine));
    rig_act_on(&rig, "stop", 1, ERROR_FAILED);
    rig_queue(&rig, "r", "A");
    rig_work(&rig);
    rig_state(&rig, 2, RUN_DONE);
    json_t *steps = rig_rows(&rig, LIST_STEPS, 1);
    assert_string_equal(rig_text(steps, 0, "ended_by"), "stopped");
    json_decref(steps);
    rig_close(&rig);
}

static void the_same_acts_work_with_no_engine(void **state)
{
    (void)state;
    struct rig rig;
    rig_open(&rig, 1);
    rig_queue(&rig, "ccc", "A");
    rig_queue(&rig, "ccc", "B");
    rig_engine(&rig);
    rig_until(&rig, 100);
    assert_true(engine_commit(rig.engine));
    rig_kill(&rig);
    rig_act_on(&rig, "pause", 1, 0);
    rig_act_on(&rig, "stop", 2, 0);
    rig_state(&rig, 1, RUN_PAUSED);
    rig_state(&rig, 2, RUN_STOPPED);
    rig_act_on(&rig, "resume", 1, 0);
    rig_work(&rig);
    rig_state(&rig, 1, RUN_DONE);
    rig_close(&rig);
}

static void a_failing_script_fails_alone(void **state)
{
    (void)state;
    struct rig rig;
    rig_open(&rig, 2);
    rig_queue(&rig, "cF", "A");
    rig_queue(&rig, "ccd", "B");
    rig_work(&rig);
    rig_state(&rig, 1, RUN_FAILED);
    rig_state(&rig, 2, RUN_DONE);
    struct run_record record = {0};
    logbook_run(rig.logbook, 1, &record, &rig.error);
    assert_non_null(strstr(record.why, "letters:1: it failed"));
    run_record_free(&record);
    rig_close(&rig);
}

static void a_step_without_an_end_never_reaches_the_channel(void **state)
{
    (void)state;
    struct rig rig;
    rig_open(&rig, 1);
    rig_queue(&rig, "B", "A");
    rig_work(&rig);
    assert_non_null(strstr(heard, "\"error\""));
    json_t *steps = rig_rows(&rig, LIST_STEPS, 1);
    assert_int_equal(json_array_size(steps), 0);
    json_decref(steps);
    rig_close(&rig);
}

static void a_question_waits_for_its_answer_over_a_kill(void **state)
{
    (void)state;
    struct rig rig;
    rig_open(&rig, 1);
    rig_queue(&rig, "qR", "A");
    rig_engine(&rig);
    rig_until(&rig, 10);
    assert_int_equal(engine_count(rig.engine).waiting_answer, 1);
    assert_true(engine_commit(rig.engine));
    rig_kill(&rig);
    rig_engine(&rig);
    rig_until(&rig, 20);
    json_t *questions = rig_rows(&rig, LIST_QUESTIONS, 1);
    assert_int_equal(json_array_size(questions), 1);
    json_decref(questions);
    rig_act(&rig,
            json_pack("{s:s, s:I, s:s, s:s}", "act", "answer", "question", (json_int_t)1, "answer",
                      "42", "who", "Ada"),
            0);
    rig_work(&rig);
    rig_state(&rig, 1, RUN_DONE);
    assert_non_null(strstr(heard, "20 42"));
    rig_close(&rig);
}

static void a_restart_begins_a_fresh_segment(void **state)
{
    (void)state;
    struct rig rig;
    rig_open(&rig, 1);
    rig_queue(&rig, "cXrd", "A");
    rig_engine(&rig);
    rig_until(&rig, 700);
    assert_true(engine_commit(rig.engine));
    rig_kill(&rig);
    rig_work(&rig);
    rig_state(&rig, 1, RUN_DONE);
    struct run_record record = {0};
    logbook_run(rig.logbook, 1, &record, &rig.error);
    assert_int_equal(record.segment, 1);
    assert_int_equal(record.segment_at - RIG_START, 600 * US_PER_S);
    run_record_free(&record);
    json_t *steps = rig_rows(&rig, LIST_STEPS, 1);
    assert_int_equal(json_array_size(steps), 3);
    json_decref(steps);
    rig_close(&rig);
}

static void a_gap_longer_than_the_bench_allows_voids_the_run(void **state)
{
    (void)state;
    struct rig rig;
    rig_open(&rig, 1);
    rig.bench.channels[0]->void_after = 3600;
    rig_queue(&rig, "cc", "A");
    rig_engine(&rig);
    rig_until(&rig, 100);
    assert_true(engine_commit(rig.engine));
    rig_kill(&rig);
    clock_advance(&rig.clock, 2 * 3600 * US_PER_S);
    rig_work(&rig);
    rig_state(&rig, 1, RUN_FAILED);
    json_t *steps = rig_rows(&rig, LIST_STEPS, 1);
    assert_int_equal(json_array_size(steps), 1);
    json_decref(steps);
    rig_close(&rig);
}

/* A step that ends at once hands over to the next at once, whatever else is due when. */
static void no_time_passes_between_steps(void **state)
{
    (void)state;
    struct rig rig;
    rig_open(&rig, 2);
    rig_queue(&rig, "rededed", "A");
    rig_queue(&rig, "rrrrrrrrrw", "B");
    rig_work(&rig);
    json_t *runs = rig_rows(&rig, LIST_RUNS, 1);
    assert_null(strstr(heard, "error"));
    assert_string_equal(rig_text(runs, 0, "ended_at"), "2026-03-02T00:16:00Z");
    json_decref(runs);
    rig_close(&rig);
}

static void more_runs_than_channels_take_turns(void **state)
{
    (void)state;
    struct rig rig;
    rig_open(&rig, 1);
    rig_queue(&rig, "c", "A");
    rig_queue(&rig, "c", "B");
    rig_queue(&rig, "c", "C");
    rig_work(&rig);
    for (int run = 1; run <= 3; run++)
        rig_state(&rig, run, RUN_DONE);
    assert_near((double)clock_bench(&rig.clock) / 1e6, 3 * 600, 1e-9);
    rig_close(&rig);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_run_does_what_its_script_asks_for),
        cmocka_unit_test(a_kill_at_any_second_loses_no_fact_and_counts_no_charge_twice),
        cmocka_unit_test(an_interrupted_step_says_so),
        cmocka_unit_test(a_rest_goes_on_while_nobody_looks),
        cmocka_unit_test(a_replay_hears_the_same_words),
        cmocka_unit_test(an_edited_text_is_noticed_and_nothing_is_driven),
        cmocka_unit_test(pause_makes_safe_and_resume_goes_on),
        cmocka_unit_test(stop_ends_a_run_and_frees_its_cell),
        cmocka_unit_test(the_same_acts_work_with_no_engine),
        cmocka_unit_test(a_failing_script_fails_alone),
        cmocka_unit_test(a_step_without_an_end_never_reaches_the_channel),
        cmocka_unit_test(a_question_waits_for_its_answer_over_a_kill),
        cmocka_unit_test(a_restart_begins_a_fresh_segment),
        cmocka_unit_test(a_gap_longer_than_the_bench_allows_voids_the_run),
        cmocka_unit_test(no_time_passes_between_steps),
        cmocka_unit_test(more_runs_than_channels_take_turns),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
