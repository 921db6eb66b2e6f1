/* Quantities that are right: every unit in every spelling, compound times, multiples of It, and
 * what is written back. The wrong ones are in test_quantity_errors.c. */
#include "support/cmocka_setup.h"

#include <math.h>
#include <string.h>

#include "base/quantity.h"
#include "base/random.h"

#define EXACT 1e-15

static const struct {
    const char *text;
    enum dimension dimension;
    double si;
} good[] = {
    /* what the language's description promises */
    {"500 mA", DIM_CURRENT, 0.5},
    {"0.2 It", DIM_RATE, 0.2},
    {"0.2 C", DIM_RATE, 0.2},
    {"16 h", DIM_TIME, 57600},
    {"-5 mV", DIM_VOLTAGE, -0.005},
    {"2.1 Ah", DIM_CHARGE, 7560},
    {"20 °C", DIM_TEMPERATURE, 20},
    {"20 degC", DIM_TEMPERATURE, 20},
    {"85 mohm", DIM_RESISTANCE, 0.085},
    {"85 mΩ", DIM_RESISTANCE, 0.085}, /* U+03A9 */
    {"1 K/min", DIM_TEMPERATURE_RATE, 1.0 / 60},
    {"60 %", DIM_RATIO, 0.6},
    {"3 h 10 min", DIM_TIME, 11400},
    {"PT1H", DIM_TIME, 3600},
    {"P42D", DIM_TIME, 42 * 86400.0},
    {"P6W", DIM_TIME, 42 * 86400.0},
    /* every unit and spelling */
    {"500", DIM_NUMBER, 500},
    {"3 nA", DIM_CURRENT, 3e-9},
    {"3 uA", DIM_CURRENT, 3e-6},
    {"3 \xc2\xb5"
     "A",
     DIM_CURRENT, 3e-6}, /* U+00B5 */
    {"3 \xce\xbc"
     "A",
     DIM_CURRENT, 3e-6}, /* U+03BC */
    {"3 A", DIM_CURRENT, 3},
    {"3 kA", DIM_CURRENT, 3000},
    {"1.2 V", DIM_VOLTAGE, 1.2},
    {"1.2 kV", DIM_VOLTAGE, 1200},
    {"1 MV", DIM_VOLTAGE, 1e6}, /* a megavolt: not this program's to judge */
    {"250 uV", DIM_VOLTAGE, 250e-6},
    {"0.6 W", DIM_POWER, 0.6},
    {"600 mW", DIM_POWER, 0.6},
    {"1 kW", DIM_POWER, 1000},
    {"85 mOhm", DIM_RESISTANCE, 0.085},
    {"85 m\xe2\x84\xa6", DIM_RESISTANCE, 0.085}, /* U+2126 */
    {"2 ohm", DIM_RESISTANCE, 2},
    {"2 Ohm", DIM_RESISTANCE, 2},
    {"2 Ω", DIM_RESISTANCE, 2},
    {"10 kohm", DIM_RESISTANCE, 10000},
    {"10 Mohm", DIM_RESISTANCE, 1e7},
    {"5 s", DIM_TIME, 5},
    {"5 ms", DIM_TIME, 0.005},
    {"5 us", DIM_TIME, 5e-6},
    {"5 min", DIM_TIME, 300},
    {"5 h", DIM_TIME, 18000},
    {"42 d", DIM_TIME, 42 * 86400.0},
    {"6 wk", DIM_TIME, 42 * 86400.0},
    {"2.1 A.h", DIM_CHARGE, 7560},
    {"2.1 A·h", DIM_CHARGE, 7560},
    {"2100 mAh", DIM_CHARGE, 7560},
    {"2100 mA.h", DIM_CHARGE, 7560},
    {"2100 mA·h", DIM_CHARGE, 7560},
    {"7560 As", DIM_CHARGE, 7560},
    {"7560 A.s", DIM_CHARGE, 7560},
    {"7560 A·s", DIM_CHARGE, 7560},
    {"2.4 Wh", DIM_ENERGY, 8640},
    {"2.4 W.h", DIM_ENERGY, 8640},
    {"2.4 W·h", DIM_ENERGY, 8640},
    {"2400 mWh", DIM_ENERGY, 8640},
    {"1 kWh", DIM_ENERGY, 3.6e6},
    {"8640 J", DIM_ENERGY, 8640},
    {"8.64 kJ", DIM_ENERGY, 8640},
    {"8640 Ws", DIM_ENERGY, 8640},
    {"8640 W.s", DIM_ENERGY, 8640},
    {"20 Cel", DIM_TEMPERATURE, 20},
    {"-18 °C", DIM_TEMPERATURE, -18},
    {"10 K", DIM_TEMPERATURE_DIFFERENCE, 10},
    {"10 mK", DIM_TEMPERATURE_DIFFERENCE, 0.01},
    {"2 V/s", DIM_VOLTAGE_RATE, 2},
    {"1 mV/s", DIM_VOLTAGE_RATE, 1e-3},
    {"1 mV/min", DIM_VOLTAGE_RATE, 1e-3 / 60},
    {"1 mV/h", DIM_VOLTAGE_RATE, 1e-3 / 3600},
    {"1 K/s", DIM_TEMPERATURE_RATE, 1},
    {"1 K/h", DIM_TEMPERATURE_RATE, 1.0 / 3600},
    {"1 degC/min", DIM_TEMPERATURE_RATE, 1.0 / 60},
    {"1 °C/min", DIM_TEMPERATURE_RATE, 1.0 / 60},
    {"1 Cel/min", DIM_TEMPERATURE_RATE, 1.0 / 60},
    {"1 degC/s", DIM_TEMPERATURE_RATE, 1},
    {"1 °C/h", DIM_TEMPERATURE_RATE, 1.0 / 3600},
    /* ways to write the number and the gap */
    {"500mA", DIM_CURRENT, 0.5},
    {"  500  mA  ", DIM_CURRENT, 0.5},
    {"500\xc2\xa0mA", DIM_CURRENT, 0.5},     /* no-break space */
    {"500\xe2\x80\xafmA", DIM_CURRENT, 0.5}, /* narrow no-break space */
    {"+500 mA", DIM_CURRENT, 0.5},
    {"\xe2\x88\x92"
     "5 mV",
     DIM_VOLTAGE, -0.005}, /* U+2212 */
    {".5 A", DIM_CURRENT, 0.5},
    {"5e-1 A", DIM_CURRENT, 0.5},
    {"5E+2 mA", DIM_CURRENT, 0.5},
    {"0.50 A", DIM_CURRENT, 0.5},
    {"007 A", DIM_CURRENT, 7},
    {"-0 A", DIM_CURRENT, 0},
    {"0 A", DIM_CURRENT, 0},
    {"60%", DIM_RATIO, 0.6},
    {"0.2C", DIM_RATE, 0.2},
    /* compound times */
    {"3h10min", DIM_TIME, 11400},
    {"1 d 12 h", DIM_TIME, 129600},
    {"2 wk 1 d", DIM_TIME, 15 * 86400.0},
    {"2 h 20 min 30.5 s", DIM_TIME, 8430.5},
    {"-1 h 30 min", DIM_TIME, -5400},
};

