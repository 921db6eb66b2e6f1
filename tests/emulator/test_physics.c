/* Instruments act on the cell, and see what they do. The cell is ideal where a closed form is
 * checked: charge = current * time, V = OCV + I * R0, and Ohm's law for what is in parallel. */
#include "rig.h"

static struct rig *rig;

static int set_up(void **state)
{
    struct simcell_truth truth = rig_ideal();
    (void)state;
    rig = rig_new(&truth);
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    rig_free(rig);
    return 0;
}

/* 1 h at 0.5 A is 0.5 Ah, and the voltage stands 12.5 mV above the cell's own. */
static void test_a_supply_charges(void **state)
{
    (void)state;
    tell(rig, &rig->supply, "VOLT 1.6;CURR 0.5;OUTP ON");
    assert_near(ask_number(rig, &rig->meter, "MEAS:VOLT?"), 1.2625, 1e-9);
    assert_near(ask_number(rig, &rig->supply, "MEAS:VOLT?"), 1.263, 1e-9); /* in mV */
    pass(rig, 3600);
    assert_near(ask_number(rig, &rig->supply, "MEAS:CURR?"), 0.5, 1e-9);
    assert_near(ask_number(rig, &rig->meter, "MEAS:CURR?"), 0.5, 1e-9);
    assert_near(rig->cell.charge, 3600 + 0.5 * 3600, 1e-6);
    tell(rig, &rig->supply, "OUTP OFF");
    assert_near(ask_number(rig, &rig->supply, "MEAS:CURR?"), 0, 1e-12);
    assert_near(ask_number(rig, &rig->meter, "MEAS:VOLT?"), 1.25, 1e-9);
    pass(rig, 3600);
    ask(rig, &rig->meter, "READ?");
    assert_near(rig->cell.charge, 1.5 * 3600, 1e-6);
}

/* At its voltage it gives less: (1.26 V - 1.25 V) / 25 mohm. */
static void test_a_supply_holds_its_voltage(void **state)
{
    (void)state;
    tell(rig, &rig->supply, "VOLT 1.26;CURR 2;OUTP ON");
    assert_near(ask_number(rig, &rig->supply, "MEAS:CURR?"), 0.4, 1e-9);
    assert_near(ask_number(rig, &rig->meter, "MEAS:VOLT?"), 1.26, 1e-9);
    tell(rig, &rig->supply, "VOLT 1.2"); /* below the cell: one quadrant, nothing flows */
    assert_near(ask_number(rig, &rig->supply, "MEAS:CURR?"), 0, 1e-12);
    assert_near(ask_number(rig, &rig->meter, "MEAS:VOLT?"), 1.25, 1e-9);
}

static void test_a_load_takes_current_power_and_resistance(void **state)
{
    (void)state;
    tell(rig, &rig->load, "FUNC CURR;CURR 1;INP ON");
    assert_near(ask_number(rig, &rig->load, "MEAS:CURR?"), 1, 1e-9);
    assert_near(ask_number(rig, &rig->meter, "MEAS:VOLT?"), 1.225, 1e-9);
    assert_near(ask_number(rig, &rig->meter, "MEAS:CURR?"), -1, 1e-9);
    pass(rig, 360);
    tell(rig, &rig->load, "FUNC POW;POW 1.2");
    assert_near(rig->cell.charge, 3600 - 360, 1e-6);
    assert_near(ask_number(rig, &rig->load, "MEAS:POW?"), 1.2, 0.00051);
    /* V = OCV/2 + sqrt(OCV^2/4 - P R0) */
    assert_near(ask_number(rig, &rig->meter, "MEAS:VOLT?"), 0.625 + sqrt(0.390625 - 0.03), 6e-5);
    tell(rig, &rig->load, "FUNC RES;RES 2.475");
    assert_near(ask_number(rig, &rig->meter, "MEAS:CURR?"), -0.5, 1e-9);
    assert_near(ask_number(rig, &rig->meter, "MEAS:VOLT?"), 1.2375, 6e-5);
    assert_string_equal(ask(rig, &rig->load, "FUNC?"), "RES");
}

/* The cell's end: empty, its voltage breaks down and nothing flows any more. */
static void test_an_empty_cell(void **state)
{
    (void)state;
    tell(rig, &rig->load, "CURR 1;INP ON");
    pass(rig, 3599);
    assert_near(ask_number(rig, &rig->load, "MEAS:VOLT?"), 1.225, 1e-9);
    pass(rig, 3);
    assert_near(ask_number(rig, &rig->load, "MEAS:VOLT?"), 0, 1e-9);
    assert_near(ask_number(rig, &rig->load, "MEAS:CURR?"), 0, 1e-9);
}

