/* What a channel's stated accuracy leaves of an outcome, by hand from the law of propagation (JCGM
 * 100:2008, 5.2.2) and rectangular limits (4.3.7); and whether the truth lies where it says. */
#include "engine/rig.h"

#include <math.h>

#include "analysis/uncertainty.h"
#include "base/random.h"
#include "bench/by_hand.h"

/* The rig's cell: 1.25 V behind 50 mohm. "d" takes 1 A for 300 s: 300 A.s at 1.20 V, 360 J. */
#define CHARGE 300.0
#define ENERGY 360.0
#define TIME   300.0

static const struct channel_accuracy bench_meter = {
    .voltage = {0.0005, 0.002},
    .current = {0.001, 0.001},
    .temperature = {NAN, NAN},
    .time = {NAN, NAN},
    .charge = {NAN, NAN},
    .energy = {NAN, NAN},
    .resistance = {NAN, NAN},
    .shared = 0,
    .steady = NAN,
};

static json_t *outcome_of(struct rig *rig, const char *primitive)
{
    json_t *rows = NULL;
    struct listing_filter filter = {.run = 1, .name = primitive};
    assert_int_equal(logbook_list(rig->logbook, LIST_JOURNAL, &filter, &rows, &rig->error), 0);
    json_t *outcome = json_incref(json_object_get(json_array_get(rows, 0), "outcome"));
    json_decref(rows);
    assert_non_null(outcome);
    return outcome;
}

static double value(const json_t *outcome, const char *name)
{
    const json_t *number = json_object_get(outcome, name);
    return json_is_number(number) ? json_number_value(number) : NAN;
}

static json_t *discharged(const struct channel_accuracy *accuracy, double kill_at)
{
    struct rig rig;
    rig_open(&rig, 1);
    rig.bench.channels[0]->accuracy = *accuracy;
    rig_queue(&rig, "d", "A");
    rig_engine(&rig);
    if (kill_at > 0) {
        rig_until(&rig, kill_at);
        assert_true(engine_commit(rig.engine));
        rig_kill(&rig);
    }
    rig_work(&rig);
    rig_state(&rig, 1, RUN_DONE);
    json_t *outcome = outcome_of(&rig, "discharge");
    rig_close(&rig);
    return outcome;
}

/* --- closed forms ---------------------------------------------------------------------------- */

static void a_discharge_has_the_uncertainty_of_its_meters(void **state)
{
    (void)state;
    /* Half-widths: current (0.1 % x 1 A + 1 mA) x 300 s = 0.6 A.s; clock 100 ppm x 300 A.s. */
    double charge = sqrt((0.6 * 0.6 + 0.03 * 0.03) / 3);
    /* Voltage 0.05 % x 360 J + 2 mV x 300 A.s = 0.78 J; current 0.1 % x 360 J + 1 mA x 1.2 V x
     * 300 s = 0.72 J; clock 0.036 J. */
    double apart = sqrt((0.78 * 0.78 + 0.72 * 0.72 + 0.036 * 0.036) / 3);
    double together = sqrt(((0.78 + 0.72) * (0.78 + 0.72) + 0.036 * 0.036) / 3);
    struct channel_accuracy accuracy = bench_meter;

    json_t *out = discharged(&accuracy, 0);
    assert_near(value(out, "charge"), CHARGE / 3600, 1e-12);
    assert_near(value(out, "energy"), ENERGY / 3600, 1e-12);
    assert_near(value(out, "charge_uncertainty"), charge / 3600, 1e-12);
    assert_near(value(out, "energy_uncertainty"), apart / 3600, 1e-12);
    assert_near(value(out, "last_voltage_uncertainty"), (0.0005 * 1.2 + 0.002) / sqrt(3), 1e-12);
    assert_near(value(out, "last_current_uncertainty"), (0.001 + 0.001) / sqrt(3), 1e-12);
    assert_near(value(out, "duration_uncertainty"), 1e-4 * TIME / sqrt(3), 1e-12);
    assert_true(isnan(value(out, "max_temperature_uncertainty"))); /* not stated */
    json_decref(out);

    accuracy.shared = 1;
    out = discharged(&accuracy, 0);
    assert_near(value(out, "charge_uncertainty"), charge / 3600, 1e-12);
    assert_near(value(out, "energy_uncertainty"), together / 3600, 1e-12);
    json_decref(out);

    accuracy.shared = NAN; /* not known: the greater */
    out = discharged(&accuracy, 0);
    assert_near(value(out, "energy_uncertainty"), together / 3600, 1e-12);
    json_decref(out);

    accuracy.time = (struct stated_accuracy){0, 3}; /* 3 s of start and stop: 3 A.s */
    out = discharged(&accuracy, 0);
    assert_near(value(out, "charge_uncertainty"), sqrt((0.36 + 9) / 3) / 3600, 1e-12);
    json_decref(out);
}

