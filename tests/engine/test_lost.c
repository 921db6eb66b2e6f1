/* An instrument that stops answering in the middle of a step: the run waits and goes on with its
 * gap, unless it happens again and again, or nobody knows what the channel does meanwhile. */
#include "engine/rig.h"

/* What the channel is to fail at, in place of its own functions. */
static struct {
    const struct channel_ops *own;
    struct channel_ops ops;
    int reads; /* that fail, from now on */
    bool safe; /* fails too */
} faulty;

static enum channel_reply lose(const struct channel *channel, struct error *error)
{
    error_set(error, ERROR_LOST, channel->name, "look at it", "no answer in time");
    return CHANNEL_FAILED;
}

static enum channel_reply faulty_read(struct channel *channel, struct reading *out,
                                      struct error *error)
{
    if (faulty.reads == 0 || !error) /* without an error it is the last look before it is left */
        return faulty.own->read(channel, out, error);
    faulty.reads--;
    return lose(channel, error);
}

static enum channel_reply faulty_safe(struct channel *channel, struct error *error)
{
    enum channel_reply reply = faulty.own->make_safe(channel, error);
    return faulty.safe ? lose(channel, error) : reply;
}

static void begin(struct rig *rig, const char *text)
{
    rig_open(rig, 1);
    struct channel *channel = rig->bench.channels[0];
    faulty.own = channel->ops;
    faulty.ops = *channel->ops;
    faulty.ops.read = faulty_read;
    faulty.ops.make_safe = faulty_safe;
    faulty.reads = 0;
    faulty.safe = false;
    channel->ops = &faulty.ops;
    channel->tick_most = channel->rest_most = 1;
    rig_queue(rig, text, "A");
    rig_engine(rig);
    rig_until(rig, 100);
    rig_state(rig, 1, RUN_RUNNING);
}

static void why_is(struct rig *rig, const char *words)
{
    struct run_record record = {0};
    assert_true(engine_commit(rig->engine));
    assert_int_equal(logbook_run(rig->logbook, 1, &record, &rig->error), 0);
    if (!words)
        assert_null(record.why);
    else if (!record.why || !strstr(record.why, words))
        fail_msg("\"%s\" is not in \"%s\"", words, record.why ? record.why : "(nothing)");
    run_record_free(&record);
}

/* Once, as a warning: the log of an engine without a terminal has these. */
static void is_told(struct rig *rig, const char *begin, const char *end)
{
    json_t *events = rig_rows(rig, LIST_EVENTS, 1);
    int told = 0;
    for (size_t i = 0; i < json_array_size(events); i++) {
        const char *text = rig_text(events, i, "text");
        told += strncmp(text, begin, strlen(begin)) == 0 && strstr(text, end) &&
                strcmp(rig_text(events, i, "level"), "warning") == 0;
    }
    json_decref(events);
    assert_int_equal(told, 1);
}

static void it_goes_on_with_a_gap(void **state)
{
    (void)state;
    struct rig rig;
    begin(&rig, "d");
    faulty.reads = 1;
    rig_until(&rig, 101.5);
    assert_int_equal(engine_find(rig.engine, 1)->phase, LIVE_PARKED);
    rig_state(&rig, 1, RUN_RUNNING);
    why_is(&rig, "waits for S1: no answer in time");
    rig_until(&rig, 110);
    assert_int_equal(engine_find(rig.engine, 1)->phase, LIVE_STEPPING);
    why_is(&rig, NULL);
    rig_work(&rig);
    rig_state(&rig, 1, RUN_DONE);

    json_t *steps = rig_rows(&rig, LIST_STEPS, 1);
    assert_int_equal(json_array_size(steps), 1);
    assert_string_equal(rig_text(steps, 0, "ended_by"), "time");
    assert_string_not_equal(rig_text(steps, 0, "quality"), "good");
    /* 300 s at 1 A, of which a second, and up to one between two readings, nobody has seen */
    assert_in_range((int)(rig_number(steps, 0, "charge_Ah") * 3.6e6), 297000, 300000);
    json_decref(steps);
    is_told(&rig, "S1 answers again: run 1 goes on, ", " were not observed");
    rig_close(&rig);
}

