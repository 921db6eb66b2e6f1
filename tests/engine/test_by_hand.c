/* A run on a channel worked by hand: asked, typed, on record, over a kill. */
#include "engine/rig.h"

#include "bench/by_hand.h"

static void open_by_hand(struct rig *rig)
{
    rig_open(rig, 0);
    struct channel *channel = by_hand_channel("H1", "slot 1 of the charger");
    channel->placed = true; /* test_cell.c is about putting cells in */
    bench_add(&rig->bench, channel, &rig->error);
}

static void say(struct rig *rig, int64_t question, const char *typed, enum error_code expected)
{
    rig_act(rig,
            json_pack("{s:s, s:I, s:s, s:s}", "act", "answer", "question", (json_int_t)question,
                      "answer", typed, "who", "Ada"),
            expected);
}

static void a_person_does_the_steps(void **state)
{
    (void)state;
    struct rig rig;
    open_by_hand(&rig);
    rig_queue(&rig, "crdR", "A");
    rig_engine(&rig);
    rig_until(&rig, 1);
    assert_int_equal(engine_count(rig.engine).waiting_answer, 1);
    json_t *questions = rig_rows(&rig, LIST_QUESTIONS, 0);
    const char *text = rig_text(questions, 0, "text");
    assert_non_null(strstr(text, "A in slot 1 of the charger: charge at 1 A; ends after 10 min"));
    json_decref(questions);

    /* Killed while it waits: the question stands, and is not asked twice. */
    assert_true(engine_commit(rig.engine));
    rig_kill(&rig);
    rig_engine(&rig);
    rig_until(&rig, 700);
    say(&rig, 1, "lots", ERROR_FAILED);
    say(&rig, 1, "166 mAh, 10 min", 0);
    rig_until(&rig, 701);
    assert_int_equal(engine_count(rig.engine).waiting_answer, 0); /* the rest needs nobody */
    rig_until(&rig, 1100);
    say(&rig, 2, "82 mAh, 100 mWh, 1.21 V", 0);
    rig_work(&rig);
    rig_state(&rig, 1, RUN_DONE);

    json_t *steps = rig_rows(&rig, LIST_STEPS, 1);
    assert_int_equal(json_array_size(steps), 3);
    assert_near(rig_number(steps, 0, "charge_Ah"), 0.166, 1e-9);
    assert_near(rig_number(steps, 0, "duration_h"), 10 / 60.0, 1e-9);
    assert_near(rig_number(steps, 2, "charge_Ah"), 0.082, 1e-9);
    assert_near(rig_number(steps, 2, "energy_Wh"), 0.1, 1e-9);
    assert_near(rig_number(steps, 2, "last_voltage_V"), 1.21, 1e-9);
    assert_near(rig_number(steps, 2, "mean_voltage_V"), 0.1 / 0.082, 1e-9);
    assert_string_equal(rig_text(steps, 2, "ended_by"), "person");
    json_decref(steps);
    json_t *results = rig_rows(&rig, LIST_RESULTS, 1);
    assert_string_equal(rig_text(results, 0, "how"), "by hand");
    json_decref(results);
    assert_non_null(strstr(heard, "\"charge\":0.082"));
    rig_close(&rig);
}

static void a_correction_stands_beside_what_it_corrects(void **state)
{
    (void)state;
    struct rig rig;
    open_by_hand(&rig);
    rig_queue(&rig, "c", "A");
    rig_engine(&rig);
    rig_until(&rig, 1);
    say(&rig, 1, "166 mAh", 0);
    say(&rig, 1, "165 mAh", 0);
    say(&rig, 9, "165 mAh", ERROR_FAILED);
    rig_work(&rig);
    json_t *questions = rig_rows(&rig, LIST_QUESTIONS, 1);
    assert_int_equal(rig_number(questions, 0, "answers"), 2);
    assert_string_equal(rig_text(questions, 0, "who"), "Ada");
    json_decref(questions);
    rig_close(&rig);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_person_does_the_steps),
        cmocka_unit_test(a_correction_stands_beside_what_it_corrects),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
