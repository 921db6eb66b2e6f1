/* A channel of instruments for tests, with far ends that keep one record of what they hear. */
#ifndef PERDURE_TESTS_BENCH_WIRED_RIG_H
#define PERDURE_TESTS_BENCH_WIRED_RIG_H

#include "wires.h"

#include <math.h>

#include "bench/bench.h"

/* Far ends: source S, sink L, meter M, thermometer T, relay board R; ohmmeter O behind a board
 * Q. */
struct place {
    struct wires wires;
    struct bench bench;
    struct far *source, *sink, *meter, *thermometer, *board, *ohmmeter, *ohmmeter_board;
    struct fake_driver *source_driver, *sink_driver;
    struct instrument *instruments[5];
    struct channel *channel;
};

struct told {
    int readings, answers, failures, warnings;
    struct reading reading;
    struct error failure;
    char warning[1200];
};

static inline void notify(void *owner, const struct reading *reading, const struct error *failure)
{
    struct told *told = owner;
    told->answers += !reading && !failure;
    told->readings += reading != NULL;
    told->failures += failure != NULL;
    if (reading)
        told->reading = *reading;
    if (failure)
        told->failure = *failure;
}

static inline void warn(void *owner, const char *text)
{
    struct told *told = owner;
    told->warnings++;
    string_copy(told->warning, sizeof told->warning, text);
}

static inline struct instrument *add(struct place *place, struct far *far,
                                     struct fake_driver *driver)
{
    struct instrument *instrument = wires_instrument(&place->wires, far, driver, "");
    bench_add_instrument(&place->bench, instrument);
    return instrument;
}

enum {
    WITH_METER = 1,
    WITH_THERMOMETER = 2,
    WITH_RELAY = 4,
    WITH_SCANNER = 8,
    WITH_BOTH = 16,
    WITH_OHMMETER = 32,
    METER_IS_OHMMETER = 64
};

static inline void add_channel(struct place *place, struct wired_spec *spec)
{
    struct error error;
    assert_int_equal(bench_add(&place->bench, wired_channel(spec), &error), 0);
}

