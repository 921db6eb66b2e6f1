/* Maps of files that were logged elsewhere: what they may say, and what is wrong with one. */
#include "bindings/drive.h"

#include "bindings/import_map.h"

static struct import_map map;
static struct error error;
static char all[1400];

static int read_map(const char *text)
{
    error_clear(&error);
    int code = import_map_read("logger.lua", text, strlen(text), &map, &error);
    snprintf(all, sizeof all, "%s: %s; %s", error.what, error.why, error.todo);
    return code;
}

static void everything(void **state)
{
    (void)state;
    assert_int_equal(read_map("return import {\n"
                              "  time = column('t', 'min'), voltage = column(2, 'mV'),\n"
                              "  current = column('I', 'mA'), temperature = column('T', 'degC'),\n"
                              "  charge = column('Q', 'mAh'), step = column('Step'),\n"
                              "  sign = 'discharge-positive', delimiter = ';', decimal = ',',\n"
                              "  skip = 3, rest_below = '5 mA', gap_after = '1 min',\n"
                              "  accuracy = { current = '0.1 % + 1 mA' },\n"
                              "  results = { capacity = 'discharge', u = '2.mean_voltage' } }"),
                     0);
    assert_string_equal(map.time.name, "t");
    assert_true(map.time.factor == 60);
    assert_int_equal(map.voltage.number, 2);
    assert_true(map.voltage.factor == 1e-3);
    assert_true(map.charge.factor == 3.6); /* 1 mAh = 3.6 A.s */
    assert_true(map.step.there && map.discharge_positive && map.header);
    assert_int_equal(map.delimiter, ';');
    assert_int_equal(map.decimal, ',');
    assert_int_equal(map.skip, 3);
    assert_true(map.rest_below == 5e-3 && map.gap_after == 60);
    assert_true(map.accuracy.current.relative == 1e-3 && map.accuracy.current.absolute == 1e-3);
    assert_true(isnan(map.accuracy.voltage.relative));
    assert_int_equal(map.results, 2);
    assert_string_equal(map.result[0].name, "capacity");
    assert_string_equal(map.result[0].step, "discharge");
    assert_string_equal(map.result[0].field, "charge");
    assert_string_equal(map.result[1].step, "2");
    assert_string_equal(map.result[1].field, "mean_voltage");
}

static void the_least(void **state)
{
    (void)state;
    assert_int_equal(read_map("return import { time = column('t', 'date'), "
                              "voltage = column('U', 'V'), current = column('I', 'A') }"),
                     0);
    assert_int_equal(map.time_form, IMPORT_DATE);
    assert_false(map.temperature.there || map.charge.there || map.step.there);
    assert_false(map.discharge_positive);
    assert_int_equal(map.delimiter, ',');
    assert_true(isnan(map.rest_below) && isnan(map.gap_after));
}

static void wrong(const char *text, const char *words)
{
    assert_int_not_equal(read_map(text), 0);
    if (!strstr(all, words))
        fail_msg("no \"%s\" in: %s", words, all);
}

#define THREE "time = column('t', 's'), voltage = column('U', 'V'), current = column('I', 'A')"

static void mistakes(void **state)
{
    (void)state;
    wrong("return 1", "does not return a map");
    wrong("return import { time = column('t', 's'), voltage = column('U', 'V') }", "current");
    wrong("\nreturn import { " THREE ", delimitter = ';' }", "logger.lua:2");
    wrong("return import { " THREE ", delimitter = ';' }", "did you mean 'delimiter'?");
    wrong("return import { " THREE ", decimal = ',' }", "both ','");
    wrong("return import { " THREE ", header = false }", "there is no header");
    wrong("return import { " THREE ", gap_after = '-1 s' }", "gap_after");
    wrong("return import { " THREE ", results = { 'discharge' } }", "a result has no name");
    wrong("return import { " THREE ", temperature = column('T', 'K') }", "temperature difference");
    wrong("return import { " THREE ", charge = column(0, 'Ah') }", "count the columns from 1");
    wrong("return import { " THREE ", charge = 'Q' }", "'charge' is no column");
    wrong("while true do end", "worked too long");
    wrong("return io.open('x')", "scripts have no 'io'");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(everything),
        cmocka_unit_test(the_least),
        cmocka_unit_test(mistakes),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