static void nothing_stated_is_no_uncertainty_and_not_zero(void **state)
{
    (void)state;
    struct channel_accuracy accuracy = STATES_NOTHING;
    json_t *out = discharged(&accuracy, 0);
    const char *name;
    json_t *field;
    json_object_foreach(out, name, field)
    {
        assert_null(strstr(name, "uncertainty"));
    }
    json_decref(out);

    accuracy.voltage = (struct stated_accuracy){0, 0.002}; /* and no current */
    out = discharged(&accuracy, 0);
    assert_true(isnan(value(out, "charge_uncertainty")));
    assert_true(isnan(value(out, "energy_uncertainty")));
    assert_near(value(out, "mean_voltage_uncertainty"), 0.002 / sqrt(3), 1e-12);
    json_decref(out);
}

static void a_kill_changes_no_uncertainty(void **state)
{
    (void)state;
    json_t *whole = discharged(&bench_meter, 0), *cut = discharged(&bench_meter, 137);
    static const char *const names[] = {"charge_uncertainty", "energy_uncertainty",
                                        "last_voltage_uncertainty"};
    assert_string_equal(json_string_value(json_object_get(cut, "quality")), "gap");
    for (size_t i = 0; i < 3; i++)
        assert_near(value(cut, names[i]), value(whole, names[i]), 1e-12);
    json_decref(whole);
    json_decref(cut);
}

static void a_replay_hears_the_same_uncertainty(void **state)
{
    (void)state;
    struct rig rig;
    rig_open(&rig, 1);
    rig.bench.channels[0]->accuracy = bench_meter;
    rig_queue(&rig, "dw", "A");
    rig_engine(&rig);
    rig_until(&rig, 400);
    assert_true(engine_commit(rig.engine));
    assert_non_null(strstr(heard, "charge_uncertainty"));
    char first[sizeof heard];
    string_copy(first, sizeof first, heard);
    rig_kill(&rig);
    rig.bench.channels[0]->accuracy.current.relative = 0.5; /* another bench: what was, was */
    heard[0] = '\0';
    rig_engine(&rig);
    rig_until(&rig, 410);
    assert_string_equal(heard, first);
    rig_work(&rig);
    rig_close(&rig);
}

/* --- of outcomes made by hand ---------------------------------------------------------------- */

static struct outcome outcome_by_hand(void)
{
    return (struct outcome){.kind = STEP_DISCHARGE,
                            .charge = 7200,
                            .energy = 8640,
                            .duration = 18000,
                            .first_voltage = NAN,
                            .last_voltage = 1,
                            .mean_voltage = 1.2,
                            .mid_voltage = NAN,
                            .peak_voltage = NAN,
                            .last_current = -0.4,
                            .max_temperature = NAN,
                            .resistance = NAN,
                            .end_slope = NAN,
                            .ended_by = END_TIME,
                            .quality = "good"};
}

static void an_end_by_voltage_is_as_sharp_as_its_slope(void **state)
{
    (void)state;
    struct outcome outcome = outcome_by_hand();
    struct outcome_standard standard;
    outcome.ended_by = END_VOLTAGE;
    outcome.end_span = 2;
    outcome.end_slope = -0.001; /* V/s: 0.05 % of 1 V + 2 mV are 2.5 s */
    standard_of_step(&bench_meter, &outcome, &standard);
    double current = 0.001 * 7200 + 0.001 * 18000, time = 1e-4 * 18000 + 2 + 2.5;
    assert_near(standard.charge, sqrt((current * current + 0.16 * time * time) / 3), 1e-9);
    assert_near(standard.duration, time / sqrt(3), 1e-9);
    /* Those 2.5 s are the voltage's own error once more: a voltage that reads too high makes the
     * energy too great and the discharge too long. What is common to two inputs enters with
     * 2 u1 u2 r (JCGM 100:2008, 5.2.2, eq. 16). 0.05 % x 8640 J + 2 mV x 7200 A.s = 18.72 J;
     * current 0.1 % x 8640 J + 1 mA x 1.2 V x 18000 s = 30.24 J; 0.48 W. */
    double voltage = 18.72, power = 30.24, seconds = 0.48 * time, moved = 0.48 * 2.5;
    assert_near(
        standard.energy,
        sqrt((voltage * voltage + power * power + seconds * seconds + 2 * voltage * moved) / 3),
        1e-9);
    /* One instrument: its error in current goes with that in voltage, and so with the end. */
    struct channel_accuracy one_meter = bench_meter;
    one_meter.shared = 1;
    standard_of_step(&one_meter, &outcome, &standard);
    assert_near(standard.charge,
                sqrt((current * current + 0.16 * time * time + 2 * current * 0.4 * 2.5) / 3), 1e-9);
    assert_near(standard.energy,
                sqrt(((voltage + power) * (voltage + power) + seconds * seconds +
                      2 * (voltage + power) * moved) /
                     3),
                1e-9);
    /* In a charge a voltage that reads too high ends it too early: that is not counted on. */
    outcome.kind = STEP_CHARGE;
    standard_of_step(&one_meter, &outcome, &standard);
    assert_near(standard.charge, sqrt((current * current + 0.16 * time * time) / 3), 1e-9);
}

