/* Runs that an earlier engine left: their cells are still in their channels, and their steps
 * open. */
#include "engine/audit.h"
#include "engine/rig.h"

static void resumed_it_comes_before_a_new_one(void **state)
{
    (void)state;
    struct rig rig;
    rig_open(&rig, 1);
    rig_queue(&rig, "cc", "A");
    rig_engine(&rig);
    rig_until(&rig, 100);
    rig_queue(&rig, "c", "B");
    rig_act_on(&rig, "pause", 1, 0);
    rig_act_on(&rig, "resume", 1, 0);
    rig_until(&rig, 200);
    rig_state(&rig, 1, RUN_RUNNING);
    rig_state(&rig, 2, RUN_QUEUED);
    assert_int_equal(engine_find(rig.engine, 1)->phase, LIVE_STEPPING);
    rig_work(&rig);
    rig_close(&rig);
}

/* The new one was queued first, and paused until the other was at work. */
static void after_a_kill_it_comes_before_a_new_one(void **state)
{
    (void)state;
    struct rig rig;
    rig_open(&rig, 1);
    rig_queue(&rig, "c", "A");
    rig_act_on(&rig, "pause", 1, 0);
    rig_queue(&rig, "cc", "B");
    rig_engine(&rig);
    rig_until(&rig, 100);
    rig_state(&rig, 2, RUN_RUNNING);
    rig_act_on(&rig, "resume", 1, 0);
    assert_true(engine_commit(rig.engine));
    rig_kill(&rig);
    rig_engine(&rig);
    rig_until(&rig, 200);
    rig_state(&rig, 1, RUN_QUEUED);
    assert_int_equal(engine_find(rig.engine, 2)->phase, LIVE_STEPPING);
    rig_work(&rig);
    rig_close(&rig);
}

static void expect_stopped(struct rig *rig)
{
    struct audit found = {0};
    json_t *steps = rig_rows(rig, LIST_STEPS, 1);
    assert_int_equal(json_array_size(steps), 1);
    assert_string_equal(rig_text(steps, 0, "ended_by"), "stopped");
    assert_string_equal(rig_text(steps, 0, "quality"), "void");
    json_decref(steps);
    assert_int_equal(audit(rig->logbook, &letters, &found, &rig->error), 0);
    if (json_array_size(found.findings))
        print_error("%s\n", json_string_value(json_array_get(found.findings, 0)));
    assert_int_equal(json_array_size(found.findings), 0);
    json_decref(found.findings);
}

/* Paused in its step, then killed; taken up by an engine that leaves it parked. */
static void begin_parked(struct rig *rig)
{
    rig_open(rig, 1);
    rig_queue(rig, "c", "A");
    rig_engine(rig);
    rig_until(rig, 100);
    rig_act_on(rig, "pause", 1, 0);
    assert_true(engine_commit(rig->engine));
    rig_kill(rig);
    rig_engine(rig);
    rig_until(rig, 110);
}

/* Stopped before anybody took its step up again. */
static void stopped_while_parked_its_step_ends(void **state)
{
    (void)state;
    struct rig rig;
    begin_parked(&rig);
    rig_act_on(&rig, "stop", 1, 0);
    assert_true(engine_commit(rig.engine));
    rig_state(&rig, 1, RUN_STOPPED);
    expect_stopped(&rig);
    rig_close(&rig);
}

/* What its channel has to say is put on record, though nothing has begun anew. */
static void parked_its_channel_is_heard(void **state)
{
    (void)state;
    struct rig rig;
    begin_parked(&rig);
    struct channel *channel = rig.bench.channels[0];
    assert_non_null(channel->warn);
    channel->warn(channel->owner, "its relay was opened");
    assert_true(engine_commit(rig.engine));
    json_t *events = rig_rows(&rig, LIST_EVENTS, 1);
    const char *last = rig_text(events, json_array_size(events) - 1, "text");
    assert_string_equal(last, "channel S1: its relay was opened");
    json_decref(events);
    rig_close(&rig);
}

/* The sums of the last checkpoint go on past the last row: the record is sound all the same. */
static void stopped_with_no_engine_its_record_is_sound(void **state)
{
    (void)state;
    struct rig rig;
    rig_open(&rig, 1);
    rig_queue(&rig, "c", "A");
    rig_engine(&rig);
    rig_until(&rig, 100);
    assert_true(engine_commit(rig.engine));
    rig_kill(&rig);
    rig_act_on(&rig, "stop", 1, 0);
    rig_state(&rig, 1, RUN_STOPPED);
    json_t *steps = rig_rows(&rig, LIST_STEPS, 1);
    assert_true(rig_number(steps, 0, "charge_Ah") > 0);
    json_decref(steps);
    expect_stopped(&rig);
    rig_close(&rig);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(resumed_it_comes_before_a_new_one),
        cmocka_unit_test(after_a_kill_it_comes_before_a_new_one),
        cmocka_unit_test(stopped_while_parked_its_step_ends),
        cmocka_unit_test(parked_its_channel_is_heard),
        cmocka_unit_test(stopped_with_no_engine_its_record_is_sound),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
