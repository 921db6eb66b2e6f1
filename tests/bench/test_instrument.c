/* One instrument: how it comes up, how tasks queue, and what each fault leads to. */
#include "wires.h"

#include "bench/guardian.h"

struct heard {
    int done, failed;
    struct driver_result result;
    bench_us began, ended;
    struct error failure;
    char order[64]; /* one letter an answer, of all that share it */
    char letter;
    char *shared;
};

static void hear(void *owner, const struct driver_result *result, bench_us began, bench_us ended,
                 const struct error *failure)
{
    struct heard *heard = owner;
    heard->done += !failure;
    heard->failed += failure != NULL;
    if (result)
        heard->result = *result;
    if (failure)
        heard->failure = *failure;
    heard->began = began;
    heard->ended = ended;
    if (heard->shared)
        strncat(heard->shared, &heard->letter, 1);
}

static void ask(struct instrument *instrument, enum driver_task task, struct heard *heard)
{
    struct driver_order order = {.task = task, .drive = {DRIVE_CURRENT, 1, NAN}};
    struct error error = {.code = ERROR_NONE};
    if (instrument_ask(instrument, &order, hear, heard, &error))
        fail_msg("%s: %s", error.what, error.why);
}

static void until(struct wires *wires, const struct heard *heard, int answers)
{
    for (int i = 0; i < 2000 && heard->done + heard->failed < answers; i++)
        wires_run(wires, 0.001);
    assert_int_equal(heard->done + heard->failed, answers);
}

struct place {
    struct wires wires;
    struct far *far;
    struct fake_driver *fake;
    struct instrument *instrument;
};

static void open_place(struct place *place, unsigned can, const char *serial)
{
    wires_open(&place->wires);
    place->far = wires_far(&place->wires, 'S', "Saltmere Instruments,SP-1,0001,1.0");
    place->fake = fake_new(can);
    place->instrument = wires_instrument(&place->wires, place->far, place->fake, serial);
}

static void ready(struct place *place, unsigned can)
{
    open_place(place, can, "0001");
    wires_until(&place->wires, place->instrument, INSTRUMENT_READY);
    wires_run(&place->wires,
              0.005); /* an order is over when it is sent, and not when it is heard */
    wires_forget(&place->wires);
}

static void leave(struct place *place)
{
    instrument_close(place->instrument);
    wires_run(&place->wires, 0.005);
    wires_close(&place->wires);
}

static void test_comes_up(void **state)
{
    (void)state;
    struct place place;
    open_place(&place, CAN_SOURCE, "0001");
    assert_int_equal(instrument_state(place.instrument), INSTRUMENT_DOWN);
    assert_false(instrument_is_off(place.instrument));
    wires_until(&place.wires, place.instrument, INSTRUMENT_READY);
    wires_run(&place.wires, 0.005);
    /* Asked who it is; safe bytes; turned off and seen to be off; prepared. */
    wires_heard(&place.wires, "S:ID? S:OFF S:OFF S:ON? S:PREP ");
    assert_true(instrument_is_off(place.instrument));
    assert_string_equal(instrument_identity(place.instrument)->model, "SP-1");
    assert_says(place.wires.told, "S:info:ready");
    leave(&place);
}

static void test_wrong_identity(void **state)
{
    (void)state;
    struct place place;
    open_place(&place, CAN_SOURCE, "0002");
    for (int i = 0; i < 1000 && !instrument_trouble(place.instrument)->code; i++)
        wires_run(&place.wires, 0.001);
    wires_heard(&place.wires, "S:ID? "); /* and not one byte more to a stranger */
    const struct error *trouble = instrument_trouble(place.instrument);
    assert_string_equal(trouble->what, "S");
    assert_says(trouble->why, "\"Saltmere Instruments, SP-1, 0001\" and should be");
    assert_says(trouble->why, "0002");
    assert_says(trouble->todo, "connect the right one");
    struct heard heard = {0};
    struct driver_order order = {.task = DRIVER_READ};
    struct error error;
    assert_int_equal(instrument_ask(place.instrument, &order, hear, &heard, &error), ERROR_LOST);
    assert_says(error.why, "another instrument answers");

    place.far->is = "Saltmere Instruments,SP-1,0002,1.0"; /* someone changes the cable */
    wires_until(&place.wires, place.instrument, INSTRUMENT_READY);
    assert_int_equal(instrument_trouble(place.instrument)->code, ERROR_NONE);
    leave(&place);
}

