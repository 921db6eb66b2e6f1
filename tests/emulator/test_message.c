/* Program messages: forms of headers, the tree, parameters, and the numbers of errors. Where a
 * check's value is from memory and not from the sheet of standards, it says so. */
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

/* The message gives no answer and exactly this error. */
static void expect_error(const char *message, int code)
{
    char want[16];
    assert_string_equal(ask(rig, &rig->supply, message), "");
    snprintf(want, sizeof want, "%d,", code);
    const char *got = ask(rig, &rig->supply, "SYST:ERR?");
    if (strncmp(got, want, strlen(want)) != 0)
        fail_msg("%s: %s, not %d", message, got, code);
    assert_string_equal(ask(rig, &rig->supply, "SYST:ERR?"), "0,\"No error\"");
}

/* SCPI-1999 volume 1, 6.2.1: exactly the short or the long form, whatever the case. */
static void test_short_and_long_forms(void **state)
{
    (void)state;
    static const char *const same[] = {
        "VOLT 1.5",
        "volt 1.5",
        "VOLTage 1.5",
        "SOUR:VOLT 1.5",
        ":SOURCE:VOLTAGE:LEVEL:IMMEDIATE:AMPLITUDE 1.5",
        "SOUR1:VOLT:LEV 1.5",
        "  VOLT   1.5  ",
        "VOLT\t1.5",
    };
    for (size_t i = 0; i < sizeof same / sizeof same[0]; i++) {
        tell(rig, &rig->supply, "VOLT 0");
        tell(rig, &rig->supply, same[i]);
        assert_near(ask_number(rig, &rig->supply, "VOLT?"), 1.5, 1e-12);
    }
    static const char *const neither[] = {"VOL 1", "VOLTA 1", "VOLTAG 1", "SOURC:VOLT 1",
                                          "VOLTAGES 1"};
    for (size_t i = 0; i < sizeof neither / sizeof neither[0]; i++)
        expect_error(neither[i], -113);
    expect_error("SYSTE:ERR?", -113);
}

/* Volume 1, 6.2.5: an omitted suffix is 1; there is no second output. -114 from memory. */
static void test_suffixes_of_headers(void **state)
{
    (void)state;
    tell(rig, &rig->supply, "OUTP1 ON");
    assert_string_equal(ask(rig, &rig->supply, "OUTP?"), "1");
    expect_error("OUTP2 ON", -114);
}

static void test_chained_commands(void **state)
{
    (void)state;
    assert_string_equal(ask(rig, &rig->supply, "VOLT 1.5;CURR 0.25;VOLT?;CURR?"),
                        "1.5E+00;2.5E-01");
    /* From the node where the last one hangs, and from the root after a colon. */
    assert_string_equal(ask(rig, &rig->supply, "SOUR:VOLT 2;CURR 0.5;:VOLT?;:SOUR:CURR?"),
                        "2.0E+00;5.0E-01");
    assert_string_equal(ask(rig, &rig->supply, "MEAS:VOLT?;CURR?"), "1.25E+00;0.0E+00");
    expect_error("VOLT:PROT 3;CURR 1", -113); /* VOLT:CURR */
    assert_near(ask_number(rig, &rig->supply, "VOLT:PROT?"), 3, 1e-12);
    /* Common commands leave the path as it is. */
    assert_string_equal(ask(rig, &rig->supply, "MEAS:VOLT?;*OPC?;CURR?"), "1.25E+00;1;0.0E+00");
    expect_error("VOLT 1;;CURR 1", -102);
    expect_error("VOLT 1;", -102);
    assert_string_equal(ask(rig, &rig->supply, ""), "");
    assert_int_equal(rig->supply.status.count, 0);
}