static inline void open_place(struct place *place, unsigned with, struct told *told)
{
    memset(place, 0, sizeof *place);
    wires_open(&place->wires);
    place->bench.uv_loop = place->wires.loop;
    struct wires *wires = &place->wires;
    struct wired_spec spec = {.name = "A1",
                              .clock = &wires->clock,
                              .uv_loop = wires->loop,
                              .limits = LIMITS_NONE,
                              .compliance = NAN,
                              .frozen_after = 4};
    spec.limits.voltage_most = 1.8;
    spec.limits.voltage_least = 0.8;
    spec.limits.charge_current_most = 2;
    spec.limits.discharge_current_most = 3;
    place->source = wires_far(wires, 'S', "Saltmere Instruments,SP-1,0001,1.0");
    place->sink = wires_far(wires, 'L', "Saltmere Instruments,SL-1,0001,1.0");
    place->source_driver = fake_new(with & WITH_BOTH ? CAN_SOURCE | CAN_SINK : CAN_SOURCE);
    place->sink_driver = fake_new(CAN_SINK);
    spec.source.instrument = add(place, place->source, place->source_driver);
    struct instrument *sink = add(place, place->sink, place->sink_driver);
    spec.sink.instrument = with & WITH_BOTH ? spec.source.instrument : sink;
    if (with & (WITH_METER | WITH_SCANNER)) {
        place->meter = wires_far(wires, 'M', "Saltmere Instruments,SM-1,0001,1.0");
        place->meter->volts = 1.31;
        unsigned too = with & METER_IS_OHMMETER ? CAN_OHMMETER : 0;
        spec.meter.instrument = add(place, place->meter, fake_new(CAN_METER | too));
        if (too)
            spec.ohmmeter = spec.meter;
    }
    if (with & WITH_OHMMETER) {
        place->ohmmeter = wires_far(wires, 'O', "Saltmere Instruments,SO-1,0001,1.0");
        spec.ohmmeter.instrument = add(place, place->ohmmeter, fake_new(CAN_OHMMETER));
        place->ohmmeter_board = wires_far(wires, 'Q', "Saltmere Instruments,SR-1,0002,1.0");
        spec.ohmmeter_scanner =
            (struct wired_end){add(place, place->ohmmeter_board, fake_new(CAN_RELAY)), 5};
    }
    if (with & WITH_THERMOMETER) {
        place->thermometer = wires_far(wires, 'T', "Saltmere Instruments,ST-1,0001,1.0");
        spec.thermometer.instrument = add(place, place->thermometer, fake_new(CAN_THERMOMETER));
    }
    if (with & (WITH_RELAY | WITH_SCANNER)) {
        place->board = wires_far(wires, 'R', "Saltmere Instruments,SR-1,0001,1.0");
        struct instrument *board = add(place, place->board, fake_new(CAN_RELAY));
        struct wired_end end = {board, 3};
        if (with & WITH_RELAY)
            spec.relay = end;
        else
            spec.scanner = end;
    }
    add_channel(place, &spec);
    if (with & WITH_SCANNER) { /* a second channel, which has only the meter */
        struct wired_spec other = {.name = "A2",
                                   .clock = &wires->clock,
                                   .limits = LIMITS_NONE,
                                   .compliance = NAN,
                                   .meter = spec.meter,
                                   .scanner = {spec.scanner.instrument, 4}};
        add_channel(place, &other);
    }
    if (with & WITH_OHMMETER) { /* a second channel behind the same ohmmeter */
        struct wired_spec other = {.name = "A2",
                                   .clock = &wires->clock,
                                   .limits = LIMITS_NONE,
                                   .compliance = NAN,
                                   .meter = {spec.meter.instrument, 2},
                                   .ohmmeter = spec.ohmmeter,
                                   .ohmmeter_scanner = {spec.ohmmeter_scanner.instrument, 6}};
        add_channel(place, &other);
    }
    assert_int_equal(bench_reach(&place->bench, 3), 0);
    wires_run(wires, 0.01);
    wires_forget(wires);
    place->channel = place->bench.channels[0];
    place->channel->notify = notify;
    place->channel->warn = warn;
    place->channel->owner = told;
    struct cell_facts cell = {
        .label = "KES-07", .profile = profile_find("NiMH"), .rated_charge = 7200};
    struct error error;
    assert_int_equal(place->channel->ops->insert(place->channel, &cell, &error), 0);
    assert_int_equal(place->channel->ops->insert(place->channel, &cell, &error), ERROR_BENCH);
    memset(told, 0, sizeof *told);
}

static inline void leave(struct place *place)
{
    assert_int_equal(place->wires.both_on, 0);
    assert_int_equal(place->wires.both_closed, 0);
    bench_close(&place->bench);
    wires_run(&place->wires, 0.005);
    assert_false(place->source->on || place->sink->on);
    wires_close(&place->wires);
}

static inline void until(struct place *place, const int *count, int wanted)
{
    for (int i = 0; i < 2000 && *count < wanted; i++)
        wires_run(&place->wires, 0.001);
    assert_int_equal(*count, wanted);
}

static inline enum channel_reply drive(struct place *place, double amps, double ceiling,
                                       struct error *error)
{
    struct drive wanted = {DRIVE_CURRENT, amps, ceiling};
    return place->channel->ops->drive(place->channel, &wanted, error);
}

static inline void drives(struct place *place, struct told *told, double amps)
{
    struct error error = {.code = ERROR_NONE};
    int before = told->answers;
    if (drive(place, amps, NAN, &error) != CHANNEL_LATER)
        fail_msg("%s: %s", error.what, error.why);
    until(place, &told->answers, before + 1);
    assert_int_equal(told->failures, 0);
}

static inline void reads(struct place *place, struct told *told)
{
    struct reading reading;
    int before = told->readings;
    assert_int_equal(place->channel->ops->read(place->channel, &reading, NULL), CHANNEL_LATER);
    until(place, &told->readings, before + 1);
}

static inline void makes_safe(struct place *place, struct told *told)
{
    int before = told->answers;
    assert_int_equal(place->channel->ops->make_safe(place->channel, NULL), CHANNEL_LATER);
    until(place, &told->answers, before + 1);
    assert_false(place->source->on || place->sink->on);
}

#endif