static void reads_every_unit_and_spelling(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
        struct quantity quantity = {-1, DIMENSION_COUNT};
        struct error error = {.code = ERROR_NONE};
        if (quantity_parse(good[i].text, &quantity, &error) != 0) {
            error_print(stderr, &error);
            fail_msg("%s was refused", good[i].text);
        }
        if (quantity.dimension != good[i].dimension)
            fail_msg("%s became a %s", good[i].text, dimension_name(quantity.dimension));
        assert_near(quantity.value, good[i].si, EXACT);
        assert_false(quantity.value == 0 && signbit(quantity.value));

        double si = -1;
        assert_int_equal(quantity_read(good[i].text, good[i].dimension, 0, &si, &error), 0);
        assert_near(si, good[i].si, EXACT);
    }
}

/* Outside check. Source: The Unified Code for Units of Measure (ucum.org), case-sensitive column:
 * the names, and the sizes of the minute, hour, day, week, coulomb and joule in SI. */
static void knows_the_ucum_names(void **state)
{
    (void)state;
    static const struct {
        const char *name;
        enum dimension dimension;
        double si;
    } ucum[] = {
        {"A", DIM_CURRENT, 1},
        {"mA", DIM_CURRENT, 1e-3},
        {"V", DIM_VOLTAGE, 1},
        {"mV", DIM_VOLTAGE, 1e-3},
        {"uV", DIM_VOLTAGE, 1e-6},
        {"W", DIM_POWER, 1},
        {"Ohm", DIM_RESISTANCE, 1},
        {"mOhm", DIM_RESISTANCE, 1e-3},
        {"Cel", DIM_TEMPERATURE, 1},
        {"K", DIM_TEMPERATURE_DIFFERENCE, 1},
        {"s", DIM_TIME, 1},
        {"min", DIM_TIME, 60},
        {"h", DIM_TIME, 3600},
        {"d", DIM_TIME, 86400},
        {"wk", DIM_TIME, 604800},
        {"A.h", DIM_CHARGE, 3600},
        {"mA.h", DIM_CHARGE, 3.6},
        {"A.s", DIM_CHARGE, 1},
        {"W.h", DIM_ENERGY, 3600},
        {"J", DIM_ENERGY, 1},
        {"%", DIM_RATIO, 0.01},
        {"mV/min", DIM_VOLTAGE_RATE, 1e-3 / 60},
        {"K/min", DIM_TEMPERATURE_RATE, 1.0 / 60},
    };
    for (size_t i = 0; i < sizeof ucum / sizeof ucum[0]; i++) {
        enum dimension dimension = DIMENSION_COUNT;
        double factor = 0;
        if (unit_find(ucum[i].name, &dimension, &factor) != 0)
            fail_msg("UCUM's %s is unknown", ucum[i].name);
        assert_int_equal(dimension, ucum[i].dimension);
        assert_near(factor, ucum[i].si, EXACT);
    }
    /* UCUM: hour, minute, day, degree Celsius with a prefix or the wrong case are no units here. */
    static const char *const none[] = {"mh",  "kmin", "mCel", "a",  "v",
                                       "OHM", "cel",  "S",    "md", "m"};
    for (size_t i = 0; i < sizeof none / sizeof none[0]; i++) {
        enum dimension dimension;
        double factor;
        assert_int_not_equal(unit_find(none[i], &dimension, &factor), 0);
    }
}

