/* ISO 8601 durations, and spans of time written for people. */
#include "support/cmocka_setup.h"

#include <math.h>
#include <string.h>

#include "base/calendar.h"

#define EXACT 1e-15

static void assert_duration(const char *text, int months, int days, double seconds)
{
    struct duration duration = {-1, -1, -1};
    struct error error = {.code = ERROR_NONE};
    if (duration_parse(text, &duration, &error) != 0) {
        error_print(stderr, &error);
        fail_msg("%s was refused", text);
    }
    if (duration.months != months || duration.days != days)
        fail_msg("%s became %d months and %d days", text, duration.months, duration.days);
    assert_near(duration.seconds, seconds, EXACT);
}

/* Outside check. The forms are those of ISO 8601-1:2019, 5.5.2 (from memory): designators in this
 * order, T before the parts of a day, M a month before it and a minute after it, a comma or a point
 * as decimal mark in the last part only. P15DT5H0M20S and P7W are the examples of RFC 5545, 3.3.6
 * (from memory). */
static void reads_the_forms_of_iso_8601(void **state)
{
    (void)state;
    assert_duration("P3Y6M4DT12H30M5S", 42, 4, 45005);
    assert_duration("P15DT5H0M20S", 0, 15, 18020);
    assert_duration("P7W", 0, 49, 0);
    assert_duration("P28D", 0, 28, 0);
    assert_duration("PT36H", 0, 0, 129600);
    assert_duration("P6W", 0, 42, 0);
    assert_duration("P1M", 1, 0, 0);
    assert_duration("PT1M", 0, 0, 60);
    assert_duration("P1MT1M", 1, 0, 60);
    assert_duration("P1Y", 12, 0, 0);
    assert_duration("P1Y6M", 18, 0, 0);
    assert_duration("P18M", 18, 0, 0);
    assert_duration("P42D", 0, 42, 0);
    assert_duration("PT16H", 0, 0, 57600);
    assert_duration("PT3H10M", 0, 0, 11400);
    assert_duration("P1DT12H", 0, 1, 43200);
    assert_duration("PT0.5S", 0, 0, 0.5);
    assert_duration("PT0,5S", 0, 0, 0.5);
    assert_duration("PT1.5H", 0, 0, 5400);
    assert_duration("PT2H20.5M", 0, 0, 8430);
    assert_duration("P0.5D", 0, 0, 43200);
    assert_duration("P0.5W", 0, 3, 43200);
    assert_duration("P0D", 0, 0, 0);
    assert_duration("P0Y", 0, 0, 0);
    assert_duration("PT0S", 0, 0, 0);
    assert_duration("P007D", 0, 7, 0);
    assert_duration("+P2D", 0, 2, 0);
    assert_duration(" P2D ", 0, 2, 0);
    assert_duration("P9999Y", 9999 * 12, 0, 0);
}

static void reads_quantities_of_time(void **state)
{
    (void)state;
    assert_duration("16 h", 0, 0, 57600);
    assert_duration("42 d", 0, 0, 42 * 86400.0);
    assert_duration("3 h 10 min", 0, 0, 11400);
    assert_duration("0 s", 0, 0, 0);
}