/* A cell whose voltage falls by 0.4 V over 7200 A.s: at 1 A, 2 mV are 36 s. A meter that reads 2 mV
 * too much ends the discharge 36 A.s too late, the very limit of what it states. */
static void a_voltage_misread_moves_the_end_within_what_is_stated(void **state)
{
    (void)state;
    struct simcell_truth truth = {.capacity = 7200,
                                  .ocv_points = 2,
                                  .ocv_soc = {0, 1},
                                  .ocv = {1.0, 1.4},
                                  .efficiency = 1,
                                  .knee = 1,
                                  .heat_capacity = 30,
                                  .heat_transfer = 0.1,
                                  .ambient = 20,
                                  .soc_new = 1};
    struct rig rig;
    rig_open(&rig, 0);
    struct channel *channel = simulated_channel("S1", &rig.clock, rig.world, &truth);
    channel->accuracy.voltage = (struct stated_accuracy){0, 0.002};
    channel->accuracy.current = (struct stated_accuracy){0, 0};
    simulated_misread(channel, &(struct misreading){{0, 0.002}, {0, 0}, {0, 0}});
    bench_add(&rig.bench, channel, &rig.error);
    rig_queue(&rig, "v", "A");
    rig_work(&rig);
    json_t *out = outcome_of(&rig, "discharge");
    double right = 3600, wrong = value(out, "charge") * 3600 - right;
    double standard = value(out, "charge_uncertainty") * 3600;
    assert_near(wrong, 36, 1e-6);
    /* The clock adds 100 ppm of 3636 s, and the end lies between two readings. */
    double least = 36 + 1e-4 * 3636, most = least + channel->tick_most;
    assert_true(standard >= least / sqrt(3) - 1e-9 && standard <= most / sqrt(3));
    assert_true(wrong < coverage_factor(0.95, INFINITY) * standard);
    json_decref(out);
    rig_close(&rig);
}

static void a_resistance_is_a_difference_of_readings(void **state)
{
    (void)state;
    struct channel_accuracy accuracy = bench_meter;
    struct outcome outcome = outcome_by_hand();
    struct outcome_standard standard;
    outcome.kind = STEP_PULSE;
    outcome.level_voltage[0] = 1.30;
    outcome.level_voltage[1] = 1.21;
    outcome.level_current[0] = -0.4;
    outcome.level_current[1] = -4.0;
    outcome.resistance = 0.09 / 3.6;
    standard_of_step(&accuracy, &outcome, &standard);
    /* Each reading with an error of its own: sensitivities 1/step and R/step. */
    double u1 = 0.0005 * 1.30 + 0.002, u2 = 0.0005 * 1.21 + 0.002;
    double i1 = 0.001 * 0.4 + 0.001, i2 = 0.001 * 4.0 + 0.001, r = 0.09 / 3.6;
    double apart = sqrt((u1 * u1 + u2 * u2 + r * r * (i1 * i1 + i2 * i2)) / 3) / 3.6;
    assert_near(standard.resistance, apart, 1e-12);
    /* One error in both readings: what they have in common cancels. */
    accuracy.steady = 1;
    standard_of_step(&accuracy, &outcome, &standard);
    double du = u1 - u2, di = i2 - i1;
    assert_near(standard.resistance, sqrt((du * du + r * r * di * di) / 3) / 3.6, 1e-12);
    /* And one instrument: a gain that is off in both cancels in the ratio too. */
    accuracy.shared = 1;
    standard_of_step(&accuracy, &outcome, &standard);
    assert_near(standard.resistance, fabs(du - r * di) / sqrt(3) / 3.6, 1e-12);
    double together = standard.resistance;
    accuracy.shared = NAN;
    standard_of_step(&accuracy, &outcome, &standard);
    assert_true(standard.resistance > together);
    assert_near(standard.resistance, sqrt((du * du + r * r * di * di) / 3) / 3.6, 1e-12);
}

