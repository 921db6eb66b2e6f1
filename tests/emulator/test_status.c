/* Registers and the error queue. IEEE 488.2 chapters 10 and 11, SCPI-1999 volume 2, 21.8. */
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

static int number(const char *message)
{
    return (int)ask_number(rig, &rig->supply, message);
}

/* 11.5: power-on is bit 7; reading clears. 21.8.9 to 21.8.12: a class of errors, a bit. */
static void test_event_register(void **state)
{
    (void)state;
    assert_int_equal(number("*ESR?"), 128);
    assert_int_equal(number("*ESR?"), 0);
    ask(rig, &rig->supply, "NONSENSE");
    assert_int_equal(number("*ESR?"), 32);
    ask(rig, &rig->supply, "VOLT 1000");
    assert_int_equal(number("*ESR?"), 16);
    instrument_trouble(&rig->supply, -310, NULL);
    assert_int_equal(number("*ESR?"), 8);
    instrument_trouble(&rig->supply, 101, NULL);
    assert_int_equal(number("*ESR?"), 8);
    instrument_trouble(&rig->supply, -400, NULL);
    assert_int_equal(number("*ESR?"), 4);
    ask(rig, &rig->supply, "*OPC");
    assert_int_equal(number("*ESR?"), 1);
}

static void test_status_byte(void **state)
{
    (void)state;
    assert_int_equal(number("*STB?"), 0);
    ask(rig, &rig->supply, "NONSENSE");
    assert_int_equal(number("*STB?"), 4); /* something in the queue */
    ask(rig, &rig->supply, "*ESE 32");
    assert_int_equal(number("*ESE?"), 32);
    assert_int_equal(number("*STB?"), 4 + 32);
    ask(rig, &rig->supply, "*SRE 32");
    assert_int_equal(number("*STB?"), 4 + 32 + 64);
    assert_string_equal(ask(rig, &rig->supply, "*OPC?;*STB?"), "1;116"); /* an answer waits: 16 */
    ask(rig, &rig->supply, "*SRE 255");
    assert_int_equal(number("*SRE?"), 255 - 64); /* 10.34: bit 6 is not kept */
    ask(rig, &rig->supply, "*ESE 256");
    assert_memory_equal(ask(rig, &rig->supply, "SYST:ERR?"), "-113,", 5);
    assert_memory_equal(ask(rig, &rig->supply, "SYST:ERR?"), "-222,", 5);
}

/* 10.3: events and queue are cleared, the enables are not. 10.32: *RST leaves all of them. */
static void test_clear_and_reset(void **state)
{
    (void)state;
    ask(rig, &rig->supply, "*ESE 60;*SRE 48;VOLT 3;OUTP ON");
    ask(rig, &rig->supply, "NONSENSE");
    ask(rig, &rig->supply, "*RST");
    assert_int_equal(number("SYST:ERR:COUN?"), 1);
    assert_int_equal(number("*ESE?"), 60);
    assert_int_equal(number("OUTP?"), 0);
    assert_int_equal(number("VOLT?"), 0);
    ask(rig, &rig->supply, "*CLS");
    assert_int_equal(number("*ESR?"), 0);
    assert_int_equal(number("SYST:ERR:COUN?"), 0);
    assert_int_equal(number("*ESE?"), 60);
    assert_int_equal(number("*SRE?"), 48);
}

/* 21.8.1: first in, first out; when it is full the last entry becomes -350, the first stay. */
static void test_queue_overflow(void **state)
{
    (void)state;
    for (int i = 0; i < TROUBLES_MOST + 9; i++)
        ask(rig, &rig->supply, i % 2 == 0 ? "NONSENSE" : "VOLT 1000");
    assert_int_equal(number("SYST:ERR:COUN?"), TROUBLES_MOST);
    for (int i = 0; i < TROUBLES_MOST - 1; i++)
        assert_string_equal(ask(rig, &rig->supply, "SYST:ERR:NEXT?"),
                            i % 2 == 0 ? "-113,\"Undefined header;NONSENSE\""
                                       : "-222,\"Data out of range;1000\"");
    assert_string_equal(ask(rig, &rig->supply, "SYST:ERR?"), "-350,\"Queue overflow\"");
    assert_string_equal(ask(rig, &rig->supply, "SYST:ERR?"), "0,\"No error\"");
    ask(rig, &rig->supply, "NONSENSE"); /* and it works on */
    assert_string_equal(ask(rig, &rig->supply, "SYST:ERR?"), "-113,\"Undefined header;NONSENSE\"");
}

static void test_all_errors_at_once(void **state)
{
    (void)state;
    assert_string_equal(ask(rig, &rig->supply, "SYST:ERR:ALL?"), "0,\"No error\"");
    ask(rig, &rig->supply, "NONSENSE");
    ask(rig, &rig->supply, "VOLT 1000");
    assert_string_equal(ask(rig, &rig->supply, "SYST:ERR:ALL?"),
                        "-113,\"Undefined header;NONSENSE\",-222,\"Data out of range;1000\"");
}

static void test_constants(void **state)
{
    (void)state;
    assert_string_equal(ask(rig, &rig->supply, "*TST?"), "0");
    assert_string_equal(ask(rig, &rig->supply, "*OPC?"), "1");
    assert_string_equal(ask(rig, &rig->supply, "SYST:VERS?"), "1999.0");
    tell(rig, &rig->supply, "*WAI");
}

/* Over-temperature is bit 4 of the questionable register (from memory); the output goes off, and on
 * again only when it has cooled and was told so. */
static void test_over_temperature(void **state)
{
    (void)state;
    ask(rig, &rig->supply, "VOLT 1.5;CURR 1;OUTP ON;STAT:QUES:ENAB 16");
    instrument_heat(&rig->supply, true);
    assert_int_equal(number("OUTP?"), 0);
    assert_int_equal(number("STAT:QUES:COND?"), 16);
    assert_int_equal(number("*STB?"), 4 + 8);
    assert_int_equal(number("STAT:QUES?"), 16);
    assert_int_equal(number("STAT:QUES?"), 0);
    assert_string_equal(ask(rig, &rig->supply, "SYST:ERR?"),
                        "-310,\"System error;over-temperature, output off\"");
    ask(rig, &rig->supply, "OUTP ON");
    assert_int_equal(number("OUTP?"), 0);
    assert_string_equal(ask(rig, &rig->supply, "SYST:ERR?"),
                        "-221,\"Settings conflict;over-temperature\"");
    ask(rig, &rig->supply, "OUTP:PROT:CLE"); /* still hot */
    assert_memory_equal(ask(rig, &rig->supply, "SYST:ERR?"), "-221,", 5);
    instrument_cool(&rig->supply);
    assert_int_equal(number("OUTP:PROT:TRIP?"), 1);
    ask(rig, &rig->supply, "OUTP:PROT:CLE;:OUTP ON");
    assert_int_equal(number("OUTP?"), 1);
    assert_int_equal(number("STAT:QUES:COND?"), 0);
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        TEST(test_event_register),   TEST(test_status_byte),        TEST(test_clear_and_reset),
        TEST(test_queue_overflow),   TEST(test_all_errors_at_once), TEST(test_constants),
        TEST(test_over_temperature),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
