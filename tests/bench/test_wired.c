/* Channels of instruments: never two outputs on, readings put together, and safety first. */
#include "wired_rig.h"

/* --- driving --------------------------------------------------------------------------------- */

static void test_there_and_back(void **state)
{
    (void)state;
    struct place place;
    struct told told;
    open_place(&place, 0, &told);
    drives(&place, &told, 1);
    assert_true(place.source->on && place.source->amps == 1);
    wires_heard(&place.wires, "S:SET 1 S:ERR? S:ON S:ON? ");
    drives(&place, &told, 0.5); /* the same way: no hole */
    wires_heard(&place.wires, "S:SET 0.5 S:ERR? S:ON S:ON? ");
    drives(&place, &told, -2); /* the other way: through off */
    wires_heard(&place.wires, "S:OFF S:ON? L:SET 2 L:ERR? L:ON L:ON? ");
    assert_true(place.sink->on && !place.source->on);
    makes_safe(&place, &told);
    drives(&place, &told, 1);
    leave(&place);
}

/* One instrument for both ways goes through off as well. */
static void test_two_quadrants(void **state)
{
    (void)state;
    struct place place;
    struct told told;
    open_place(&place, WITH_BOTH, &told);
    drives(&place, &told, 1);
    reads(&place, &told);
    assert_true(told.reading.current == 1);
    wires_forget(&place.wires);
    drives(&place, &told, -2);
    wires_heard(&place.wires, "S:OFF S:ON? S:SET 2 S:ERR? S:ON S:ON? ");
    place.source->amps = -2; /* it tells its current with the sign */
    reads(&place, &told);
    assert_true(told.reading.current == -2);
    leave(&place);
}

/* An error in the queue: off at once, then told, with the instrument's name. */
static void test_drive_fails(void **state)
{
    (void)state;
    static const char *const silent[] = {NULL, "ERR?", "ON?"};
    for (size_t i = 0; i < sizeof silent / sizeof *silent; i++) {
        struct place place;
        struct told told;
        struct error error;
        open_place(&place, 0, &told);
        drives(&place, &told, 1);
        place.source->error = !silent[i];
        place.source->silent_on = silent[i];
        place.source->silences = 1;
        assert_int_equal(drive(&place, 1.5, NAN, &error), CHANNEL_LATER);
        until(&place, &told.failures, 1);
        assert_string_equal(told.failure.what, "S");
        assert_says(told.failure.why, silent[i] ? "no answer in time" : "it answered -222 to ERR?");
        wires_run(&place.wires, 0.003);
        assert_false(place.source->on);
        assert_int_equal(told.answers, 1); /* of the first drive alone */
        makes_safe(&place, &told);
        leave(&place);
    }
}

static void test_refusals(void **state)
{
    (void)state;
    static const struct {
        enum drive_mode mode;
        double amount, ceiling;
        const char *says;
    } cases[] = {
        {DRIVE_CURRENT, 2.1, NAN, "2.1 A is above the limit of 2 A"},
        {DRIVE_CURRENT, -3.1, NAN, "3.1 A is above the limit of 3 A"},
        {DRIVE_CURRENT, 1, 1.9, "a ceiling of 1.9 V is above the limit of 1.8 V"},
        {DRIVE_CURRENT, NAN, NAN, "nothing can be driven by nan"},
        {DRIVE_CURRENT, 0, NAN, "nothing can be driven by 0"},
    };
    struct place place;
    struct told told;
    open_place(&place, 0, &told);
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct error error;
        struct drive wanted = {cases[i].mode, cases[i].amount, cases[i].ceiling};
        assert_int_equal(place.channel->ops->drive(place.channel, &wanted, &error), CHANNEL_FAILED);
        assert_string_equal(error.what, "A1");
        assert_says(error.why, cases[i].says);
    }
    wires_run(&place.wires, 0.03);
    assert_null(strstr(place.wires.record, "ON "));
    assert_null(strstr(place.wires.record, "SET"));
    place.channel->ops->remove(place.channel);
    struct error error;
    assert_int_equal(drive(&place, 1, NAN, &error), CHANNEL_FAILED);
    assert_says(error.why, "the channel is empty");
    leave(&place);
}

/* --- reading --------------------------------------------------------------------------------- */

