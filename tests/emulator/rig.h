/* One cell and its instruments in process, for tests: no ports, and time as the test says. */
#ifndef EMULATOR_RIG_H
#define EMULATOR_RIG_H

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "support/cmocka_setup.h"

#include "message.h"

#define RIG_BEGIN 1772438400000000LL

struct rig {
    struct simcell cell;
    struct cell_set set;
    struct instrument supply, load, meter, quadrant, thermometer, relay;
    utc_us now;
    struct text answer;
};

/* 2 Ah at a constant 1.25 V behind 25 mohm, half full, without losses: what flows has closed
 * forms. */
static inline struct simcell_truth rig_ideal(void)
{
    return (struct simcell_truth){
        .capacity = 2 * 3600.0,
        .ocv_points = 1,
        .ocv = {1.25},
        .r0 = 0.025,
        .efficiency = 1,
        .knee = 1,
        .ambient = 20,
        .soc_new = 0.5,
    };
}

static inline void rig_add(struct rig *rig, struct instrument *instrument, const struct kind *kind)
{
    struct cell_set *set = &rig->set;
    instrument_init(instrument, kind, 1, &set, 1, NULL, 1);
}

static inline struct rig *rig_new(const struct simcell_truth *truth)
{
    struct rig *rig = calloc(1, sizeof *rig);
    assert_non_null(rig);
    rig->now = RIG_BEGIN;
    simcell_new(&rig->cell, truth, rig->now, 1);
    rig->set.number = 1;
    rig->set.cell = &rig->cell;
    rig_add(rig, &rig->supply, &kind_supply);
    rig_add(rig, &rig->load, &kind_load);
    rig_add(rig, &rig->meter, &kind_meter);
    rig_add(rig, &rig->quadrant, &kind_quadrant);
    rig_add(rig, &rig->thermometer, &kind_thermometer);
    return rig;
}

/* Puts a relay board between, all open. */
static inline void rig_add_relay(struct rig *rig)
{
    rig_add(rig, &rig->relay, &kind_relay);
}

static inline void rig_free(struct rig *rig)
{
    instrument_free(&rig->supply);
    instrument_free(&rig->load);
    instrument_free(&rig->meter);
    instrument_free(&rig->quadrant);
    instrument_free(&rig->thermometer);
    if (rig->relay.kind != NULL)
        instrument_free(&rig->relay);
    text_free(&rig->answer);
    free(rig);
}

/* The answer to one message, "" for none; good until the next. */
static inline const char *ask(struct rig *rig, struct instrument *instrument, const char *message)
{
    text_clear(&rig->answer);
    message_execute(instrument, message, strlen(message), rig->now, &rig->answer);
    text_add(&rig->answer, "");
    return rig->answer.length > 0 ? rig->answer.bytes : "";
}

static inline double ask_number(struct rig *rig, struct instrument *instrument, const char *message)
{
    char *end;
    const char *answer = ask(rig, instrument, message);
    double value = strtod(answer, &end);
    assert_true(end > answer && *end == '\0');
    return value;
}

static inline void tell(struct rig *rig, struct instrument *instrument, const char *message)
{
    assert_string_equal(ask(rig, instrument, message), "");
    assert_int_equal(instrument->status.count, 0);
}

static inline void pass(struct rig *rig, double seconds)
{
    rig->now += (utc_us)(seconds * 1e6);
}

#endif