static void what_cannot_be_has_no_uncertainty(void **state)
{
    (void)state;
    struct outcome_standard standard;
    struct outcome outcome = outcome_by_hand();
    outcome.duration = -1;
    standard_of_step(&bench_meter, &outcome, &standard);
    assert_true(isnan(standard.charge) && isnan(standard.energy));
    outcome.duration = 0; /* ended at its first reading */
    standard_of_step(&bench_meter, &outcome, &standard);
    assert_true(isnan(standard.charge) && isnan(standard.energy));
    outcome = outcome_by_hand();
    outcome.charge = outcome.energy = outcome.last_voltage = NAN;
    standard_of_step(&bench_meter, &outcome, &standard);
    assert_true(isnan(standard.charge) && isnan(standard.energy) && isnan(standard.last_voltage));
    outcome.charge = INFINITY;
    standard_of_step(&bench_meter, &outcome, &standard);
    assert_true(isnan(standard.charge));
    outcome.resistance = 0.025; /* of two equal currents there is none */
    standard_of_step(&bench_meter, &outcome, &standard);
    assert_true(isnan(standard.resistance));
}

/* --- read off a display ---------------------------------------------------------------------- */

static json_t *typed(const struct stated_accuracy *charge, const char *display)
{
    struct rig rig;
    rig_open(&rig, 0);
    struct channel *channel = by_hand_channel("H1", "slot 1");
    channel->placed = true;
    channel->accuracy.charge = *charge;
    bench_add(&rig.bench, channel, &rig.error);
    rig_queue(&rig, "d", "A");
    rig_engine(&rig);
    rig_until(&rig, 1);
    rig_act(&rig,
            json_pack("{s:s, s:I, s:s, s:s}", "act", "answer", "question", (json_int_t)1, "answer",
                      display, "who", "Ada"),
            0);
    rig_work(&rig);
    json_t *outcome = outcome_of(&rig, "discharge");
    rig_close(&rig);
    return outcome;
}

static void a_display_adds_its_last_digit(void **state)
{
    (void)state;
    const struct stated_accuracy two_percent = {0.02, 0}, nothing = {NAN, NAN};
    json_t *out = typed(&two_percent, "166 mAh, 1.21 V");
    assert_near(value(out, "charge_uncertainty"), sqrt(3.32 * 3.32 / 3 + 1.0 / 12) / 1000, 1e-9);
    assert_true(isnan(value(out, "last_voltage_uncertainty")));
    json_decref(out);
    out = typed(&two_percent, "0.17 Ah"); /* its last digit is 10 mAh */
    assert_near(value(out, "charge_uncertainty"), sqrt(3.4 * 3.4 / 3 + 100.0 / 12) / 1000, 1e-9);
    json_decref(out);
    out = typed(&nothing, "166 mAh");
    assert_true(isnan(value(out, "charge_uncertainty")));
    json_decref(out);
}

/* --- coverage -------------------------------------------------------------------------------- */

#define RUNS 200

static double within(struct random *random, double half_width)
{
    return half_width * (2 * random_unit(random) - 1);
}

/* How many of RUNS channels, each misreading within its limits, have the truth in value +- k u. */
static int covered(const char *name, double truth, double voltage, double current, uint64_t seed)
{
    struct random random;
    int inside = 0;
    random_seed(&random, seed);
    for (int run = 0; run < RUNS; run++) {
        struct rig rig;
        rig_open(&rig, 1);
        struct channel *channel = rig.bench.channels[0];
        channel->accuracy = bench_meter;
        channel->accuracy.voltage = (struct stated_accuracy){voltage, 0};
        channel->accuracy.current = (struct stated_accuracy){current, 0};
        struct misreading misreading = {
            {within(&random, voltage), 0}, {within(&random, current), 0}, {0, 0}};
        simulated_misread(channel, &misreading);
        rig_queue(&rig, "d", "A");
        rig_work(&rig);
        json_t *out = outcome_of(&rig, "discharge");
        char uncertainty[64];
        snprintf(uncertainty, sizeof uncertainty, "%s_uncertainty", name);
        double expanded = coverage_factor(0.95, INFINITY) * value(out, uncertainty);
        inside += fabs(value(out, name) - truth) <= expanded;
        json_decref(out);
        rig_close(&rig);
    }
    return inside;
}