static void test_reading(void **state)
{
    (void)state;
    struct place place;
    struct told told;
    open_place(&place, WITH_METER | WITH_THERMOMETER, &told);
    reads(&place, &told);
    assert_true(told.reading.voltage == 1.31 && told.reading.current == 0);
    assert_true(told.reading.temperature == 21.5);
    wires_forget(&place.wires);
    drives(&place, &told, -0.7);
    bench_us before = clock_bench(&place.wires.clock);
    reads(&place, &told);
    bench_us after = clock_bench(&place.wires.clock);
    /* The meter's volts, not the sink's 1.25; out of the cell is negative. */
    assert_true(told.reading.voltage == 1.31 && told.reading.current == -0.7);
    assert_true(told.reading.at > before && told.reading.at < after);
    leave(&place);
}

static void test_without_meter(void **state)
{
    (void)state;
    struct place place;
    struct told told;
    open_place(&place, 0, &told);
    reads(&place, &told);
    assert_true(told.reading.voltage == 1.25 && told.reading.current == 0);
    assert_true(isnan(told.reading.temperature));
    place.source->volts = 1.4;
    drives(&place, &told, 0.7);
    reads(&place, &told);
    assert_true(told.reading.voltage == 1.4 && told.reading.current == 0.7);
    leave(&place);
}

/* The time of a reading is the middle of the exchange: an answer 30 ms late moves it by 15 ms. */
static void test_time(void **state)
{
    (void)state;
    struct place place;
    struct told told;
    open_place(&place, 0, &told);
    place.sink_driver->lines[DRIVER_READ][0] = "~";
    place.sink_driver->lines[DRIVER_READ][1] = "~";
    place.sink_driver->lines[DRIVER_READ][2] = "?V?";
    place.sink_driver->lines[DRIVER_READ][3] = "~";
    bench_us before = clock_bench(&place.wires.clock);
    reads(&place, &told);
    double at = (double)(told.reading.at - before) / 1e6;
    assert_true(at > 0.014 && at < 0.05);
    double took = (double)(clock_bench(&place.wires.clock) - before) / 1e6;
    assert_true(at < took * 0.6);
    leave(&place);
}

static void test_reading_fails(void **state)
{
    (void)state;
    struct place place;
    struct told told;
    struct reading reading;
    open_place(&place, WITH_METER | WITH_THERMOMETER, &told);
    place.thermometer->silent_on = "T?";
    place.thermometer->silences = 1;
    assert_null(wired_awaited(place.channel));
    assert_int_equal(place.channel->ops->read(place.channel, &reading, NULL), CHANNEL_LATER);
    assert_string_equal(instrument_name(wired_awaited(place.channel)), "M");
    wires_run(&place.wires, 0.02); /* the meter has answered, and nobody waits for it any more */
    assert_string_equal(instrument_name(wired_awaited(place.channel)), "T");
    until(&place, &told.failures, 1);
    assert_string_equal(told.failure.what, "T");
    assert_int_equal(told.readings, 0);
    assert_null(wired_awaited(place.channel));
    reads(&place, &told); /* and the next is well */
    assert_true(told.reading.temperature == 21.5);
    place.meter->hang_up_on = "V?";
    assert_int_equal(place.channel->ops->read(place.channel, &reading, NULL), CHANNEL_LATER);
    until(&place, &told.failures, 2);
    assert_string_equal(told.failure.what, "M");
    assert_says(told.failure.why, "hung up");
    struct error error;
    assert_int_equal(place.channel->ops->read(place.channel, &reading, &error), CHANNEL_LATER);
    until(&place, &told.failures, 3);
    leave(&place);
}

/* A line that went and came back between two readings: its output is off, and a current of zero
 * would look like one that tapered off. */
static void test_came_back(void **state)
{
    (void)state;
    struct place place;
    struct told told;
    struct reading reading;
    struct error error;
    open_place(&place, WITH_METER, &told);
    drives(&place, &told, 1);
    far_hang_up(place.source);
    struct instrument *source = wired_instrument(place.channel, 0);
    wires_until(&place.wires, source, INSTRUMENT_DOWN);
    wires_until(&place.wires, source, INSTRUMENT_READY);
    assert_false(place.source->on);
    assert_int_equal(place.channel->ops->read(place.channel, &reading, &error), CHANNEL_FAILED);
    assert_says(error.why, "its line went while it drove the cell");
    makes_safe(&place, &told);
    leave(&place);
}

