/* Each fault does what it says, over a line as a program under test has it, and stops when it
 * should. */
#include "served.h"

static struct served served;
static int meter, supply;

static int set_up(void **state)
{
    static const char *const words[] = {"--truth", "open_circuit=1.25V", "supply=pty:@/supply",
                                        "meter=pty:@/meter", NULL};
    (void)state;
    served_start(&served, words);
    meter = line_to(&served, "meter");
    supply = line_to(&served, "supply");
    assert_true(meter >= 0 && supply >= 0);
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    close(meter);
    close(supply);
    served_end(&served);
    return 0;
}

static void expect_healthy(void)
{
    assert_string_equal(query(meter, "READ?"), "1.25E+00");
    assert_string_equal(hear(meter, 1, 0.05), ""); /* and nothing more */
}

static void test_late(void **state)
{
    (void)state;
    order(&served, "meter-1 late 0.8 once");
    double begin = seconds_now();
    say(meter, "READ?\n*OPC?\n");
    assert_string_equal(hear(meter, 1, 0.2), "");
    assert_string_equal(hear(meter, 2, 5),
                        "1.25E+00\n1\n"); /* in order, the second behind the first */
    double took = seconds_now() - begin;
    assert_true(took > 0.79 && took < 5);
    assert_int_equal(recorded(&served, "meter-1 fault late"), 1);
    expect_healthy();
}

/* Orders are carried out all the same while an answer is late. */
static void test_late_answers_do_not_delay_orders(void **state)
{
    (void)state;
    order(&served, "supply-1 late 1.5 once");
    say(supply, "OUTP ON;*OPC?\n");
    say(supply, "OUTP OFF\n");
    until_recorded(&served, "supply-1 output off command");
    assert_string_equal(hear(supply, 1, 0), ""); /* not yet */
    assert_string_equal(hear(supply, 1, 5), "1\n");
}

static void test_split(void **state)
{
    (void)state;
    order(&served, "meter-1 split 0.05 once");
    double begin = seconds_now();
    say(meter, "READ?\n");
    char whole[64] = "";
    int pieces = 0;
    while (strchr(whole, '\n') == NULL && pieces < 64) {
        struct pollfd poller = {.fd = meter, .events = POLLIN};
        char piece[64];
        assert_int_equal(poll(&poller, 1, 2000), 1);
        ssize_t length = read(meter, piece, sizeof piece - 1);
        assert_true(length > 0);
        piece[length] = '\0';
        strcat(whole, piece);
        pieces++;
    }
    assert_string_equal(whole, "1.25E+00\n");
    assert_true(pieces > 3);
    assert_true(seconds_now() - begin > 0.375);
    expect_healthy();
}

static void test_garbage(void **state)
{
    (void)state;
    order(&served, "meter-1 garbage 3 times");
    for (int i = 0; i < 3; i++) {
        const char *answer = query(meter, "READ?");
        int bad = 0;
        for (const char *at = answer; *at != '\0'; at++)
            bad += (unsigned char)*at >= 0x80;
        assert_true(bad > 0);
    }
    assert_int_equal(recorded(&served, "meter-1 fault garbage"), 3);
    expect_healthy();
}

static void test_wrong_identity(void **state)
{
    (void)state;
    order(&served, "meter-1 wrong-identity");
    assert_string_equal(query(meter, "*IDN?"), "Fenwick Measurement,FM-9,9999,7.3");
    assert_string_equal(query(meter, "*IDN?"), "Fenwick Measurement,FM-9,9999,7.3");
    assert_string_equal(query(supply, "*IDN?"), "Saltmere Instruments,SP-1,0001,1.0");
    order(&served, "meter-1 clear");
    assert_string_equal(query(meter, "*IDN?"), "Saltmere Instruments,SM-1,0001,1.0");
}

/* The reading stays, the truth on record moves on. */
static void test_frozen(void **state)
{
    (void)state;
    expect_healthy();
    order(&served, "meter-1 frozen");
    say(supply, "VOLT 2;CURR 1;OUTP ON;*OPC?\n");
    assert_string_equal(hear(supply, 1, 5), "1\n");
    assert_string_equal(query(meter, "READ?"), "1.25E+00");
    assert_int_equal(recorded(&served, "meter-1 reading volts said 1.25 true 1.275"), 1);
    order(&served, "meter-1 clear");
    assert_string_equal(query(meter, "READ?"), "1.275E+00");
}

static void test_silence(void **state)
{
    (void)state;
    order(&served, "supply-1 silence once");
    say(supply, "OUTP ON;*OPC?\n");
    until_recorded(&served, "supply-1 output on");
    assert_string_equal(hear(supply, 1, 0.1), "");
    assert_int_equal(recorded(&served, "supply-1 output on"), 1);
    assert_string_equal(query(supply, "OUTP?"), "1");
}