static void decimal_prefixes_round_to_the_nearest_double(void **state)
{
    (void)state;
    struct quantity quantity;
    assert_int_equal(quantity_parse("85 mohm", &quantity, NULL), 0);
    assert_true(quantity.value == 0.085);
    assert_int_equal(quantity_parse("7 %", &quantity, NULL), 0);
    assert_true(quantity.value == 0.07);
    assert_int_equal(quantity_parse("4.35 mA", &quantity, NULL), 0);
    assert_true(quantity.value == 0.00435);
}

/* IEC 61434: It [A] = rated capacity [Ah] / 1 h. The case of 2000 mAh at 0.1 It, 200 mA, is common
 * practice, no source. */
static void turns_multiples_of_it_into_amperes(void **state)
{
    (void)state;
    double si = 0;
    assert_int_equal(quantity_read("0.1 It", DIM_CURRENT, 2.0 * 3600, &si, NULL), 0);
    assert_near(si, 0.2, EXACT);
    assert_int_equal(quantity_read("0.2 C", DIM_CURRENT, 2.1 * 3600, &si, NULL), 0);
    assert_near(si, 0.42, EXACT);
    assert_int_equal(quantity_read("1 It", DIM_CURRENT, 0.8 * 3600, &si, NULL), 0);
    assert_near(si, 0.8, EXACT);
    assert_int_equal(quantity_read("500 mA", DIM_CURRENT, 2.0 * 3600, &si, NULL), 0);
    assert_near(si, 0.5, EXACT);

    struct error error;
    si = 77;
    assert_int_equal(quantity_read("0.2 It", DIM_CURRENT, 0, &si, &error), ERROR_USAGE);
    assert_non_null(strstr(error.why, "rated capacity"));
    assert_true(si == 77);
}