/* In the way of coming up: no answer, nonsense, an output that stays on. */
static void test_does_not_come_up(void **state)
{
    (void)state;
    static const struct {
        const char *silent, *garbage;
        bool stuck;
        const char *says;
    } cases[] = {
        {"ID?", NULL, false, "no answer in time to ID?"},
        {NULL, "ID?", false, "no sense in the answer to ID?"},
        {"ON?", NULL, false, "no answer in time to ON?"},
        {NULL, NULL, true, "it answered 1 to ON?"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct place place;
        open_place(&place, CAN_SOURCE, "");
        place.far->silent_on = cases[i].silent;
        place.far->silences = -1;
        place.far->garbage_on = cases[i].garbage;
        place.far->on = place.far->stuck = cases[i].stuck;
        for (int k = 0; k < 2000 && !instrument_trouble(place.instrument)->code; k++)
            wires_run(&place.wires, 0.001);
        assert_says(instrument_trouble(place.instrument)->why, cases[i].says);
        assert_int_not_equal(instrument_state(place.instrument), INSTRUMENT_READY);
        assert_null(strstr(place.wires.record, "PREP"));
        leave(&place);
    }
}

static void test_queue(void **state)
{
    (void)state;
    struct place place;
    char order[16] = "";
    struct heard a = {.letter = 'a', .shared = order}, b = {.letter = 'b', .shared = order};
    ready(&place, CAN_METER);
    bench_us before = clock_bench(&place.wires.clock);
    place.far->volts = 1.3;
    ask(place.instrument, DRIVER_READ, &a);
    ask(place.instrument, DRIVER_READ, &b);
    ask(place.instrument, DRIVER_READ, &a);
    until(&place.wires, &a, 2);
    assert_int_equal(b.done, 1);
    assert_string_equal(order, "aba");
    assert_true(a.result.voltage == 1.3 && isnan(a.result.current));
    assert_true(a.began >= b.ended && a.ended >= a.began && b.began >= before);
    leave(&place);
}

static void test_wait(void **state)
{
    (void)state;
    struct place place;
    struct heard heard = {0};
    ready(&place, CAN_METER);
    place.fake->lines[DRIVER_READ][0] = "~";
    place.fake->lines[DRIVER_READ][1] = "?V?";
    ask(place.instrument, DRIVER_READ, &heard);
    until(&place.wires, &heard, 1);
    assert_int_equal(heard.done, 1);
    assert_true(heard.ended - heard.began >= 10000);
    leave(&place);
}

/* A task without an answer fails; the late answer goes to nobody; the driver prepares again. */
static void test_late_answer(void **state)
{
    (void)state;
    struct place place;
    struct heard heard = {0}, next = {0};
    ready(&place, CAN_METER);
    place.far->later_on = "V?";
    place.far->volts = 9;
    ask(place.instrument, DRIVER_READ, &heard);
    until(&place.wires, &heard, 1);
    assert_int_equal(heard.failed, 1);
    assert_string_equal(heard.failure.what, "S");
    assert_says(heard.failure.why, "no answer in time to V?");
    assert_true(place.fake->forgotten > 0);
    place.far->volts = 1.2;
    wires_forget(&place.wires);
    ask(place.instrument, DRIVER_READ, &next);
    until(&place.wires, &next, 1);
    assert_int_equal(next.done, 1);
    assert_true(next.result.voltage == 1.2); /* and not the late 9 */
    assert_says(place.wires.record, "S:PREP S:V? ");
    leave(&place);
}

static void test_garbage(void **state)
{
    (void)state;
    struct place place;
    struct heard heard = {0};
    ready(&place, CAN_METER);
    place.far->garbage_on = "V?";
    ask(place.instrument, DRIVER_READ, &heard);
    ask(place.instrument, DRIVER_READ, &heard);
    until(&place.wires, &heard, 2);
    assert_int_equal(heard.failed, 1);
    assert_says(heard.failure.why, "no sense in the answer to V?");
    assert_int_equal(heard.done, 1);
    leave(&place);
}

/* All that are asked fail at once; when it comes back it is turned off before all else. */
static void test_hang_up(void **state)
{
    (void)state;
    struct place place;
    struct heard drive = {0}, a = {0}, b = {0};
    ready(&place, CAN_SOURCE);
    ask(place.instrument, DRIVER_DRIVE, &drive);
    until(&place.wires, &drive, 1);
    assert_int_equal(drive.done, 1);
    assert_false(instrument_is_off(place.instrument));
    place.far->hang_up_on = "V?";
    ask(place.instrument, DRIVER_READ, &a);
    ask(place.instrument, DRIVER_READ, &b);
    until(&place.wires, &a, 1);
    assert_int_equal(a.failed, 1);
    assert_int_equal(b.failed, 1);
    assert_says(a.failure.why, "hung up");
    assert_says(place.wires.told, "its output may still be on");
    assert_int_equal(instrument_state(place.instrument), INSTRUMENT_DOWN);

    struct error error;
    assert_int_equal(instrument_make_safe(place.instrument, hear, &a, &error), ERROR_LOST);
    assert_string_equal(error.what, "S");
    assert_false(instrument_is_off(place.instrument));
    wires_forget(&place.wires);
    wires_until(&place.wires, place.instrument, INSTRUMENT_READY);
    assert_memory_equal(place.wires.record, "S:OFF S:ID? ", 12);
    assert_true(instrument_is_off(place.instrument));
    assert_false(place.far->on);
    leave(&place);
}

static void test_make_safe(void **state)
{
    (void)state;
    struct place place;
    struct heard drive = {0}, read = {0}, other = {0}, safe = {0};
    ready(&place, CAN_SOURCE);
    ask(place.instrument, DRIVER_DRIVE, &drive);
    until(&place.wires, &drive, 1);
    place.far->silent_on = "V?"; /* in the middle of an exchange */
    place.far->silences = 1;
    ask(place.instrument, DRIVER_READ, &safe);
    wires_run(&place.wires, 0.005);
    ask(place.instrument, DRIVER_READ, &safe);
    ask(place.instrument, DRIVER_READ, &other);
    wires_forget(&place.wires);
    struct error error;
    assert_int_equal(instrument_make_safe(place.instrument, hear, &safe, &error), 0);
    assert_int_equal(other.failed, 1); /* told at once */
    assert_says(other.failure.why, "turned off for safety");
    wires_run(&place.wires, 0.002);
    assert_false(place.far->on); /* long before any patience is over */
    until(&place.wires, &safe, 1);
    assert_int_equal(safe.done, 1); /* its own answer, and none of the two reads */
    assert_true(instrument_is_off(place.instrument));
    assert_memory_equal(place.wires.record, "S:OFF ", 6);
    assert_null(strstr(place.wires.record, "V?"));
    wires_run(&place.wires, 0.2);
    assert_int_equal(safe.done + safe.failed + read.done, 1);
    leave(&place);
}

/* Turning off is tried three times, then told. */
static void test_stuck(void **state)
{
    (void)state;
    struct place place;
    struct heard drive = {0}, safe = {0};
    ready(&place, CAN_SINK);
    ask(place.instrument, DRIVER_DRIVE, &drive);
    until(&place.wires, &drive, 1);
    place.far->stuck = true;
    int before = place.fake->begun[DRIVER_OFF];
    assert_int_equal(instrument_make_safe(place.instrument, hear, &safe, NULL), 0);
    until(&place.wires, &safe, 1);
    assert_int_equal(safe.failed, 1);
    assert_int_equal(place.fake->begun[DRIVER_OFF] - before, 3);
    assert_says(safe.failure.why, "it answered 1 to ON?");
    assert_false(instrument_is_off(place.instrument));

    struct heard again = {0};
    place.far->stuck = false;
    place.far->silent_on = "ON?"; /* one answer lost does no harm */
    place.far->silences = 1;
    assert_int_equal(instrument_make_safe(place.instrument, hear, &again, NULL), 0);
    until(&place.wires, &again, 1);
    assert_int_equal(again.done, 1);
    leave(&place);
}

static void test_forget(void **state)
{
    (void)state;
    struct place place;
    struct heard gone = {0}, stays = {0};
    ready(&place, CAN_METER);
    ask(place.instrument, DRIVER_READ, &gone);
    ask(place.instrument, DRIVER_READ, &gone);
    ask(place.instrument, DRIVER_READ, &stays);
    instrument_forget(place.instrument, &gone);
    until(&place.wires, &stays, 1);
    assert_int_equal(stays.done, 1);
    assert_int_equal(gone.done + gone.failed, 0);
    /* One without output is safe at once. */
    assert_true(instrument_is_off(place.instrument));
    assert_int_equal(instrument_make_safe(place.instrument, hear, &gone, NULL), 0);
    assert_int_equal(gone.done, 1);
    leave(&place);
}

static void test_circles(void **state)
{
    (void)state;
    struct place place;
    struct heard heard = {0};
    ready(&place, CAN_METER);
    place.fake->forever = true;
    place.fake->lines[DRIVER_READ][0] = "!X";
    ask(place.instrument, DRIVER_READ, &heard);
    until(&place.wires, &heard, 1);
    assert_says(heard.failure.why, "asked 1000 times in one task");
    leave(&place);
}

/* A driver that gives orders to a stranger is stopped. */
static void test_order_to_stranger(void **state)
{
    (void)state;
    struct place place;
    open_place(&place, CAN_METER, "");
    place.fake->lines[DRIVER_IDENTIFY][0] = "!ON";
    for (int i = 0; i < 1000 && !instrument_trouble(place.instrument)->code; i++)
        wires_run(&place.wires, 0.001);
    assert_says(instrument_trouble(place.instrument)->why, "before it knows who answers");
    wires_heard(&place.wires, "");
    leave(&place);
}

static void test_close_while_on(void **state)
{
    (void)state;
    struct place place;
    struct heard drive = {0};
    ready(&place, CAN_SOURCE);
    ask(place.instrument, DRIVER_DRIVE, &drive);
    until(&place.wires, &drive, 1);
    assert_true(place.far->on);
    instrument_close(place.instrument);
    wires_run(&place.wires, 0.005);
    assert_false(place.far->on);
    wires_close(&place.wires);
}

/* The engine stops beating: the guardian turns the output off over the same line. */
static void test_guardian(void **state)
{
    (void)state;
    struct place place;
    struct heard drive = {0};
    wires_open(&place.wires);
    place.wires.guardian = guardian_open(0.3);
    struct guardian *guardian = place.wires.guardian;
    place.far = wires_far(&place.wires, 'S', "Saltmere Instruments,SP-1,0001,1.0");
    place.fake = fake_new(CAN_SOURCE);
    place.instrument = wires_instrument(&place.wires, place.far, place.fake, "");
    wires_until(&place.wires, place.instrument, INSTRUMENT_READY);
    guardian_beat(guardian);
    assert_int_equal(guardian_count(guardian).holds, 1);
    ask(place.instrument, DRIVER_DRIVE, &drive);
    until(&place.wires, &drive, 1);
    for (int i = 0; i < 10; i++) { /* while it beats, it stays on */
        assert_int_equal(guardian_beat(guardian), GUARDIAN_WATCHING);
        wires_run(&place.wires, 0.05);
        assert_true(place.far->on);
    }
    wires_run(&place.wires, 0.5);
    assert_false(place.far->on);
    /* It writes the safe bytes several times, and says so only when all is written. */
    for (int i = 0; i < 40 && guardian_beat(guardian) == GUARDIAN_FIRING; i++)
        wires_run(&place.wires, 0.05);
    assert_int_equal(guardian_state(guardian), GUARDIAN_TRIPPED);
    far_hang_up(place.far);
    wires_until(&place.wires, place.instrument, INSTRUMENT_DOWN);
    assert_int_equal(guardian_count(guardian).holds, 0);
    leave(&place);
    guardian_close(guardian);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_comes_up),
        cmocka_unit_test(test_wrong_identity),
        cmocka_unit_test(test_does_not_come_up),
        cmocka_unit_test(test_queue),
        cmocka_unit_test(test_wait),
        cmocka_unit_test(test_late_answer),
        cmocka_unit_test(test_garbage),
        cmocka_unit_test(test_hang_up),
        cmocka_unit_test(test_make_safe),
        cmocka_unit_test(test_stuck),
        cmocka_unit_test(test_forget),
        cmocka_unit_test(test_circles),
        cmocka_unit_test(test_order_to_stranger),
        cmocka_unit_test(test_close_while_on),
        cmocka_unit_test(test_guardian),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
