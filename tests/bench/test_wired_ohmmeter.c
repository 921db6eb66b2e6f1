/* The ohmmeter of a channel: asked when a resistance is wanted and nothing is driven, through its
 * own relay, and believed only where it tells what a cell may have. */
#include "wired_rig.h"

static int times_said(const struct place *place, const char *words)
{
    int count = 0;
    for (const char *at = place->wires.record; (at = strstr(at, words)) != NULL; at++)
        count++;
    return count;
}

static void test_asked_when_wanted(void **state)
{
    (void)state;
    struct place place;
    struct told told;
    open_place(&place, WITH_METER | WITH_OHMMETER, &told);
    assert_true(place.channel->measures_resistance);
    reads(&place, &told);
    assert_true(isnan(told.reading.resistance));
    assert_int_equal(times_said(&place, "O:"), 0);

    place.channel->asks_resistance = true;
    reads(&place, &told);
    wires_run(&place.wires, 0.01);
    assert_true(told.reading.resistance == 0.0234 && told.reading.voltage == 1.31);
    assert_non_null(strstr(place.wires.record, "Q:CLOSE 5 "));
    assert_int_equal(times_said(&place, "O:R? "), 1);
    assert_false(place.ohmmeter_board->closed[5]);

    /* Not while something is driven, whoever wants it; and again once all is off. */
    drives(&place, &told, 0.5);
    reads(&place, &told);
    assert_true(isnan(told.reading.resistance));
    assert_int_equal(times_said(&place, "O:R? "), 1);
    makes_safe(&place, &told);
    reads(&place, &told);
    assert_true(told.reading.resistance == 0.0234);
    leave(&place);
}

/* Two cells at one ohmmeter would be joined to each other: leave() looks that they never are. */
static void test_in_turn(void **state)
{
    (void)state;
    struct place place;
    struct told told, other = {0};
    struct reading reading;
    open_place(&place, WITH_METER | WITH_OHMMETER, &told);
    struct channel *second = place.bench.channels[1];
    second->notify = notify;
    second->owner = &other;
    place.channel->asks_resistance = second->asks_resistance = true;
    for (int i = 1; i <= 5; i++) {
        assert_int_equal(place.channel->ops->read(place.channel, &reading, NULL), CHANNEL_LATER);
        assert_int_equal(second->ops->read(second, &reading, NULL), CHANNEL_LATER);
        until(&place, &told.readings, i);
        until(&place, &other.readings, i);
        assert_true(told.reading.resistance == 0.0234 && other.reading.resistance == 0.0234);
    }
    /* Made safe in the middle: it gives up its turn, and the other goes on. */
    assert_int_equal(place.channel->ops->read(place.channel, &reading, NULL), CHANNEL_LATER);
    assert_int_equal(second->ops->read(second, &reading, NULL), CHANNEL_LATER);
    makes_safe(&place, &told);
    until(&place, &other.readings, 6);
    assert_int_equal(told.readings, 5);
    wires_run(&place.wires, 0.01);
    assert_false(place.ohmmeter_board->closed[5] || place.ohmmeter_board->closed[6]);
    leave(&place);
}

static void test_not_a_cell(void **state)
{
    (void)state;
    static const double ohms[] = {23.4 /* milliohm, told as ohm */, 0.00002, 0, -0.01};
    struct place place;
    struct told told;
    struct reading reading;
    open_place(&place, WITH_METER | WITH_OHMMETER, &told);
    place.channel->asks_resistance = true;
    for (int i = 0; i < 4; i++) {
        place.ohmmeter->ohms = ohms[i];
        assert_int_equal(place.channel->ops->read(place.channel, &reading, NULL), CHANNEL_LATER);
        until(&place, &told.failures, i + 1);
        assert_string_equal(told.failure.what, "O");
        assert_non_null(strstr(told.failure.why, "no internal resistance of a cell"));
    }
    place.ohmmeter->ohms = 0.0301;
    reads(&place, &told);
    assert_true(told.reading.resistance == 0.0301);
    /* It does not answer: the reading fails, and its relay opens. */
    place.ohmmeter->silent_on = "R?";
    place.ohmmeter->silences = 1;
    assert_int_equal(place.channel->ops->read(place.channel, &reading, NULL), CHANNEL_LATER);
    until(&place, &told.failures, 5);
    wires_run(&place.wires, 0.3);
    assert_false(place.ohmmeter_board->closed[5]);
    reads(&place, &told);
    leave(&place);
}

/* One instrument for both: one look, and no second one for the resistance. */
static void test_meter_is_ohmmeter(void **state)
{
    (void)state;
    struct place place;
    struct told told;
    open_place(&place, WITH_SCANNER | METER_IS_OHMMETER, &told);
    reads(&place, &told);
    assert_true(isnan(told.reading.resistance));
    place.channel->asks_resistance = true;
    wires_run(&place.wires, 0.01);
    wires_forget(&place.wires);
    reads(&place, &told);
    wires_run(&place.wires, 0.01);
    assert_true(told.reading.resistance == 0.0234 && told.reading.voltage == 1.31);
    assert_string_equal(place.wires.record, "R:CLOSE 3 M:V? M:R? R:OPEN 3 ");
    leave(&place);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_asked_when_wanted),
        cmocka_unit_test(test_in_turn),
        cmocka_unit_test(test_not_a_cell),
        cmocka_unit_test(test_meter_is_ohmmeter),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