/* One rectangular error of half-width a: U = 1.96 a / sqrt(3) = 1.13 a holds it always. Two alike
 * and independent make a triangle to +-2a: U = 1.96 sqrt(2/3) a = 1.600 a leaves out (0.4 / 2)^2 =
 * 4 % of it; of 200 runs 192 are expected inside, give or take 2.8 (three times: 184 to 199). */
static void the_truth_is_in_the_interval_as_often_as_it_says(void **state)
{
    (void)state;
    int charge = covered("charge", CHARGE / 3600, 0.002, 0.002, 11);
    int energy = covered("energy", ENERGY / 3600, 0.002, 0.002, 12);
    print_message("charge: %d of %d, expected all; energy: %d, expected 192\n", charge, RUNS,
                  energy);
    assert_int_equal(charge, RUNS);
    assert_in_range(energy, 184, 199);
}

static void a_misreading_moves_what_is_read_and_not_the_cell(void **state)
{
    (void)state;
    struct rig rig;
    rig_open(&rig, 1);
    struct misreading misreading = {{0, 0.002}, {-0.003, 0}, {0, 0}};
    simulated_misread(rig.bench.channels[0], &misreading);
    rig_queue(&rig, "d", "A");
    rig_work(&rig);
    json_t *out = outcome_of(&rig, "discharge");
    assert_near(value(out, "charge"), 0.997 * CHARGE / 3600, 1e-12);
    assert_near(value(out, "last_voltage"), 1.202, 1e-12);
    json_decref(out);
    struct cell_facts facts;
    facts_of_cell(rig.logbook, "A", &facts, &rig.error);
    struct simcell *cell = world_cell(rig.world, &facts, NULL, RIG_START, &rig.error);
    assert_near(cell->charge, 3600 - CHARGE, 1e-6);
    rig_close(&rig);
}

/* --- the session ----------------------------------------------------------------------------- */

static void a_session_says_what_its_channels_were(void **state)
{
    (void)state;
    struct rig rig;
    rig_open(&rig, 2);
    rig.bench.channels[0]->accuracy = bench_meter;
    rig_queue(&rig, "d", "A");
    rig_work(&rig);
    rig.bench.channels[0]->accuracy = STATES_NOTHING;
    rig_queue(&rig, "d", "B");
    rig_work(&rig);

    json_t *all = rig_rows(&rig, LIST_CHANNELS, 0), *of_first = rig_rows(&rig, LIST_CHANNELS, 1);
    json_t *of_second = rig_rows(&rig, LIST_CHANNELS, 2);
    assert_int_equal(json_array_size(all), 4);
    assert_int_equal(json_array_size(of_first), 1);
    assert_int_equal(json_array_size(of_second), 1);
    assert_string_equal(rig_text(of_first, 0, "channel"), "S1");
    assert_string_equal(rig_text(of_first, 0, "how"), "simulated");
    const json_t *accuracy = json_object_get(json_array_get(of_first, 0), "accuracy");
    const json_t *voltage = json_object_get(accuracy, "voltage");
    assert_near(json_number_value(json_object_get(voltage, "absolute")), 0.002, 1e-15);
    assert_null(json_object_get(accuracy, "temperature"));
    accuracy = json_object_get(json_array_get(of_second, 0), "accuracy");
    assert_int_equal(json_object_size(accuracy), 0);
    json_decref(all);
    json_decref(of_first);
    json_decref(of_second);
    rig_close(&rig);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_discharge_has_the_uncertainty_of_its_meters),
        cmocka_unit_test(nothing_stated_is_no_uncertainty_and_not_zero),
        cmocka_unit_test(a_kill_changes_no_uncertainty),
        cmocka_unit_test(a_replay_hears_the_same_uncertainty),
        cmocka_unit_test(an_end_by_voltage_is_as_sharp_as_its_slope),
        cmocka_unit_test(a_voltage_misread_moves_the_end_within_what_is_stated),
        cmocka_unit_test(a_resistance_is_a_difference_of_readings),
        cmocka_unit_test(what_cannot_be_has_no_uncertainty),
        cmocka_unit_test(a_display_adds_its_last_digit),
        cmocka_unit_test(the_truth_is_in_the_interval_as_often_as_it_says),
        cmocka_unit_test(a_misreading_moves_what_is_read_and_not_the_cell),
        cmocka_unit_test(a_session_says_what_its_channels_were),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
