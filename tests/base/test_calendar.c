/* Instants: read, written, and a duration later; against libc and GNU date as oracles. */
#include "support/cmocka_setup.h"

#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "base/calendar.h"
#include "base/random.h"

static utc_us utc_of(const char *text)
{
    utc_us instant = -1;
    struct error error = {.code = ERROR_NONE};
    if (utc_parse(text, &instant, &error) != 0) {
        error_print(stderr, &error);
        fail_msg("%s was refused", text);
    }
    return instant;
}

static void assert_written(utc_us instant, const char *text)
{
    char buffer[40];
    assert_string_equal(utc_format(instant, buffer, sizeof buffer), text);
}

static void assert_later(const char *from, const char *duration, const char *to)
{
    struct duration parsed;
    assert_int_equal(duration_parse(duration, &parsed, NULL), 0);
    assert_written(duration_after(utc_of(from), &parsed), to);
}

/* Outside check. The examples of RFC 3339, section 5.8 (from memory), the billionth second, and the
 * end of the signed 32-bit count of seconds (both common knowledge, no source). */
static void reads_published_instants(void **state)
{
    (void)state;
    assert_int_equal(utc_of("1970-01-01T00:00:00Z"), 0);
    assert_int_equal(utc_of("1985-04-12T23:20:50.52Z"), 482196050520000);
    assert_int_equal(utc_of("1996-12-19T16:39:57-08:00"), utc_of("1996-12-20T00:39:57Z"));
    assert_int_equal(utc_of("1937-01-01T12:00:27.87+00:20"), utc_of("1937-01-01T11:40:27.87Z"));
    assert_int_equal(utc_of("2001-09-09T01:46:40Z"), 1000000000 * US_PER_S);
    assert_int_equal(utc_of("2038-01-19T03:14:07Z"), 2147483647 * US_PER_S);
}

static void reads_every_form(void **state)
{
    (void)state;
    utc_us morning = utc_of("2026-03-02T08:00:00Z");
    assert_int_equal(utc_of("2026-03-02"), morning - 8 * 3600 * US_PER_S);
    assert_int_equal(utc_of("2026-03-02T08:00Z"), morning);
    assert_int_equal(utc_of(" 2026-03-02T08:00Z "), morning);
    assert_int_equal(utc_of("2026-03-02T09:00:00.5+01:00"), morning + US_PER_S / 2);
    assert_int_equal(utc_of("2026-03-02T09:00:00,5+01:00"), morning + US_PER_S / 2);
    assert_int_equal(utc_of("2026-03-02T09:00+0100"), morning);
    assert_int_equal(utc_of("2026-03-02T09:00+01"), morning);
    assert_int_equal(utc_of("2026-03-01T22:15-09:45"), morning);
    assert_int_equal(utc_of("2026-03-02T08:00:00.123456789Z"), morning + 123456);
    assert_int_equal(utc_of("0000-01-01"), -62167219200 * US_PER_S);
    assert_int_equal(utc_of("2000-02-29"), 951782400 * US_PER_S);
}

static void refuses_what_is_no_instant(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        const char *says;
    } bad[] = {
        {"", "YYYY-MM-DD"},
        {"tomorrow", "YYYY-MM-DD"},
        {"2026-3-2", "YYYY-MM-DD"},
        {"20260302", "YYYY-MM-DD"},
        {"02.03.2026", "YYYY-MM-DD"},
        {"26-03-02", "YYYY-MM-DD"},
        {"-2026-03-02", "YYYY-MM-DD"},
        {"2026-00-02", "month"},
        {"2026-13-02", "month"},
        {"2026-03-00", "01 to 31"},
        {"2026-04-31", "01 to 30"},
        {"2026-02-29", "01 to 28"},
        {"1900-02-29", "01 to 28"},
        {"2024-02-30", "01 to 29"},
        {"2026-03-02T08:00", "no zone"},
        {"2026-03-02T08:00:00", "no zone"},
        {"2026-03-02T08:00:00.5", "no zone"},
        {"2026-03-02 08:00Z", "left over"},
        {"2026-03-02T", "hh:mm"},
        {"2026-03-02T08Z", "hh:mm"},
        {"2026-03-02T8:00Z", "hh:mm"},
        {"2026-03-02T08:00:Z", "hh:mm"},
        {"2026-03-02T08:00:00.Z", "decimal mark"},
        {"2026-03-02T24:00Z", "no such time"},
        {"2026-03-02T08:60Z", "no such time"},
        {"2026-03-02T08:00:61Z", "no such time"},
        {"1990-12-31T23:59:60Z", "leap second"}, /* an example of RFC 3339, not kept here */
        {"2026-03-02T08:00z", "neither Z nor"},
        {"2026-03-02T08:00 Z", "neither Z nor"},
        {"2026-03-02T08:00CET", "neither Z nor"},
        {"2026-03-02T08:00+1", "+hh:mm"},
        {"2026-03-02T08:00+01:", "+hh:mm"},
        {"2026-03-02T08:00+24:00", "no such offset"},
        {"2026-03-02T08:00+01:60", "no such offset"},
        {"2026-03-02T08:00Zulu", "left over"},
        {"2026-03-02Z", "left over"},
        {"2026-03-02T08:00+01:00Z", "left over"},
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        utc_us instant = 77;
        struct error error = {.code = ERROR_NONE};
        if (utc_parse(bad[i].text, &instant, &error) != ERROR_USAGE)
            fail_msg("%s was read", bad[i].text);
        assert_int_equal(instant, 77);
        if (strstr(error.what, bad[i].text) == NULL || strstr(error.why, bad[i].says) == NULL) {
            error_print(stderr, &error);
            fail_msg("%s: does not say: %s", bad[i].text, bad[i].says);
        }
    }
    utc_us instant;
    assert_int_equal(utc_parse(NULL, &instant, NULL), ERROR_USAGE);
}