/* What is right before a command error is done, what comes after it is not. */
static void test_a_command_error_ends_the_message(void **state)
{
    (void)state;
    assert_string_equal(ask(rig, &rig->supply, "VOLT 1.5;VLOT 2;VOLT 3"), "");
    assert_string_equal(ask(rig, &rig->supply, "SYST:ERR?"), "-113,\"Undefined header;VLOT\"");
    assert_near(ask_number(rig, &rig->supply, "VOLT?"), 1.5, 1e-12);
    /* An execution error does not. */
    assert_string_equal(ask(rig, &rig->supply, "VOLT 500;CURR 0.75;CURR?"), "7.5E-01");
    assert_string_equal(ask(rig, &rig->supply, "SYST:ERR?"), "-222,\"Data out of range;500\"");
}

/* IEEE 488.2 7.7.2 and 7.7.3; the multipliers are from memory. */
static void test_numbers_and_units(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        double amps;
    } good[] = {
        {"0.5", 0.5},       {".5", 0.5},     {"+5E-1", 0.5}, {"5.e-1", 0.5},     {"0.5A", 0.5},
        {"0.5 A", 0.5},     {"500 MA", 0.5}, {"500mA", 0.5}, {"500000 uA", 0.5}, {"5E2 MA", 0.5},
        {"0.0005 KA", 0.5}, {"MAX", 6},      {"MINimum", 0}, {"5 E -1", 0.5},    {"DEF", 0},
    };
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
        char message[64];
        snprintf(message, sizeof message, "CURR %s", good[i].text);
        tell(rig, &rig->supply, "CURR 1");
        tell(rig, &rig->supply, message);
        assert_near(ask_number(rig, &rig->supply, "CURR?"), good[i].amps, 1e-12);
    }
    tell(rig, &rig->load, "RES 0.001 MOHM"); /* mega with ohms */
    assert_near(ask_number(rig, &rig->load, "RES?"), 1000, 1e-9);
    assert_near(ask_number(rig, &rig->supply, "CURR? MAX"), 6, 1e-12);
}

static void test_what_is_wrong_with_a_parameter(void **state)
{
    (void)state;
    expect_error("VOLT", -109);
    expect_error("VOLT 1,2", -108);
    expect_error("VOLT 1 OHM", -131);
    expect_error("VOLT 1 A", -131);
    expect_error("VOLT -1", -222);
    expect_error("VOLT 20.001", -222);
    expect_error("VOLT 1,", -102);
    expect_error("OUTP MAYBE", -224);
    /* From memory: -121, -123, -124, -134, -148, -151, -158. */
    expect_error("VOLT 1.2.3", -121);
    expect_error("VOLT -", -121);
    expect_error("VOLT 1E40000", -123);
    expect_error("VOLT 1 VVVVVVVVVVVVV", -134);
    expect_error("VOLT ON", -148);
    expect_error("VOLT \"1\"", -158);
    expect_error("VOLT \"1", -151);
    expect_error("*CLS 1", -108);
    expect_error("MEAS:VOLT? 1", -108);
    char many[400];
    snprintf(many, sizeof many, "VOLT 0.%0300d", 1);
    expect_error(many, -124);
    assert_near(ask_number(rig, &rig->supply, "VOLT?"), 0, 1e-12); /* none of them did anything */
}

static void test_booleans(void **state)
{
    (void)state;
    static const struct {
        const char *text, *is;
    } cases[] = {{"ON", "1"}, {"OFF", "0"}, {"1", "1"}, {"0", "0"},
                 {"on", "1"}, {"0.3", "0"}, {"2", "1"}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char message[32];
        snprintf(message, sizeof message, "OUTP %s;OUTP?", cases[i].text);
        assert_string_equal(ask(rig, &rig->supply, message), cases[i].is);
    }
}

/* -101 and -112 from memory; the length of a mnemonic is 488.2 7.6.1.4. */
static void test_headers_that_are_none(void **state)
{
    (void)state;
    expect_error("VOLT&X 1", -101);
    expect_error("ABCDEFGHIJKLM 1", -112);
    expect_error("*IDN", -113);
    expect_error("VOLT!", -101);
    expect_error("INP ON", -113); /* a load's */
    expect_error("VOLT\x80 1", -101);
    expect_error("VOLT\x01 1", -101);
    expect_error("MEAS:VOLT", -113);
    expect_error(":", -113);
}