static void takes_degrees_for_a_difference_but_no_kelvin_for_a_temperature(void **state)
{
    (void)state;
    double si = 0;
    assert_int_equal(quantity_read("10 degC", DIM_TEMPERATURE_DIFFERENCE, 0, &si, NULL), 0);
    assert_near(si, 10, EXACT);
    assert_int_equal(quantity_read("10 K", DIM_TEMPERATURE, 0, &si, NULL), ERROR_USAGE);
}

static void bench_units_are_si_divided(void **state)
{
    (void)state;
    assert_near(quantity_to_bench(7560, DIM_CHARGE), 2.1, EXACT);
    assert_near(quantity_from_bench(2.1, DIM_CHARGE), 7560, EXACT);
    assert_near(quantity_to_bench(8640, DIM_ENERGY), 2.4, EXACT);
    assert_near(quantity_to_bench(0.6, DIM_RATIO), 60, EXACT);
    assert_near(quantity_to_bench(57600, DIM_TIME), 57600, EXACT);
    assert_string_equal(dimension_unit(DIM_CHARGE), "Ah");
    assert_string_equal(dimension_unit(DIM_RESISTANCE), "ohm");
    assert_string_equal(dimension_name(DIM_VOLTAGE), "voltage");
    /* Every bench unit is a name that the table of units gives the same size. */
    for (int i = 0; i < DIMENSION_COUNT; i++) {
        enum dimension dimension;
        double factor;
        assert_int_equal(unit_find(dimension_unit((enum dimension)i), &dimension, &factor), 0);
        assert_int_equal(dimension, i);
        assert_near(factor, quantity_from_bench(1, dimension), EXACT);
    }
}

static void writes_what_people_would(void **state)
{
    (void)state;
    static const struct {
        double si;
        enum dimension dimension;
        const char *text;
    } written[] = {
        {0.5, DIM_CURRENT, "500 mA"},
        {1.95 * 3600, DIM_CHARGE, "1.95 Ah"},
        {0.085, DIM_RESISTANCE, "85 mohm"},
        {57600, DIM_TIME, "16 h"},
        {0.25, DIM_TIME, "250 ms"},
        {11400, DIM_TIME, "3 h 10 min"},
        {0.9, DIM_VOLTAGE, "0.9 V"},
        {-0.005, DIM_VOLTAGE, "-5 mV"},
        {1.2345678, DIM_VOLTAGE, "1.235 V"},
        {0.0999996, DIM_VOLTAGE, "0.1 V"},
        {0.099, DIM_VOLTAGE, "99 mV"},
        {0.99996, DIM_CURRENT, "1 A"},
        {0.99984, DIM_CURRENT, "999.8 mA"},
        {999.96, DIM_CURRENT, "1 kA"},
        {12.5e-6, DIM_CURRENT, "12.5 uA"},
        {3e-9, DIM_CURRENT, "3 nA"},
        {0, DIM_CURRENT, "0 A"},
        {-0.0, DIM_CURRENT, "0 A"},
        {-0.0, DIM_NUMBER, "0"},
        {-1e-18, DIM_CHARGE, "0 Ah"},
        {0.6, DIM_RATIO, "60 %"},
        {0.2, DIM_RATE, "0.2 It"},
        {20.25, DIM_TEMPERATURE, "20.25 degC"},
        {-0.04, DIM_TEMPERATURE, "-0.04 degC"},
        {10, DIM_TEMPERATURE_DIFFERENCE, "10 K"},
        {1.0 / 60, DIM_TEMPERATURE_RATE, "1 K/min"},
        {1e-3 / 60, DIM_VOLTAGE_RATE, "1 mV/min"},
        {2.4 * 3600, DIM_ENERGY, "2.4 Wh"},
        {0.6, DIM_POWER, "600 mW"},
        {300, DIM_NUMBER, "300"},
        {123456, DIM_NUMBER, "123456"},
        {0.33333333, DIM_NUMBER, "0.3333"},
        {0.00012, DIM_NUMBER, "0.00012"},
        {1e-12, DIM_NUMBER, "1e-12"},
        {1e16, DIM_RATE, "1e+16 It"},
        {NAN, DIM_CURRENT, "unknown"},
        {INFINITY, DIM_TIME, "unknown"},
    };
    for (size_t i = 0; i < sizeof written / sizeof written[0]; i++) {
        char buffer[64];
        assert_string_equal(
            quantity_format(written[i].si, written[i].dimension, buffer, sizeof buffer),
            written[i].text);
    }
    char small[5];
    assert_string_equal(quantity_format(0.5, DIM_CURRENT, small, sizeof small), "500 ");
}