static void writes_as_many_decimals_as_needed(void **state)
{
    (void)state;
    utc_us morning = utc_of("2026-03-02T08:00:00Z");
    assert_written(morning, "2026-03-02T08:00:00Z");
    assert_written(morning + 500000, "2026-03-02T08:00:00.500Z");
    assert_written(morning + 1000, "2026-03-02T08:00:00.001Z");
    assert_written(morning + 1, "2026-03-02T08:00:00.000001Z");
    assert_written(morning + 123456, "2026-03-02T08:00:00.123456Z");
    assert_written(-1, "1969-12-31T23:59:59.999999Z");
    assert_written(utc_of("0000-01-01") - 1, "-000001-12-31T23:59:59.999999Z");
    assert_written(utc_of("9999-12-31") + 86400 * US_PER_S, "+010000-01-01T00:00:00Z");
    assert_written(INT64_MAX, "+294247-01-10T04:00:54.775807Z");
    assert_written(INT64_MIN, "-290308-12-21T19:59:05.224192Z");
    char small[11];
    assert_string_equal(utc_format(morning, small, sizeof small), "2026-03-02");
}

/* libc's gmtime_r and timegm as the oracle, over the years 0 to 9999. */
static void agrees_with_libc(void **state)
{
    (void)state;
    struct random random;
    random_seed(&random, 5);
    utc_us first = utc_of("0000-01-01"), last = utc_of("9999-12-31T23:59:59Z");
    for (int i = 0; i < 5000; i++) {
        utc_us instant = random_range(&random, first, last);
        if (i % 2 == 0) /* near today as often as anywhere */
            instant = random_range(&random, utc_of("2020-01-01"), utc_of("2040-01-01"));
        if (i % 3 == 0)
            instant -= ((instant % US_PER_S) + US_PER_S) % US_PER_S;
        utc_us fraction = ((instant % US_PER_S) + US_PER_S) % US_PER_S;
        time_t seconds = (time_t)((instant - fraction) / US_PER_S);
        struct tm tm;
        assert_non_null(gmtime_r(&seconds, &tm));
        char text[40], oracle[80];
        snprintf(oracle, sizeof oracle, "%04d-%02d-%02dT%02d:%02d:%02d", tm.tm_year + 1900,
                 tm.tm_mon + 1, tm.tm_mday, tm.tm_hour, tm.tm_min, tm.tm_sec);
        utc_format(instant, text, sizeof text);
        assert_memory_equal(text, oracle, strlen(oracle));
        assert_int_equal(utc_of(text), instant);
        assert_int_equal((utc_of(text) - fraction) / US_PER_S, timegm(&tm));
    }
}

/* Our rule: a day that the month lacks becomes the month's last. Leap years by the Gregorian
 * calendar: 2000, 2024 and 2400, not 1900, 2026 or 2100. */