static void test_deaf(void **state)
{
    (void)state;
    order(&served, "supply-1 deaf 2 times");
    say(supply, "OUTP ON\nOUTP?\n");
    assert_string_equal(hear(supply, 1, 0.1), "");
    assert_int_equal(recorded(&served, "supply-1 output on"), 0);
    assert_string_equal(query(supply, "OUTP?"), "0");
}

static void test_double(void **state)
{
    (void)state;
    order(&served, "meter-1 double once");
    say(meter, "READ?\n");
    assert_string_equal(hear(meter, 2, 5), "1.25E+00\n1.25E+00\n");
    expect_healthy();
}

/* Much, and no end of line; it ends when cleared, and what was not read is not kept for ever. */
static void test_flood(void **state)
{
    (void)state;
    order(&served, "meter-1 flood 200000");
    const char *heard = hear(meter, 1, 10); /* until its room is full */
    assert_true(strlen(heard) > 20000);
    assert_null(strchr(heard, '\n'));
    order(&served, "meter-1 clear");
    hear(meter, 1, 0.6);
    expect_healthy();
}

static void test_chatter(void **state)
{
    (void)state;
    order(&served, "meter-1 chatter 50");
    assert_string_equal(hear(meter, 3, 5), "1.0101E+00\n1.0101E+00\n1.0101E+00\n");
    order(&served, "meter-1 clear");
    hear(meter, 100, 0.1);
    expect_healthy();
}

static void test_queue_error(void **state)
{
    (void)state;
    order(&served, "meter-1 queue-error -310 2 times");
    order(&served, "meter-1 queue-error once");
    assert_string_equal(query(meter, "SYST:ERR?"), "-310,\"System error\"");
    assert_string_equal(query(meter, "SYST:ERR?"), "-310,\"System error\"");
    assert_string_equal(query(meter, "SYST:ERR?"), "-240,\"Hardware error\"");
    assert_string_equal(query(meter, "SYST:ERR?"), "0,\"No error\"");
}

static void test_over_temperature(void **state)
{
    (void)state;
    assert_string_equal(query(supply, "OUTP ON;OUTP?"), "1");
    order(&served, "supply-1 over-temperature once");
    assert_string_equal(query(supply, "OUTP?"), "0");
    assert_int_equal(recorded(&served, "supply-1 output off over-temperature"), 1);
    assert_string_equal(query(supply, "OUTP ON;OUTP?"), "0");
    assert_string_equal(query(supply, "OUTP:PROT:CLE;:OUTP ON;OUTP?"), "1");
    order(&served, "supply-1 over-temperature");
    assert_string_equal(query(supply, "OUTP:PROT:CLE;:OUTP ON;OUTP?"), "0");
    order(&served, "supply-1 clear");
    assert_string_equal(query(supply, "OUTP:PROT:CLE;:OUTP ON;OUTP?"), "1");
}

/* Nothing that is misspelt is taken for an order. */
static void test_orders_are_checked(void **state)
{
    (void)state;
    static const char *const wrong[] = {
        "meter-2 late", "meter-1 early",        "meter-1 late soon", "meter-1 late 1 twice",
        "meter-1",      "meter-1 late 0 times", "cell-1 explode"};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++)
        assert_non_null(strstr(try_order(&served, wrong[i]), "error: "));
    expect_healthy();
}

static void test_a_cell_out_and_in(void **state)
{
    (void)state;
    order(&served, "cell-1 out");
    assert_string_equal(query(meter, "READ?"), "0.0E+00");
    order(&served, "cell-1 reversed");
    assert_string_equal(query(meter, "READ?"), "-1.25E+00");
    assert_non_null(strstr(try_order(&served, "cell-1 show"), "cell-1 reversed volts -1.25"));
    order(&served, "cell-1 in");
    expect_healthy();
    assert_non_null(strstr(try_order(&served, "cell-1 show"), "cell-1 in volts 1.25 amps 0"));
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        TEST(test_late),
        TEST(test_late_answers_do_not_delay_orders),
        TEST(test_split),
        TEST(test_garbage),
        TEST(test_wrong_identity),
        TEST(test_frozen),
        TEST(test_silence),
        TEST(test_deaf),
        TEST(test_double),
        TEST(test_flood),
        TEST(test_chatter),
        TEST(test_queue_error),
        TEST(test_over_temperature),
        TEST(test_orders_are_checked),
        TEST(test_a_cell_out_and_in),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