/* Over twelve decades and every dimension: what is written is read back as the same, to the four
 * digits that are shown, and the prefix keeps one to three digits before the point. */
static void reads_back_what_it_wrote(void **state)
{
    (void)state;
    struct random random;
    random_seed(&random, 20);
    for (int i = 0; i < 40000; i++) {
        enum dimension dimension = (enum dimension)(i % DIMENSION_COUNT);
        double si = pow(10, -6 + 12 * random_unit(&random)) * (random_bits(&random) & 1 ? 1 : -1);
        si = quantity_from_bench(si, dimension);
        char buffer[64];
        quantity_format(si, dimension, buffer, sizeof buffer);
        double back;
        if (quantity_read(buffer, dimension, 0, &back, NULL) != 0)
            fail_msg("%.17g became %s, which cannot be read", si, buffer);
        double allowed = dimension == DIM_TIME ? 0.0025 : 0.00051;
        if (fabs(back - si) > allowed * fabs(si))
            fail_msg("%.17g became %s", si, buffer);
        if (dimension == DIM_CURRENT || dimension == DIM_CHARGE)
            assert_in_range(strspn(buffer + (buffer[0] == '-'), "0123456789"), 1, 3);
    }
}

/* What a person typed shows how finely the display reads. */
static void tells_the_step_of_the_last_digit(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        double step;
    } cases[] = {
        {"1973 mAh", 3.6}, {"1.973 Ah", 3.6},   {"1.97Ah", 36}, {"1.320 V", 0.001},
        {"-5 mV", 0.001},  {"4 h 2 min", 60},   {"4 h", 3600},  {"45.5 mohm", 1e-4},
        {".5 V", 0.1},     {"1.50e-3 A", 1e-5}, {"2e3 mA", 1},  {"24 \xc2\xb0\x43", 1},
        {"PT4H", 0},       {"many", 0},         {"", 0},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        if (fabs(quantity_step(cases[i].text) - cases[i].step) > 1e-9 * cases[i].step)
            fail_msg("%s: %g", cases[i].text, quantity_step(cases[i].text));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reads_every_unit_and_spelling),
        cmocka_unit_test(knows_the_ucum_names),
        cmocka_unit_test(decimal_prefixes_round_to_the_nearest_double),
        cmocka_unit_test(turns_multiples_of_it_into_amperes),
        cmocka_unit_test(takes_degrees_for_a_difference_but_no_kelvin_for_a_temperature),
        cmocka_unit_test(bench_units_are_si_divided),
        cmocka_unit_test(writes_what_people_would),
        cmocka_unit_test(reads_back_what_it_wrote),
        cmocka_unit_test(tells_the_step_of_the_last_digit),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