/* 488.2 10.14: nothing may be asked after *IDN? in the same message (-440, from memory). */
static void test_identity(void **state)
{
    (void)state;
    assert_string_equal(ask(rig, &rig->supply, "*IDN?"), "Saltmere Instruments,SP-1,0001,1.0");
    assert_string_equal(ask(rig, &rig->meter, "*idn?"), "Saltmere Instruments,SM-1,0001,1.0");
    assert_string_equal(ask(rig, &rig->supply, "*IDN?;*OPC?"),
                        "Saltmere Instruments,SP-1,0001,1.0");
    assert_memory_equal(ask(rig, &rig->supply, "SYST:ERR?"), "-440,", 5);
}

/* Strings hide semicolons and commas; expressions hide commas. */
static void test_strings_and_channel_lists(void **state)
{
    (void)state;
    tell(rig, &rig->meter, "SENS:FUNC \"CURR:DC\"");
    assert_string_equal(ask(rig, &rig->meter, "FUNC?"), "\"CURR\"");
    tell(rig, &rig->meter, "FUNC 'VOLT'");
    assert_string_equal(ask(rig, &rig->meter, "FUNC?"), "\"VOLT\"");
    ask(rig, &rig->meter, "FUNC \"A;B,C\"");
    assert_string_equal(ask(rig, &rig->meter, "SYST:ERR?"),
                        "-224,\"Illegal parameter value;\"\"A;B,C\"\"\"");

    struct cell_set sets[5] = {{0}}, *all[5];
    for (int i = 0; i < 5; i++) {
        sets[i] = (struct cell_set){.number = i + 1, .cell = &rig->cell};
        all[i] = &sets[i];
    }
    instrument_init(&rig->relay, &kind_relay, 1, all, 5, NULL, 1);
    assert_string_equal(ask(rig, &rig->relay, "ROUT:CLOS (@1,3:4);CLOS:STAT?"), "(@1,3,4)");
    assert_string_equal(ask(rig, &rig->relay, "CLOSe? (@1:5)"), "1,0,1,1,0");
    assert_string_equal(ask(rig, &rig->relay, "ROUTE:OPEN (@3);OPEN? (@3,4)"), "1,0");
    assert_string_equal(ask(rig, &rig->relay, "OPEN:ALL;:CLOS:STAT?"), "(@)");
    static const struct {
        const char *message;
        int code;
    } wrong[] = {{"CLOS (@6)", -222}, {"CLOS (@0)", -222}, {"CLOS (@2:1)", -222},
                 {"CLOS 3", -171},    {"CLOS (@1", -171},  {"CLOS (@1,)", -171},
                 {"CLOS (@)", -171},  {"CLOS", -109},      {"CLOS (@1)x", -102}};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        char want[16];
        snprintf(want, sizeof want, "%d,", wrong[i].code);
        ask(rig, &rig->relay, wrong[i].message);
        if (strncmp(ask(rig, &rig->relay, "SYST:ERR?"), want, strlen(want)) != 0)
            fail_msg("%s: %s", wrong[i].message, rig->answer.bytes);
    }
    assert_string_equal(ask(rig, &rig->relay, "CLOS:STAT?"), "(@)");
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        TEST(test_short_and_long_forms),
        TEST(test_suffixes_of_headers),
        TEST(test_chained_commands),
        TEST(test_a_command_error_ends_the_message),
        TEST(test_numbers_and_units),
        TEST(test_what_is_wrong_with_a_parameter),
        TEST(test_booleans),
        TEST(test_headers_that_are_none),
        TEST(test_identity),
        TEST(test_strings_and_channel_lists),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
