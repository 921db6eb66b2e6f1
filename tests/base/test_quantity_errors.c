/* Quantities that are wrong: each is refused, the message names the text and says what to write,
 * and the output is left as it was. */
#include "support/cmocka_setup.h"

#include <string.h>

#include "base/quantity.h"

#define ANY DIMENSION_COUNT

static const struct {
    const char *text;
    enum dimension wanted; /* ANY: quantity_parse */
    const char *says;      /* somewhere in the reason or the mend */
} bad[] = {
    /* nothing, or no number */
    {"", ANY, "nothing to read"},
    {"   ", ANY, "nothing to read"},
    {"A", ANY, "number"},
    {"mA 500", ANY, "number"},
    {"half an hour", DIM_TIME, "16 h"},
    {"- A", ANY, "number"},
    {"+", ANY, "number"},
    {"--5 mV", ANY, "number"},
    {"- 5 mV", ANY, "number"},
    /* numbers that strtod would take, or that another country writes */
    {"nan A", ANY, "number"},
    {"NaN", DIM_NUMBER, "number"},
    {"inf A", ANY, "number"},
    {"-infinity", DIM_NUMBER, "number"},
    {"0x10 A", ANY, "hexadecimal"},
    {"0X1p3", DIM_NUMBER, "hexadecimal"},
    {"0,5 A", ANY, "write 0.5, not 0,5"},
    {"1,25 V", DIM_VOLTAGE, "write 1.25, not 1,25"},
    {"1,000 mA", ANY, "1.000 or 1000"},
    {"1 000 mA", ANY, "without gaps"},
    {"1_000 mA", ANY, "unknown unit \"_\""},
    {"1'000 mA", ANY, "unknown unit \"'\""},
    {"1.2.3 V", ANY, "more than one decimal point"},
    {"1.2,3 V", ANY, "more than one decimal point"},
    {"5. A", ANY, "after the decimal point"},
    {". A", ANY, "number"},
    {"1e A", ANY, "unknown unit \"e\""},
    {"1e+ A", ANY, "unknown unit \"e+\""},
    {"1e999 A", ANY, "too large"},
    {"1e307 MA", ANY, "too large"},
    {"0.00000000000000000000000000000000000000000000000000000000000000000001 A", ANY, "digits"},
    {"1/2 A", ANY, "unknown unit"},
    {"5 + 5 mA", ANY, "unknown unit \"+\""},
    {"~5 mA", ANY, "number"},
    /* units that do not exist, and the ones that were meant */
    {"500 ma", ANY, "did you mean \"mA\"?"},
    {"500 ma", DIM_CURRENT, "did you mean \"mA\"?"},
    {"500 MAH", ANY, "did you mean \"mAh\"?"},
    {"2.1 AH", DIM_CHARGE, "did you mean \"Ah\"?"},
    {"2.1 ah", DIM_CHARGE, "did you mean \"Ah\"?"},
    {"1.2 v", ANY, "did you mean \"V\"?"},
    {"0.6 w", ANY, "did you mean \"W\"?"},
    {"85 mOHM", ANY, "did you mean \"mOhm\"?"},
    {"2 OHM", DIM_RESISTANCE, "did you mean \"Ohm\"?"},
    {"2 ohms", ANY, "did you mean \"ohm\"?"},
    {"0.2 c", DIM_CURRENT, "did you mean \"It\"?"},
    {"0.2 IT", DIM_RATE, "did you mean \"It\"?"},
    {"16 hours", ANY, "did you mean \"h\"?"},
    {"16 H", DIM_TIME, "did you mean \"h\"?"},
    {"5 m", DIM_TIME, "did you mean \"min\"?"},
    {"5 sec", DIM_TIME, "did you mean \"s\"?"},
    {"42 days", DIM_TIME, "did you mean \"d\"?"},
    {"6 weeks", DIM_TIME, "did you mean \"wk\"?"},
    {"20 degc", ANY, "did you mean \"degC\"?"},
    {"20 celsius", DIM_TEMPERATURE, "did you mean \"degC\"?"},
    {"20 °", DIM_TEMPERATURE, "did you mean \"degC\"?"},
    {"60 percent", DIM_RATIO, "did you mean \"%\"?"},
    {"1 mV/mins", DIM_VOLTAGE_RATE, "did you mean \"mV/min\"?"},
    {"5 furlongs", DIM_TIME, "3 h 10 min"},
    {"5 x", DIM_VOLTAGE, "1.2 V"},
    {"5 unitsofanunheardofandfartoolongname", ANY, "unknown unit"},
    {"1 mmA", ANY, "unknown unit \"mmA\""},
    {"1 mh", ANY, "unknown unit \"mh\""},
    /* the unit of something else */
    {"500 mAh", DIM_CURRENT, "did you mean \"mA\"?"},
    {"500 mA", DIM_CHARGE, "did you mean \"mAh\"?"},
    {"5 V", DIM_CURRENT, "is a voltage, and a current is wanted"},
    {"20 C", DIM_TEMPERATURE, "did you mean \"degC\"?"},
    {"20 K", DIM_TEMPERATURE, "temperature difference"},
    {"0.2 It", DIM_CHARGE, "2.1 Ah"},
    {"1 Ah", DIM_ENERGY, "an energy is wanted"},
    {"1 Wh", DIM_CHARGE, "is an energy"},
    {"60 %", DIM_NUMBER, "plain number"},
    {"PT1H", DIM_CURRENT, "is a time"},
    /* a unit is never guessed */
    {"500", DIM_CURRENT, "\"500 mA\""},
    {"1.0", DIM_VOLTAGE, "\"1.0 V\""},
    {"60", DIM_TIME, "\"60 min\""},
    {"0.6", DIM_RATIO, "needs a unit"},
    /* something left over, or times in disorder */
    {"500 mA please", ANY, "please"},
    {"3 mA 5", ANY, "\"5\" is left over"},
    {"5 A h", ANY, "\"h\" is left over"},
    {"3 h 10", ANY, "cannot follow"},
    {"10 min 3 h", ANY, "larger unit first"},
    {"3 h 2 h", ANY, "each once"},
    {"3 h -10 min", ANY, "left over"},
    {"3 h 10 mA", ANY, "cannot follow"},
    {"3 h 10 mins", ANY, "did you mean \"min\"?"},
    {"3 h 1,5 min", ANY, "write 1.5"},
    {"1 mV / min", ANY, "left over"},
    /* ISO 8601 durations */
    {"P1M", DIM_TIME, "no fixed length"},
    {"P1Y6M", ANY, "no fixed length"},
    {"P16H", DIM_TIME, "PT16H"},
    {"-P1D", DIM_TIME, "negative"},
    {"P", DIM_TIME, "nothing after"},
};

