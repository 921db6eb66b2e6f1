/* Typical cells against handbook values. Unless a source stands beside a number it comes from
 * memory of handbooks of the trade, and bounds what is usual, not what is right. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "bench/simcell.h"

#define AH 3600.0
#define IN(value, low, high)                                                                       \
    do {                                                                                           \
        double value_ = (value);                                                                   \
        if (!(value_ >= (low) && value_ <= (high)))                                                \
            fail_msg("%s is %g, not from %g to %g", #value, value_, (double)(low),                 \
                     (double)(high));                                                              \
    } while (0)

static struct simcell typical(const char *chemistry, const char *model, uint64_t seed)
{
    struct cell_facts facts = {.label = "KES-01",
                               .profile = profile_find(chemistry),
                               .rated_charge = 2 * AH,
                               .seed = seed};
    struct simcell_truth truth;
    struct simcell cell;
    snprintf(facts.model, sizeof(facts.model), "%s", model);
    simcell_truth_typical(&truth, &facts);
    truth.noise_voltage = truth.noise_temperature = 0;
    assert_int_equal(simcell_truth_check(&truth, NULL), 0);
    simcell_new(&cell, &truth, 0, seed);
    return cell;
}

static struct reading shown(struct simcell *cell)
{
    struct reading reading = {0};
    simcell_read(cell, &reading);
    return reading;
}

static void wait(struct simcell *cell, double s)
{
    simcell_advance(cell, cell->as_of + (utc_us)llround(s * 1e6));
}

static double soc(const struct simcell *cell)
{
    return cell->charge / simcell_capacity(cell);
}

/* Drains at 0.2 It of 2 Ah to 1.0 V, the pre-discharge of IEC 61951-2; what came out, A.s. */
static double drain(struct simcell *cell)
{
    double out = 0;
    cell->drive = (struct drive){DRIVE_CURRENT, -0.4, NAN};
    for (wait(cell, 1); shown(cell).voltage > 1.0; wait(cell, 1))
        out += 0.4;
    cell->drive = DRIVE_NOTHING;
    wait(cell, 3600);
    return out;
}

static void charge_for(struct simcell *cell, double amperes, double s)
{
    cell->drive = (struct drive){DRIVE_CURRENT, amperes, NAN};
    for (double t = 0; t < s; t += 60)
        wait(cell, 60);
}

/* IEC 61951-2: 0.1 It for 16 h is the standard charge. Handbooks: 160 % in for 100 % out; at the
 * end 1.42 to 1.47 V, a few kelvin warm. */
static void sixteen_hours_fill_a_cell(void **state)
{
    struct simcell cell = typical("NiMH", "Kestrel 2000", 3);
    (void)state;
    drain(&cell);
    charge_for(&cell, 0.2, 16 * 3600);
    IN(soc(&cell), 0.995, 1.0);
    IN(shown(&cell).voltage, 1.42, 1.47);
    IN(cell.temperature, 20.5, 28);
    IN(drain(&cell) / (1.6 * 2 * AH), 0.58, 0.70);
    charge_for(&cell, 0.2, 8 * 3600); /* half the time does not */
    IN(soc(&cell), 0.6, 0.85);
}

struct fast {
    double peak, fall, rise; /* V, V after the peak, K/min at most */
    double input;            /* of 2 Ah, when 5 mV below the peak; NAN if never */
    double end;              /* V before the fall */
};

/* Charges until 160 % of the rating is in. */
static struct fast charge_fast(const char *chemistry, double rate)
{
    struct simcell cell = typical(chemistry, "Kestrel 2000", 3);
    struct fast fast = {.input = NAN};
    drain(&cell);
    cell.drive = (struct drive){DRIVE_CURRENT, 2 * rate, NAN};
    for (double t = 0; t < 1.6 * 3600 / rate; t += 10) {
        double before = cell.temperature;
        wait(&cell, 10);
        double voltage = shown(&cell).voltage;
        fast.peak = fmax(fast.peak, voltage);
        fast.fall = fmax(fast.fall, fast.peak - voltage);
        fast.rise = fmax(fast.rise, (cell.temperature - before) * 6);
        if (isnan(fast.input) && fast.fall >= 0.005)
            fast.input = t * rate / 3600;
    }
    return fast;
}

/* Handbooks: -dV of 3 to 10 mV serves as the end from 0.5 It on, and is unreliable below 0.3 It;
 * the temperature rises by about 1 K/min at 1 It; a fast charge stores 85 to 95 %. */
static void voltage_falls_at_the_end_of_a_fast_charge(void **state)
{
    struct fast slow = charge_fast("NiMH", 0.1), half = charge_fast("NiMH", 0.5),
                fast = charge_fast("NiMH", 1);
    (void)state;
    IN(slow.fall, 0, 0.002);
    IN(half.fall, 0.010, 0.05);
    IN(fast.fall, 0.010, 0.05);
    IN(half.input, 0.95, 1.2);
    IN(fast.input, 0.95, 1.2);
    IN(fast.peak, 1.45, 1.60);
    assert_true(half.peak < fast.peak && slow.peak < half.peak);
    IN(fast.rise, 0.8, 3);
    IN(slow.rise, 0, 0.1);
}

/* Handbooks: NiCd falls by 10 to 20 mV where NiMH falls by 3 to 10. */
static void nickel_cadmium_falls_further(void **state)
{
    (void)state;
    assert_true(charge_fast("NiCd", 1).fall > 1.3 * charge_fast("NiMH", 1).fall);
}