static void again_and_again_it_fails(void **state)
{
    (void)state;
    struct rig rig;
    begin(&rig, "d");
    faulty.reads = 5;
    rig_until(&rig, 180); /* the fourth rest lasts until 100 + 1 + 4 + 16 + 64 s */
    rig_state(&rig, 1, RUN_RUNNING);
    rig_until(&rig, 190);
    rig_state(&rig, 1, RUN_FAILED);
    assert_int_equal(faulty.reads, 0);
    json_t *steps = rig_rows(&rig, LIST_STEPS, 1);
    assert_string_equal(rig_text(steps, 0, "ended_by"), "guard");
    json_decref(steps);
    rig_close(&rig);
}

/* Five losses and more, one every twenty minutes: not within an hour. */
static void now_and_then_is_forgiven(void **state)
{
    (void)state;
    struct rig rig;
    begin(&rig, "cdcdcdcdcdcd");
    for (int i = 1; i <= 3; i++) {
        faulty.reads = 1;
        rig_until(&rig, 100 + 1300.0 * i);
        assert_int_equal(faulty.reads, 0);
        assert_int_equal(engine_find(rig.engine, 1)->phase, LIVE_STEPPING);
    }
    rig_close(&rig);
}

static void not_seen_to_be_off_it_is_void(void **state)
{
    (void)state;
    struct rig rig;
    begin(&rig, "d");
    faulty.reads = 1;
    faulty.safe = true;
    rig_until(&rig, 102);
    rig_state(&rig, 1, RUN_FAILED);
    assert_null(engine_find(rig.engine, 1));
    rig_close(&rig);
}

/* What drives nothing need not be turned off. */
static void of_a_rest_it_does_not_matter(void **state)
{
    (void)state;
    struct rig rig;
    begin(&rig, "wr");
    rig_until(&rig, 3610);
    faulty.reads = 1;
    faulty.safe = true;
    rig_until(&rig, 3650);
    assert_int_equal(faulty.reads, 0);
    faulty.safe = false;
    rig_work(&rig);
    rig_state(&rig, 1, RUN_DONE);
    rig_close(&rig);
}

static void paused_meanwhile_it_stays_paused(void **state)
{
    (void)state;
    struct rig rig;
    begin(&rig, "d");
    faulty.reads = 1;
    rig_until(&rig, 101.5);
    rig_act_on(&rig, "pause", 1, 0);
    rig_until(&rig, 200);
    rig_state(&rig, 1, RUN_PAUSED);
    rig_act_on(&rig, "resume", 1, 0);
    rig_until(&rig, 210);
    assert_int_equal(engine_find(rig.engine, 1)->phase, LIVE_STEPPING);
    rig_work(&rig);
    rig_state(&rig, 1, RUN_DONE);
    rig_close(&rig);
}

static void stopped_meanwhile_it_ends(void **state)
{
    (void)state;
    struct rig rig;
    begin(&rig, "d");
    faulty.reads = 1;
    rig_until(&rig, 101.5);
    rig_act_on(&rig, "stop", 1, 0);
    rig_until(&rig, 101.5);
    rig_state(&rig, 1, RUN_STOPPED);
    rig_close(&rig);
}

/* Any other failure is no matter of waiting. */
static enum channel_reply refusing_read(struct channel *channel, struct reading *out,
                                        struct error *error)
{
    (void)out;
    error_set(error, ERROR_BENCH, channel->name, "see what is connected", "it reports overload");
    return CHANNEL_FAILED;
}

static void what_it_reports_ends_the_run(void **state)
{
    (void)state;
    struct rig rig;
    begin(&rig, "d");
    faulty.ops.read = refusing_read;
    rig_until(&rig, 102);
    rig_state(&rig, 1, RUN_FAILED);
    rig_close(&rig);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(it_goes_on_with_a_gap),
        cmocka_unit_test(again_and_again_it_fails),
        cmocka_unit_test(now_and_then_is_forgiven),
        cmocka_unit_test(not_seen_to_be_off_it_is_void),
        cmocka_unit_test(of_a_rest_it_does_not_matter),
        cmocka_unit_test(paused_meanwhile_it_stays_paused),
        cmocka_unit_test(stopped_meanwhile_it_ends),
        cmocka_unit_test(what_it_reports_ends_the_run),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