static void ends_of_months_hold(void **state)
{
    (void)state;
    assert_later("2026-01-31", "P1M", "2026-02-28T00:00:00Z");
    assert_later("2024-01-31", "P1M", "2024-02-29T00:00:00Z");
    assert_later("2000-01-30", "P1M", "2000-02-29T00:00:00Z");
    assert_later("1900-01-30", "P1M", "1900-02-28T00:00:00Z");
    assert_later("2100-01-29", "P1M", "2100-02-28T00:00:00Z");
    assert_later("2400-01-30", "P1M", "2400-02-29T00:00:00Z");
    assert_later("2026-01-31", "P2M", "2026-03-31T00:00:00Z");
    assert_later("2026-03-31", "P1M", "2026-04-30T00:00:00Z");
    assert_later("2024-02-29", "P1Y", "2025-02-28T00:00:00Z");
    assert_later("2024-02-29", "P4Y", "2028-02-29T00:00:00Z");
    assert_later("2026-12-31", "P2M", "2027-02-28T00:00:00Z");
    assert_later("2026-12-15", "P1M", "2027-01-15T00:00:00Z");
    /* months first, then days, then seconds */
    assert_later("2026-01-31", "P1M1D", "2026-03-01T00:00:00Z");
    assert_later("2026-01-30T23:30:00Z", "P1MT1H", "2026-03-01T00:30:00Z");
    /* before the epoch, and with a fraction */
    assert_later("1969-12-31T23:59:59.5Z", "PT0.5S", "1970-01-01T00:00:00Z");
    assert_later("1960-02-29T12:00:00Z", "P1Y", "1961-02-28T12:00:00Z");
    assert_later("2026-03-02T08:00:00Z", "PT0.0000005S", "2026-03-02T08:00:00.000001Z");
}

/* Nothing that can be asked for wraps round into the past. */
static void far_instants_stop_at_the_end(void **state)
{
    (void)state;
    struct duration far = {0, 0, 1e300}, days = {0, INT32_MAX, 0}, months = {INT32_MAX, 0, 0};
    assert_int_equal(duration_after(0, &far), INT64_MAX);
    assert_int_equal(duration_after(0, &days), INT64_MAX);
    assert_int_equal(duration_after(0, &months), INT64_MAX);
    struct duration second = {0, 0, 1};
    assert_int_equal(duration_after(INT64_MAX - 5, &second), INT64_MAX);
}

/* What GNU date makes of the sum. Its months overflow into the next month where ours stop at the
 * last day, so that the days here are those that every month has. */
static void agrees_with_gnu_date(void **state)
{
    (void)state;
    static const struct {
        const char *from, *duration, *words;
    } sums[] = {
        {"2026-03-02", "P42D", "42 days"},
        {"2026-03-02", "P28D", "28 days"},
        {"2026-03-02", "P6W", "6 weeks"},
        {"2026-03-02", "P6M", "6 months"},
        {"2026-03-02", "P1Y", "1 year"},
        {"2024-02-28", "P1D", "1 day"},
        {"2024-02-28", "P2D", "2 days"},
        {"2026-02-28", "P1D", "1 day"},
        {"2024-02-28", "P366D", "366 days"},
        {"2099-12-28", "P2M", "2 months"},
        {"2000-02-28", "P100Y", "100 years"},
        {"1999-12-31", "P1D", "1 day"},
        {"1969-12-31", "P400D", "400 days"},
        {"1912-06-15", "P90Y3M", "90 years 3 months"},
        {"2026-10-25T00:30:00Z", "PT1H", "1 hour"},
        {"2026-03-29T00:30:00Z", "PT36H", "36 hours"},
        {"2026-12-31T23:59:59Z", "PT1S", "1 second"},
        {"2026-08-31T12:00:00Z", "P1DT12H", "1 day 12 hours"},
        {"2026-11-15T08:00:00Z", "P1Y2M10DT2H30M", "1 year 2 months 10 days 2 hours 30 minutes"},
        {"2026-05-05T05:05:05Z", "P1000D", "1000 days"},
        {"1583-01-01", "P400Y", "400 years"},
    };
    char command[8192] = "";
    for (size_t i = 0; i < sizeof sums / sizeof sums[0]; i++) {
        size_t length = strlen(command);
        snprintf(command + length, sizeof command - length, "date -u -d '%s %s' +%%s;",
                 sums[i].from, sums[i].words);
    }
    FILE *oracle = popen(command, "r");
    assert_non_null(oracle);
    for (size_t i = 0; i < sizeof sums / sizeof sums[0]; i++) {
        long long seconds;
        struct duration duration;
        assert_int_equal(fscanf(oracle, "%lld", &seconds), 1);
        assert_int_equal(duration_parse(sums[i].duration, &duration, NULL), 0);
        utc_us later = duration_after(utc_of(sums[i].from), &duration);
        if (later != seconds * US_PER_S)
            fail_msg("%s + %s: %lld, not %lld s", sums[i].from, sums[i].duration,
                     (long long)(later / US_PER_S), seconds);
    }
    assert_int_equal(pclose(oracle), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reads_published_instants),
        cmocka_unit_test(reads_every_form),
        cmocka_unit_test(refuses_what_is_no_instant),
        cmocka_unit_test(writes_as_many_decimals_as_needed),
        cmocka_unit_test(agrees_with_libc),
        cmocka_unit_test(ends_of_months_hold),
        cmocka_unit_test(far_instants_stop_at_the_end),
        cmocka_unit_test(agrees_with_gnu_date),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
