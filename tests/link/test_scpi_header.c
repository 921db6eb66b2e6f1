/* Headers: SCPI-1999 vol. 1, 6.2.1 (short and long form) and 6.2.5 (numeric suffix); as quoted in
 * the project's fact sheet, section D. */
#include <string.h>

#include "link/scpi.h"
#include "support/cmocka_setup.h"

static bool mnemonic(const char *pattern, const char *text, int *suffix)
{
    return scpi_mnemonic(pattern, text, strlen(text), suffix);
}

/* 6.2.1 by its own example: SYST and SYSTEM are accepted, all between them and beyond is not. */
static void test_short_and_long_form(void **state)
{
    static const char *const good[] = {"SYST", "SYSTEM", "syst", "System", "sYsTeM"};
    static const char *const bad[] = {"",        "S",     "SYS",   "SYSTE",
                                      "SYSTEMS", "SYSTX", "SYST1", "SYSTEM1"};
    (void)state;
    for (size_t i = 0; i < sizeof good / sizeof *good; i++)
        assert_true(mnemonic("SYSTem", good[i], NULL));
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        assert_false(mnemonic("SYSTem", bad[i], NULL));
    assert_true(mnemonic("DC", "dc", NULL));
    assert_true(mnemonic("*IDN", "*idn", NULL));
}

static void test_suffix(void **state)
{
    int suffix = 0;
    (void)state;
    assert_true(mnemonic("OUTPut#", "OUTP2", &suffix));
    assert_int_equal(suffix, 2);
    assert_true(mnemonic("OUTPut#", "output12", &suffix));
    assert_int_equal(suffix, 12);
    assert_true(mnemonic("OUTPut#", "OUTP", &suffix));
    assert_int_equal(suffix, 1); /* omitted: 1 */
    assert_false(mnemonic("OUTPut#", "OUTPU2", &suffix));
    assert_false(mnemonic("OUTPut#", "OUTP2A", &suffix));
    assert_false(mnemonic("OUTPut#", "OUTP-2", &suffix));
    assert_true(mnemonic("OUTPut#", "OUTPUT123456", &suffix)); /* 488.2 7.6.1.4: 12 characters */
    assert_false(mnemonic("OUTPut#", "OUTPUT1234567", &suffix));
}

static void test_headers(void **state)
{
    static const struct {
        const char *pattern, *text;
        bool match;
        int suffixes[2];
    } cases[] = {
        {"MEASure:VOLTage?", "MEAS:VOLT?", true, {0, 0}},
        {"MEASure:VOLTage?", ":measure:volt?", true, {0, 0}},
        {"MEASure:VOLTage?", "MEAS:VOLT", false, {0, 0}},
        {"MEASure:VOLTage?", "MEAS?", false, {0, 0}},
        {"MEASure:VOLTage?", "MEAS:VOLT:DC?", false, {0, 0}},
        {"MEASure:VOLTage?", "MEAS::VOLT?", false, {0, 0}},
        {"MEASure:VOLTage?", "MEAS:VOLT:?", false, {0, 0}},
        {"MEASure:VOLTage[:DC]?", "MEAS:VOLT:DC?", true, {0, 0}},
        {"MEASure:VOLTage[:DC]?", "MEAS:VOLT?", true, {0, 0}},
        {"MEASure:VOLTage[:DC]?", "MEAS:VOLT:AC?", false, {0, 0}},
        {"[SOURce#:]CURRent[:LEVel][:IMMediate]", "CURR", true, {1, 0}},
        {"[SOURce#:]CURRent[:LEVel][:IMMediate]", "SOUR2:CURR", true, {2, 0}},
        {"[SOURce#:]CURRent[:LEVel][:IMMediate]", "SOUR2:CURR:IMM", true, {2, 0}},
        {"[SOURce#:]CURRent[:LEVel][:IMMediate]", ":CURR:LEV:IMM", true, {1, 0}},
        {"[SOURce#:]CURRent[:LEVel][:IMMediate]", "CURR:IMM:LEV", false, {0, 0}},
        {"[SOURce#:]CURRent[:LEVel][:IMMediate]", "SOUR", false, {0, 0}},
        {"OUTPut#:PROTection#", "OUTP3:PROT", true, {3, 1}},
        {"OUTPut#:PROTection#", "OUTP:PROT4", true, {1, 4}},
        {"*IDN?", "*IDN?", true, {0, 0}},
        {"*IDN?", "*idn?", true, {0, 0}},
        {"*IDN?", ":*IDN?", false, {0, 0}},
        {"*IDN?", "*IDN", false, {0, 0}},
        {"*IDN?", "", false, {0, 0}},
        {"*RST", "*RST", true, {0, 0}},
        {"SYSTem:ERRor[:NEXT]?", "SYST:ERR?", true, {0, 0}},
        {"SYSTem:ERRor[:NEXT]?", "SYSTEM:ERROR:NEXT?", true, {0, 0}},
        {"SYSTem:ERRor[:NEXT]?", "?", false, {0, 0}},
        {"SYSTem:ERRor[:NEXT]?", ":", false, {0, 0}},
    };
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        int suffixes[2] = {0, 0};
        bool match =
            scpi_header(cases[i].pattern, cases[i].text, strlen(cases[i].text), suffixes, 2);
        if (match != cases[i].match)
            fail_msg("%s against %s", cases[i].text, cases[i].pattern);
        if (match)
            assert_memory_equal(suffixes, cases[i].suffixes, sizeof suffixes);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_short_and_long_form),
        cmocka_unit_test(test_suffix),
        cmocka_unit_test(test_headers),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