static void refuses_what_is_no_duration(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        const char *says;
    } bad[] = {
        {"", "nothing"},
        {"P", "nothing after"},
        {"PT", "a number is missing"},
        {"P1DT", "a number is missing"},
        {"PD", "a number is missing"},
        {"P1", "none of the letters"},
        {"P1X", "none of the letters"},
        {"P1d", "none of the letters"},
        {"P16H", "a T must stand before"},
        {"P5S", "a T must stand before"},
        {"PT1D", "before the T"},
        {"PT6W", "before the T"},
        {"PT1Y", "before the T"},
        {"P1DT1HT1M", "more than one T"},
        {"P4D6M", "out of order"},
        {"P6M1Y", "out of order"},
        {"PT5M3H", "out of order"},
        {"P1D2D", "twice"},
        {"PT1.5H20M", "only the smallest part"},
        {"P0.5DT1H", "only the smallest part"},
        {"P1.5Y", "P1Y6M"},
        {"P0.5M", "no fixed length"},
        {"P.5D", "a number is missing"},
        {"P1.D", "a number is missing"},
        {"P-1D", "a number is missing"},
        {"P1e3D", "none of the letters"},
        {"P 1D", "a number is missing"},
        {"P1D P1D", "a number is missing"},
        {"-P1D", "negative"},
        {"-16 h", "negative"},
        {"P10000Y", "9999 years"},
        {"P4000000D", "9999 years"},
        {"P99999999999999999999D", "9999 years"},
        {"1e300 h", "9999 years"},
        {"p1d", "number"},
        {"42", "needs a unit"},
        {"500 mA", "a time is wanted"},
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct duration duration = {77, 77, 77};
        struct error error = {.code = ERROR_NONE};
        if (duration_parse(bad[i].text, &duration, &error) != ERROR_USAGE)
            fail_msg("%s was read", bad[i].text);
        assert_true(duration.months == 77 && duration.days == 77 && duration.seconds == 77);
        if (strstr(error.what, bad[i].text) == NULL ||
            (strstr(error.why, bad[i].says) == NULL && strstr(error.todo, bad[i].says) == NULL)) {
            error_print(stderr, &error);
            fail_msg("%s: does not say: %s", bad[i].text, bad[i].says);
        }
    }
    struct duration duration;
    assert_int_equal(duration_parse(NULL, &duration, NULL), ERROR_USAGE);
}

static void only_fixed_lengths_have_seconds(void **state)
{
    (void)state;
    struct duration fixed = {0, 1, 43200.5}, month = {1, 0, 0};
    struct error error;
    double seconds = 77;
    assert_int_equal(duration_seconds(&fixed, &seconds, &error), 0);
    assert_near(seconds, 129600.5, EXACT);
    seconds = 77;
    assert_int_equal(duration_seconds(&month, &seconds, &error), ERROR_USAGE);
    assert_non_null(strstr(error.why, "no fixed length"));
    assert_true(seconds == 77);
}

static void writes_spans_for_people(void **state)
{
    (void)state;
    static const struct {
        double seconds;
        const char *text;
    } spans[] = {
        {57600, "16 h"},
        {11400, "3 h 10 min"},
        {42 * 86400.0 + 3 * 3600, "42 d 3 h"},
        {8.5, "8.5 s"},
        {0, "0 s"},
        {-0.0, "0 s"},
        {-0.0001, "0 s"},
        {0.002, "0.002 s"},
        {9.9996, "10 s"},
        {17.4515, "17.45 s"},
        {59.99, "59.99 s"},
        {59.996, "1 min"},
        {64.6, "1 min 4.6 s"},
        {60.1, "1 min 0.1 s"},
        {100, "1 min 40 s"},
        {599.96, "10 min"},
        {3599.7, "1 h"},
        {3661, "1 h 1 min 1 s"},
        {86399.6, "1 d"},
        {129600 + 1800, "1 d 12 h 30 min"},
        {10 * 86400.0 + 29 * 60, "10 d"},
        {365 * 86400.0, "365 d"},
        {-11400, "-3 h 10 min"},
        {1e16, "more than 30 million years"},
        {NAN, "unknown"},
        {-INFINITY, "unknown"},
    };
    for (size_t i = 0; i < sizeof spans / sizeof spans[0]; i++) {
        char buffer[64];
        assert_string_equal(span_format(spans[i].seconds, buffer, sizeof buffer), spans[i].text);
    }
    char small[4];
    assert_string_equal(span_format(57600, small, sizeof small), "16 ");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reads_the_forms_of_iso_8601),
        cmocka_unit_test(reads_quantities_of_time),
        cmocka_unit_test(refuses_what_is_no_duration),
        cmocka_unit_test(only_fixed_lengths_have_seconds),
        cmocka_unit_test(writes_spans_for_people),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