static int read_one(const char *text, enum dimension wanted, struct error *error)
{
    struct quantity quantity = {77, DIMENSION_COUNT};
    double si = 77;
    int code = wanted == ANY ? quantity_parse(text, &quantity, error)
                             : quantity_read(text, wanted, 0, &si, error);
    assert_true(quantity.value == 77 && quantity.dimension == DIMENSION_COUNT && si == 77);
    return code;
}

static void each_is_refused_with_a_mend(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct error error = {.code = ERROR_NONE};
        assert_int_equal(read_one(bad[i].text, bad[i].wanted, &error), ERROR_USAGE);
        assert_int_equal(error.code, ERROR_USAGE);
        if (strlen(bad[i].text) < 60) { /* longer ones are cut */
            char quoted[80];
            snprintf(quoted, sizeof quoted, "\"%s\"", bad[i].text);
            assert_string_equal(error.what, quoted);
        }
        assert_true(error.why[0] != '\0' && error.todo[0] != '\0');
        if (strstr(error.why, bad[i].says) == NULL && strstr(error.todo, bad[i].says) == NULL) {
            error_print(stderr, &error);
            fail_msg("does not say: %s", bad[i].says);
        }
        /* Whoever passes no error still learns that it failed. */
        assert_int_equal(read_one(bad[i].text, bad[i].wanted, NULL), ERROR_USAGE);
    }
}

static void what_is_offered_can_be_read(void **state)
{
    (void)state;
    int offered = 0;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct error error;
        char unit[32];
        enum dimension dimension;
        double factor;
        read_one(bad[i].text, bad[i].wanted, &error);
        if (sscanf(error.todo, "did you mean \"%31[^\"]\"?", unit) != 1)
            continue;
        offered++;
        assert_int_equal(unit_find(unit, &dimension, &factor), 0);
        assert_true(bad[i].wanted == ANY || dimension == bad[i].wanted ||
                    (bad[i].wanted == DIM_CURRENT && dimension == DIM_RATE));
    }
    assert_true(offered > 20);
}

static void a_missing_text_is_an_empty_one(void **state)
{
    (void)state;
    struct error error;
    assert_int_equal(read_one(NULL, ANY, &error), ERROR_USAGE);
    assert_int_equal(read_one(NULL, DIM_TIME, &error), ERROR_USAGE);
}

/* Every text cut short at every byte, and with every byte replaced: no crash, no endless loop (run
 * under the sanitizers), and an answer of one kind or the other. */
static void damaged_texts_are_survived(void **state)
{
    (void)state;
    static const unsigned char bytes[] = {'0', '9', '.', ',', 'e',  '-',  'P',  'T',  '%',
                                          ' ', 'm', 'h', '/', 0x80, 0xc2, 0xe2, 0xff, '\n'};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        char text[96];
        size_t length = strlen(bad[i].text);
        for (size_t at = 0; at < length; at++)
            for (size_t b = 0; b <= sizeof bytes; b++) {
                struct quantity quantity = {77, DIMENSION_COUNT};
                struct error error = {.code = ERROR_NONE};
                memcpy(text, bad[i].text, length + 1);
                text[at] = b < sizeof bytes ? (char)bytes[b] : '\0';
                int code = quantity_parse(text, &quantity, &error);
                assert_true((code == 0) == (error.code == ERROR_NONE));
                assert_true((code == 0) == (quantity.dimension != DIMENSION_COUNT));
            }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_is_refused_with_a_mend),
        cmocka_unit_test(what_is_offered_can_be_read),
        cmocka_unit_test(a_missing_text_is_an_empty_one),
        cmocka_unit_test(damaged_texts_are_survived),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
