/* Relays and scanners: joined after off, parted whatever happens, never two cells together. */
#include "wired_rig.h"

static void test_relay(void **state)
{
    (void)state;
    struct place place;
    struct told told;
    open_place(&place, WITH_RELAY, &told);
    drives(&place, &told, 1);
    wires_run(&place.wires, 0.005);
    wires_heard(&place.wires, "R:CLOSE 3 S:SET 1 S:ERR? S:ON S:ON? ");
    drives(&place, &told, -1);
    assert_null(strstr(place.wires.record, "R:CLOSE")); /* closed already, unless it was parted */
    makes_safe(&place, &told);
    wires_run(&place.wires, 0.005);
    assert_false(place.board->closed[3]);
    const char *off = strstr(place.wires.record, "L:OFF"),
               *open = strstr(place.wires.record, "R:OPEN");
    assert_true(off && open && off < open); /* never opened under current */
    leave(&place);
}

/* The output cannot be turned off: the relay parts the cell, and a warning says so. */
static void test_relay_saves(void **state)
{
    (void)state;
    struct place place;
    struct told told;
    open_place(&place, WITH_RELAY, &told);
    drives(&place, &told, 1);
    place.source->stuck = true;
    assert_int_equal(place.channel->ops->make_safe(place.channel, NULL), CHANNEL_LATER);
    until(&place, &told.answers, 2);
    wires_run(&place.wires, 0.005);
    assert_false(place.board->closed[3]);
    assert_int_equal(told.failures, 0);
    assert_int_equal(told.warnings, 1);
    assert_says(told.warning, "its relay was opened: S: it answered 1 to ON?");
    place.source->stuck = false;
    leave(&place);
}

/* An output that does not answer: the relay does not wait for three tries. */
static void test_relay_does_not_wait(void **state)
{
    (void)state;
    struct place place;
    struct told told;
    open_place(&place, WITH_RELAY, &told);
    drives(&place, &told, 1);
    place.source->silent_on = "ON?";
    place.source->silences = -1;
    place.source->stuck = true;
    assert_int_equal(place.channel->ops->make_safe(place.channel, NULL), CHANNEL_LATER);
    wires_run(&place.wires, 0.3);
    assert_true(place.board->closed[3]); /* it may yet be seen to be off */
    wires_run(&place.wires, 0.3);
    assert_false(place.board->closed[3]);
    until(&place, &told.answers, 2);
    assert_int_equal(told.failures, 0);
    assert_says(told.warning, "not turned off in time, its relay was opened");
    wires_run(&place.wires, 1.0); /* and nothing more is told when the tries are over */
    assert_int_equal(told.answers + told.failures + told.readings, 2);
    place.source->silences = 0;
    place.source->stuck = false;
    makes_safe(&place, &told);
    leave(&place);
}

/* Neither the output nor the relay answers: told, and not for ever on the way. */
static void test_nothing_answers(void **state)
{
    (void)state;
    struct place place;
    struct told told;
    open_place(&place, WITH_RELAY, &told);
    drives(&place, &told, 1);
    place.source->silent_on = "ON?";
    place.source->silences = -1;
    far_hang_up(place.board);
    uv_close((uv_handle_t *)&place.board->server, NULL);
    wires_until(&place.wires, wired_instrument(place.channel, 4), INSTRUMENT_DOWN);
    assert_int_equal(place.channel->ops->make_safe(place.channel, NULL), CHANNEL_LATER);
    until(&place, &told.failures, 1);
    assert_int_equal(told.answers, 1); /* of the drive */
    place.source->silences = 0;
    /* The output is seen to be off: that the relay is not open is told all the same. */
    assert_int_equal(place.channel->ops->make_safe(place.channel, NULL), CHANNEL_LATER);
    until(&place, &told.failures, 2);
    assert_string_equal(told.failure.what, "R");
    bench_close(&place.bench);
    for (int i = 0; i < place.wires.count; i++) {
        far_hang_up(&place.wires.far[i]);
        uv_close((uv_handle_t *)&place.wires.far[i].timer, NULL);
        if (&place.wires.far[i] != place.board)
            uv_close((uv_handle_t *)&place.wires.far[i].server, NULL);
    }
    loop_free(place.wires.loop);
}

static void test_scanner(void **state)
{
    (void)state;
    struct place place;
    struct told told, other = {0};
    struct reading reading;
    open_place(&place, WITH_SCANNER, &told);
    struct channel *second = place.bench.channels[1];
    second->notify = notify;
    second->owner = &other;
    for (int i = 1; i <= 5; i++) {
        assert_int_equal(place.channel->ops->read(place.channel, &reading, NULL), CHANNEL_LATER);
        assert_int_equal(second->ops->read(second, &reading, NULL), CHANNEL_LATER);
        assert_string_equal(instrument_name(wired_awaited(place.channel)), "R"); /* joining */
        assert_string_equal(instrument_name(wired_awaited(second)), "M"); /* not its turn yet */
        until(&place, &told.readings, i);
        until(&place, &other.readings, i);
    }
    wires_run(&place.wires, 0.01);
    assert_true(told.reading.voltage == 1.31 && other.reading.voltage == 1.31);
    assert_true(told.reading.at < other.reading.at);
    static const char first[] = "R:CLOSE 3 M:V? R:OPEN 3 R:CLOSE 4 M:V? R:OPEN 4 ";
    assert_memory_equal(place.wires.record, first, sizeof first - 1);

    /* A channel that is made safe in the middle gives up its turn; the other goes on. */
    wires_forget(&place.wires);
    assert_int_equal(place.channel->ops->read(place.channel, &reading, NULL), CHANNEL_LATER);
    assert_int_equal(second->ops->read(second, &reading, NULL), CHANNEL_LATER);
    makes_safe(&place, &told);
    until(&place, &other.readings, 6);
    assert_int_equal(told.readings, 5);
    wires_run(&place.wires, 0.01);
    assert_false(place.board->closed[3] || place.board->closed[4]);
    /* The board hangs up: both are told, and it comes back with all open. */
    place.board->hang_up_on = "CLOSE 3";
    assert_int_equal(place.channel->ops->read(place.channel, &reading, NULL), CHANNEL_LATER);
    assert_int_equal(second->ops->read(second, &reading, NULL), CHANNEL_LATER);
    for (int i = 0; i < 300 && (told.readings == 5 && told.failures == 0); i++)
        wires_run(&place.wires, 0.001);
    wires_run(&place.wires, 0.3);
    assert_int_equal(other.readings + other.failures, 7);
    assert_int_equal(told.readings - 5 + told.failures, 1);
    assert_int_equal(bench_reach(&place.bench, 3), 0);
    assert_false(place.board->closed[3] || place.board->closed[4]);
    leave(&place);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_relay),
        cmocka_unit_test(test_relay_saves),
        cmocka_unit_test(test_relay_does_not_wait),
        cmocka_unit_test(test_nothing_answers),
        cmocka_unit_test(test_scanner),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