static void test_two_quadrants(void **state)
{
    (void)state;
    tell(rig, &rig->quadrant, "VOLT 1.5;CURR 0.5;OUTP ON");
    assert_near(ask_number(rig, &rig->quadrant, "MEAS:CURR?"), 0.5, 1e-9);
    pass(rig, 720);
    tell(rig, &rig->quadrant, "CURR -1");
    assert_near(rig->cell.charge, 3600 + 360, 1e-6);
    assert_near(ask_number(rig, &rig->quadrant, "MEAS:CURR?"), -1, 1e-9);
    assert_near(ask_number(rig, &rig->quadrant, "MEAS:VOLT?"), 1.225, 1e-9);
    pass(rig, 360);
    tell(rig, &rig->quadrant, "VOLT:LIM:LOW 1.24"); /* takes no more than keeps the cell there */
    assert_near(rig->cell.charge, 3600, 1e-6);
    assert_near(ask_number(rig, &rig->quadrant, "MEAS:CURR?"), -0.4, 1e-4);
    assert_near(ask_number(rig, &rig->quadrant, "MEAS:VOLT?"), 1.24, 1e-4);
}

/* Supply and load on at once, as nobody should: the cell gets the difference. */
static void test_supply_and_load_together(void **state)
{
    (void)state;
    tell(rig, &rig->supply, "VOLT 5;CURR 2;OUTP ON");
    tell(rig, &rig->load, "CURR 0.5;INP ON");
    assert_near(ask_number(rig, &rig->meter, "MEAS:CURR?"), 1.5, 1e-6);
    assert_near(ask_number(rig, &rig->supply, "MEAS:CURR?"), 2, 1e-6);
    assert_near(ask_number(rig, &rig->load, "MEAS:CURR?"), 0.5, 1e-6);
    pass(rig, 60);
    ask(rig, &rig->meter, "READ?");
    assert_near(rig->cell.charge, 3600 + 90, 1e-4);
    tell(rig, &rig->load, "CURR 3");
    assert_near(ask_number(rig, &rig->meter, "MEAS:CURR?"), -1, 1e-6);
    tell(rig, &rig->supply, "VOLT 1.24"); /* holds 1.24 V: the cell gives 0.4 A, the supply 2.6 A */
    tell(rig, &rig->supply, "CURR 5");
    assert_near(ask_number(rig, &rig->meter, "MEAS:VOLT?"), 1.24, 1e-6);
    assert_near(ask_number(rig, &rig->supply, "MEAS:CURR?"), 2.6, 1e-6);
}

static void test_over_voltage_trips(void **state)
{
    (void)state;
    tell(rig, &rig->supply, "VOLT 5;CURR 0.5;VOLT:PROT 2;:OUTP ON");
    assert_string_equal(ask(rig, &rig->supply, "OUTP?"), "1");
    rig->set.cell_out = true; /* the lead comes off: the voltage rises to what is set */
    set_changed(&rig->set);
    assert_string_equal(ask(rig, &rig->supply, "OUTP?;VOLT:PROT:TRIP?"), "0;1");
    assert_memory_equal(ask(rig, &rig->supply, "SYST:ERR?"), "-310,", 5);
    assert_string_equal(ask(rig, &rig->supply, "STAT:QUES:COND?"), "1");
}

static void test_no_cell(void **state)
{
    (void)state;
    rig->set.cell_out = true;
    set_changed(&rig->set);
    assert_near(ask_number(rig, &rig->meter, "MEAS:VOLT?"), 0, 1e-12);
    tell(rig, &rig->supply, "VOLT 1.6;CURR 0.5;OUTP ON");
    assert_near(ask_number(rig, &rig->supply, "MEAS:VOLT?"), 1.6, 1e-9);
    assert_near(ask_number(rig, &rig->supply, "MEAS:CURR?"), 0, 1e-9);
    pass(rig, 3600);
    ask(rig, &rig->meter, "READ?");
    assert_near(rig->cell.charge, 3600, 1e-9);
}

static void test_a_relay_parts_the_cell(void **state)
{
    (void)state;
    rig_add_relay(rig);
    tell(rig, &rig->supply, "VOLT 1.6;CURR 0.5;OUTP ON");
    assert_near(ask_number(rig, &rig->supply, "MEAS:CURR?"), 0, 1e-12);
    assert_near(ask_number(rig, &rig->supply, "MEAS:VOLT?"), 1.6, 1e-9);
    assert_near(ask_number(rig, &rig->meter, "MEAS:VOLT?"), 1.25, 1e-9);
    tell(rig, &rig->relay, "ROUT:CLOS (@1)");
    assert_near(ask_number(rig, &rig->supply, "MEAS:CURR?"), 0.5, 1e-12);
    pass(rig, 72);
    tell(rig, &rig->relay, "*RST");
    pass(rig, 72);
    ask(rig, &rig->meter, "READ?");
    assert_near(rig->cell.charge, 3600 + 36, 1e-6);
}