/* Handbooks, rested open-circuit voltage at 20 degC: full 1.38 to 1.42 V, half 1.29 to 1.30,
 * 20 % 1.25, 5 % 1.18 to 1.20. */
static void rested_voltage_follows_the_handbook(void **state)
{
    static const struct {
        double soc, low, high;
    } points[] = {{1, 1.38, 1.42}, {0.5, 1.29, 1.30}, {0.2, 1.245, 1.255}, {0.05, 1.18, 1.20}};
    struct simcell cell = typical("NiMH", "Kestrel 2000", 3);
    (void)state;
    for (size_t i = 0; i < sizeof(points) / sizeof(points[0]); i++) {
        cell.charge = points[i].soc * simcell_capacity(&cell);
        IN(shown(&cell).voltage, points[i].low, points[i].high);
    }
}

/* Common practice, no source: a year on the shelf leaves 70 to 85 % in good cells and about half in
 * poor ones; 42 days cost a good cell a few percent. Survey range of low self-discharge cells
 * (encyclopedia that cites a test): 0.08 to 2.9 % a month; poor ones lie above. */
static void shelf_leaves_what_it_usually_leaves(void **state)
{
    double best = 0, worst = 1;
    (void)state;
    for (int i = 0; i < 40; i++) {
        char model[32];
        snprintf(model, sizeof(model), "model %d", i);
        struct simcell cell = typical("NiMH", model, (uint64_t)i);
        cell.charge = simcell_capacity(&cell);
        wait(&cell, 42 * 86400.0);
        IN(soc(&cell), 0.89, 0.99);
        wait(&cell, (365 - 42) * 86400.0);
        best = fmax(best, soc(&cell));
        worst = fmin(worst, soc(&cell));
        IN(shown(&cell).voltage, 1.25, 1.36); /* and the open voltage tells little */
    }
    IN(best, 0.75, 0.90);
    IN(worst, 0.42, 0.60);
}

/* Handbooks, AA: d.c. resistance 25 to 60 mohm when new; 80 % of capacity after 200 to 500 hard
 * cycles, 0.02 to 0.1 % a cycle early. */
static void resistance_and_wear_are_usual(void **state)
{
    (void)state;
    for (int i = 0; i < 40; i++) {
        char model[32];
        snprintf(model, sizeof(model), "model %d", i);
        struct simcell cell = typical("NiMH", model, (uint64_t)i);
        IN(cell.truth.r0 + cell.truth.r1, 0.025, 0.070);
        IN(cell.truth.r1 * cell.truth.c1, 10, 60);
        IN(cell.truth.fade, 0.0002, 0.001);
        cell.throughput = 300 * cell.truth.capacity;
        IN(simcell_capacity(&cell) / cell.truth.capacity, 0.7, 0.95);
        IN(simcell_r0(&cell) / cell.truth.r0, 1.1, 2.5);
    }
}

/* Within a lot the capacity scatters by 0.5 to 2 %; between models by more. */
static void cells_of_a_box_differ_less_than_models(void **state)
{
    double sum = 0, squares = 0, low = INFINITY, high = 0;
    (void)state;
    for (int i = 0; i < 200; i++) {
        double capacity = typical("NiMH", "Kestrel 2000", (uint64_t)i).truth.capacity / (2 * AH);
        sum += capacity;
        squares += capacity * capacity;
    }
    double mean = sum / 200, sd = sqrt(squares / 200 - mean * mean);
    IN(sd / mean, 0.005, 0.02);
    for (int i = 0; i < 40; i++) {
        char model[32];
        snprintf(model, sizeof(model), "model %d", i);
        double capacity = typical("NiMH", model, 1).truth.capacity / (2 * AH);
        low = fmin(low, capacity);
        high = fmax(high, capacity);
    }
    assert_true(high - low > 5 * sd);
    IN(low, 0.93, 1.0);
    IN(high, 1.0, 1.12);
}

static void the_same_seed_is_the_same_cell(void **state)
{
    struct simcell a = typical("NiMH", "Kestrel 2000", 11), b = typical("NiMH", "Kestrel 2000", 11),
                   c = typical("NiMH", "Kestrel 2000", 12);
    (void)state;
    assert_memory_equal(&a, &b, sizeof(a));
    assert_true(a.truth.capacity != c.truth.capacity);
}

static void every_chemistry_has_a_possible_truth(void **state)
{
    (void)state;
    for (int i = 0; profile_at(i) != NULL; i++) {
        const struct profile *profile = profile_at(i);
        struct simcell cell = typical(profile->chemistry, "Kestrel 2000", 3);
        cell.charge = 0.5 * simcell_capacity(&cell);
        IN(shown(&cell).voltage, profile->end_voltage, profile->limits.voltage_most);
        cell.charge = simcell_capacity(&cell);
        IN(shown(&cell).voltage, profile->nominal_voltage, profile->limits.voltage_most);
        cell.charge = 0;
        IN(shown(&cell).voltage, 0, profile->end_voltage);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sixteen_hours_fill_a_cell),
        cmocka_unit_test(voltage_falls_at_the_end_of_a_fast_charge),
        cmocka_unit_test(nickel_cadmium_falls_further),
        cmocka_unit_test(rested_voltage_follows_the_handbook),
        cmocka_unit_test(shelf_leaves_what_it_usually_leaves),
        cmocka_unit_test(resistance_and_wear_are_usual),
        cmocka_unit_test(cells_of_a_box_differ_less_than_models),
        cmocka_unit_test(the_same_seed_is_the_same_cell),
        cmocka_unit_test(every_chemistry_has_a_possible_truth),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