static void test_frozen(void **state)
{
    (void)state;
    struct place place;
    struct told told;
    open_place(&place, WITH_METER, &told);
    for (int i = 0; i < 6; i++)
        reads(&place, &told);
    assert_int_equal(told.warnings, 0); /* at rest it may stand still */
    drives(&place, &told, 1);
    for (int turn = 0; turn < 2; turn++) { /* it is seen again */
        struct reading reading;
        for (int i = 0; i < 3; i++)
            reads(&place, &told);
        assert_int_equal(place.channel->ops->read(place.channel, &reading, NULL), CHANNEL_LATER);
        until(&place, &told.failures, turn + 1);
        assert_int_equal(told.failure.code, ERROR_LOST);
        assert_says(told.failure.why, "4 readings were the same to the last digit (1.31 V, 1 A)");
    }
    for (int i = 0; i < 8; i++) {
        place.meter->volts = i % 2 ? 1.32 : 1.31;
        reads(&place, &told);
    }
    leave(&place);
}

/* --- safety ---------------------------------------------------------------------------------- */

/* In the middle of a reading, and of a drive: only its own answer comes. */
static void test_safe_supersedes(void **state)
{
    (void)state;
    struct place place;
    struct told told;
    struct reading reading;
    struct error error;
    open_place(&place, WITH_METER, &told);
    drives(&place, &told, 1);
    assert_int_equal(place.channel->ops->read(place.channel, &reading, NULL), CHANNEL_LATER);
    makes_safe(&place, &told);
    wires_run(&place.wires, 0.2);
    assert_int_equal(told.readings + told.failures, 0);
    assert_int_equal(drive(&place, 1, NAN, &error), CHANNEL_LATER);
    makes_safe(&place, &told);
    wires_run(&place.wires, 0.2);
    assert_int_equal(told.answers, 3);
    assert_int_equal(told.failures, 0);
    assert_false(place.source->on);
    makes_safe(&place, &told); /* twice, and idle */
    leave(&place);
}

/* What is asked while it is on its way begins after it, and answers alone. */
static void test_after_safe(void **state)
{
    (void)state;
    struct place place;
    struct told told;
    struct reading reading;
    open_place(&place, WITH_METER, &told);
    assert_int_equal(place.channel->ops->make_safe(place.channel, NULL), CHANNEL_LATER);
    assert_int_equal(place.channel->ops->read(place.channel, &reading, NULL), CHANNEL_LATER);
    until(&place, &told.readings, 1);
    assert_int_equal(told.answers, 0);
    assert_non_null(strstr(place.wires.record, "S:ON? "));
    leave(&place);
}

static void test_cannot_be_made_safe(void **state)
{
    (void)state;
    struct place place;
    struct told told;
    struct error error;
    open_place(&place, 0, &told);
    drives(&place, &told, -1);
    place.sink->stuck = true;
    assert_int_equal(place.channel->ops->make_safe(place.channel, NULL), CHANNEL_LATER);
    until(&place, &told.failures, 1);
    assert_string_equal(told.failure.what, "L");
    assert_says(told.failure.why, "it answered 1 to ON?");
    /* And while it is not seen to be off, the source does not go on. */
    assert_int_equal(drive(&place, 1, NAN, &error), CHANNEL_LATER);
    until(&place, &told.failures, 2);
    assert_false(place.source->on);
    place.sink->stuck = false;
    makes_safe(&place, &told);
    leave(&place);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_there_and_back),
        cmocka_unit_test(test_two_quadrants),
        cmocka_unit_test(test_drive_fails),
        cmocka_unit_test(test_refusals),
        cmocka_unit_test(test_reading),
        cmocka_unit_test(test_without_meter),
        cmocka_unit_test(test_time),
        cmocka_unit_test(test_reading_fails),
        cmocka_unit_test(test_came_back),
        cmocka_unit_test(test_frozen),
        cmocka_unit_test(test_safe_supersedes),
        cmocka_unit_test(test_after_safe),
        cmocka_unit_test(test_cannot_be_made_safe),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