/* A meter says what is beyond its range with the standard's number for infinity. */
static void test_ranges_of_the_meter(void **state)
{
    (void)state;
    assert_string_equal(ask(rig, &rig->meter, "MEAS:VOLT? 1"), "9.9E+37");
    assert_string_equal(ask(rig, &rig->meter, "VOLT:RANG?"), "1.0E+00");
    assert_string_equal(ask(rig, &rig->meter, "MEAS:VOLT? 5"), "1.25E+00");
    assert_string_equal(ask(rig, &rig->meter, "CONF:VOLT AUTO,0.0001;:VOLT:RANG:AUTO?"), "1");
    assert_string_equal(ask(rig, &rig->meter, "FETC?"), "");
    assert_memory_equal(ask(rig, &rig->meter, "SYST:ERR?"), "-230,", 5);
    assert_string_equal(ask(rig, &rig->meter, "SAMP:COUN 3;:READ?"), "1.25E+00,1.25E+00,1.25E+00");
    assert_string_equal(ask(rig, &rig->meter, "SAMP:COUN 1;:INIT;:FETC?"), "1.25E+00");
    assert_string_equal(ask(rig, &rig->meter, "CONF?"), "\"VOLT 1.0E+02,1.0E-04\"");
}

/* Steps of the resolution, and noise that averages with the time a reading takes. */
static void test_resolution_and_noise(void **state)
{
    (void)state;
    double sum[2] = {0}, squares[2] = {0};
    rig->cell.truth.ocv[0] = 1.23456789;
    assert_string_equal(ask(rig, &rig->meter, "MEAS:VOLT?"), "1.2346E+00");
    assert_string_equal(ask(rig, &rig->supply, "MEAS:VOLT?"), "1.235E+00");
    rig->meter.resolution[VOLTS] = 1e-6;
    assert_string_equal(ask(rig, &rig->meter, "READ?"), "1.234568E+00");
    rig->meter.noise[VOLTS] = 1e-3;
    for (int slow = 0; slow < 2; slow++) {
        tell(rig, &rig->meter, slow ? "VOLT:NPLC 100" : "VOLT:NPLC 1");
        for (int i = 0; i < 1000; i++) {
            double off = ask_number(rig, &rig->meter, "READ?") - 1.23456789;
            sum[slow] += off;
            squares[slow] += off * off;
        }
    }
    assert_near(sqrt(squares[0] / 1000), 1e-3, 1e-4);
    assert_near(sqrt(squares[1] / 1000), 1e-4, 1e-5);
    assert_true(fabs(sum[0] / 1000) < 2e-4);
    assert_string_equal(ask(rig, &rig->thermometer, "READ?"), "20.0");
}

/* A typical NiMH cell: after 16 h at 0.1 It it is full and warm, and 0.2 It to 1.0 V gives about
 * what it was sold as (the sequence of IEC 61951-2 for rated capacity; 2 Ah, so 0.2 A and 0.4
 * A). */
static void test_a_typical_cell_gives_its_capacity(void **state)
{
    (void)state;
    struct cell_facts facts = {
        .label = "cell-1", .profile = profile_find("NiMH"), .rated_charge = 7200, .seed = 5};
    struct simcell_truth truth;
    simcell_truth_typical(&truth, &facts);
    truth.noise_voltage = truth.noise_temperature = 0;
    rig_free(rig);
    rig = rig_new(&truth);
    tell(rig, &rig->supply, "VOLT 1.6;CURR 0.2;OUTP ON");
    pass(rig, 16 * 3600);
    assert_true(ask_number(rig, &rig->thermometer, "READ?") > 22);
    tell(rig, &rig->supply, "OUTP OFF");
    pass(rig, 3600);
    tell(rig, &rig->load, "CURR 0.4;INP ON");
    double hours = 0;
    while (ask_number(rig, &rig->load, "MEAS:VOLT?") >= 1.0 && hours < 10) {
        pass(rig, 36);
        hours += 0.01;
    }
    double capacity = simcell_capacity(&rig->cell) / 3600;
    assert_true(hours * 0.4 > 0.95 * capacity && hours * 0.4 < capacity);
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        TEST(test_a_supply_charges),
        TEST(test_a_supply_holds_its_voltage),
        TEST(test_a_load_takes_current_power_and_resistance),
        TEST(test_an_empty_cell),
        TEST(test_two_quadrants),
        TEST(test_supply_and_load_together),
        TEST(test_over_voltage_trips),
        TEST(test_no_cell),
        TEST(test_a_relay_parts_the_cell),
        TEST(test_ranges_of_the_meter),
        TEST(test_resolution_and_noise),
        TEST(test_a_typical_cell_gives_its_capacity),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
