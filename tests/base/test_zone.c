/* Civil time in a zone. The named cases are common knowledge of zone rules, each looked up in the
 * IANA database (by way of GNU date) as well: the summer time of the European Union and of the
 * United States, Lord Howe's change by half an hour, Nepal's offset, the end of summer time in
 * Brazil in 2019, and the day that Samoa left out. */
#include "support/cmocka_setup.h"

#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/zone.h"

static struct zone *open_zone(const char *name)
{
    struct zone *zone;
    struct error error;
    if (zone_open(&zone, name, &error)) {
        error_print(stderr, &error);
        print_message("skipped: the time zone database is not there\n");
        skip();
    }
    return zone;
}

static utc_us utc_of(const char *text)
{
    utc_us instant;
    struct error error;
    if (utc_parse(text, &instant, &error)) {
        error_print(stderr, &error);
        fail();
    }
    return instant;
}

struct sum {
    const char *zone, *from, *duration, *to;
};

/* As the zone's clock shows it, with the offset: tells an instant and its civil time at once. */
static void check_sums(const struct sum *sums, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        struct zone *zone = open_zone(sums[i].zone);
        struct duration duration;
        struct error error;
        char to[64];
        assert_int_equal(duration_parse(sums[i].duration, &duration, &error), 0);
        zone_format(zone, zone_after(zone, utc_of(sums[i].from), &duration), to, sizeof to);
        zone_close(zone);
        if (strcmp(to, sums[i].to) != 0)
            fail_msg("%s + %s in %s is %s, not %s", sums[i].from, sums[i].duration, sums[i].zone,
                     to, sums[i].to);
    }
}

static void a_day_is_the_same_hour_next_day(void **state)
{
    (void)state;
    static const struct sum sums[] = {
        {"Europe/Berlin", "2026-03-28T12:00+01:00", "P1D", "2026-03-29T12:00:00+02:00"},
        {"Europe/Berlin", "2026-03-28T12:00+01:00", "PT24H", "2026-03-29T13:00:00+02:00"},
        {"Europe/Berlin", "2026-10-24T12:00+02:00", "P1D", "2026-10-25T12:00:00+01:00"},
        {"Europe/Berlin", "2026-10-24T12:00+02:00", "PT24H", "2026-10-25T11:00:00+01:00"},
        {"Europe/Berlin", "2026-10-24T12:00+02:00", "PT36H", "2026-10-25T23:00:00+01:00"},
        {"Europe/Berlin", "2026-03-01T08:00+01:00", "P42D", "2026-04-12T08:00:00+02:00"},
        {"America/New_York", "2026-03-07T09:30-05:00", "P1D", "2026-03-08T09:30:00-04:00"},
        {"America/New_York", "2026-10-31T09:30-04:00", "P28D", "2026-11-28T09:30:00-05:00"},
        {"Australia/Lord_Howe", "2026-10-03T12:00+10:30", "P1D", "2026-10-04T12:00:00+11:00"},
        {"Australia/Lord_Howe", "2026-10-03T12:00+10:30", "PT24H", "2026-10-04T12:30:00+11:00"},
        {"Asia/Kathmandu", "2026-03-28T12:00+05:45", "P1D", "2026-03-29T12:00:00+05:45"},
        {"America/Sao_Paulo", "2019-02-16T12:00-02:00", "P1D", "2019-02-17T12:00:00-03:00"},
        {"UTC", "2026-03-28T12:00Z", "P1D", "2026-03-29T12:00:00Z"},
    };
    check_sums(sums, sizeof sums / sizeof *sums);
}

static void months_come_first_then_days_then_seconds(void **state)
{
    (void)state;
    static const struct sum sums[] = {
        {"Europe/Berlin", "2026-01-31T10:00+01:00", "P1M", "2026-02-28T10:00:00+01:00"},
        {"Europe/Berlin", "2028-01-31T10:00+01:00", "P1M", "2028-02-29T10:00:00+01:00"},
        {"Europe/Berlin", "2028-02-29T10:00+01:00", "P1Y", "2029-02-28T10:00:00+01:00"},
        {"Europe/Berlin", "2026-08-31T10:00+02:00", "P6M", "2027-02-28T10:00:00+01:00"},
        {"Europe/Berlin", "2026-01-31T10:00+01:00", "P1M1D", "2026-03-01T10:00:00+01:00"},
        /* By UTC it is still the 30th, and a month later would be the 1st of March here. */
        {"Europe/Berlin", "2026-01-31T00:30+01:00", "P1M", "2026-02-28T00:30:00+01:00"},
        {"Europe/Berlin", "2026-05-01T00:30+02:00", "P1M", "2026-06-01T00:30:00+02:00"},
        /* Noon next day, which is 23 h later, then 2 h. */
        {"Europe/Berlin", "2026-03-28T12:00+01:00", "P1DT2H", "2026-03-29T14:00:00+02:00"},
        {"Europe/Berlin", "2026-03-28T01:30+01:00", "P1DT1H", "2026-03-29T03:30:00+02:00"},
    };
    check_sums(sums, sizeof sums / sizeof *sums);
}

static void what_does_not_exist_moves_by_the_gap(void **state)
{
    (void)state;
    static const struct sum sums[] = {
        {"Europe/Berlin", "2026-03-28T02:30+01:00", "P1D", "2026-03-29T03:30:00+02:00"},
        {"Europe/Berlin", "2025-07-29T02:30+02:00", "P8M", "2026-03-29T03:30:00+02:00"},
        {"Europe/Berlin", "2026-03-28T02:00+01:00", "P1D", "2026-03-29T03:00:00+02:00"},
        {"Europe/Berlin", "2026-03-28T01:59:59+01:00", "P1D", "2026-03-29T01:59:59+01:00"},
        {"Europe/Berlin", "2026-03-28T03:00+01:00", "P1D", "2026-03-29T03:00:00+02:00"},
        {"America/New_York", "2026-03-07T02:15-05:00", "P1D", "2026-03-08T03:15:00-04:00"},
        {"Australia/Lord_Howe", "2026-10-03T02:10+10:30", "P1D", "2026-10-04T02:40:00+11:00"},
        {"America/Sao_Paulo", "2018-11-03T00:15-03:00", "P1D", "2018-11-04T01:15:00-02:00"},
        /* The 30th of December 2011 was no day in Apia: a gap of 24 h. */
        {"Pacific/Apia", "2011-12-29T08:00-10:00", "P1D", "2011-12-31T08:00:00+14:00"},
        {"Pacific/Apia", "2011-12-29T08:00-10:00", "P2D", "2011-12-31T08:00:00+14:00"},
        {"Pacific/Apia", "2011-12-29T08:00-10:00", "PT24H", "2011-12-31T08:00:00+14:00"},
    };
    check_sums(sums, sizeof sums / sizeof *sums);
}

static void what_exists_twice_is_the_first(void **state)
{
    (void)state;
    static const struct sum sums[] = {
        {"Europe/Berlin", "2026-10-24T02:30+02:00", "P1D", "2026-10-25T02:30:00+02:00"},
        {"Europe/Berlin", "2026-01-25T02:30+01:00", "P9M", "2026-10-25T02:30:00+02:00"},
        {"Europe/Berlin", "2026-10-24T02:00+02:00", "P1D", "2026-10-25T02:00:00+02:00"},
        {"Europe/Berlin", "2026-10-24T03:00+02:00", "P1D", "2026-10-25T03:00:00+01:00"},
        {"America/New_York", "2025-12-01T01:30-05:00", "P11M", "2026-11-01T01:30:00-04:00"},
        {"Australia/Lord_Howe", "2026-04-04T01:45+11:00", "P1D", "2026-04-05T01:45:00+11:00"},
        /* Seconds go on from where they are, also from the second 02:30... */
        {"Europe/Berlin", "2026-10-25T02:30+01:00", "PT24H", "2026-10-26T02:30:00+01:00"},
        {"Europe/Berlin", "2026-10-25T02:30+01:00", "PT0S", "2026-10-25T02:30:00+01:00"},
        {"Europe/Berlin", "2026-10-25T02:30+02:00", "PT1H", "2026-10-25T02:30:00+01:00"},
        /* ...and the day after either is the same. */
        {"Europe/Berlin", "2026-10-25T02:30+02:00", "P1D", "2026-10-26T02:30:00+01:00"},
        {"Europe/Berlin", "2026-10-25T02:30+01:00", "P1D", "2026-10-26T02:30:00+01:00"},
    };
    check_sums(sums, sizeof sums / sizeof *sums);
}

/* UTC is the arithmetic of calendar.h, to the ends of time. */
static void utc_is_as_before(void **state)
{
    (void)state;
    const struct duration durations[] = {{13, 5, 0.25}, {0, 0, 1e300}, {INT_MAX, 0, 0}, {0, -3, 1}};
    const utc_us from[] = {0, -1, INT64_MAX - 5, utc_of("2028-02-29T23:59:59.5Z")};
    for (size_t i = 0; i < sizeof from / sizeof *from; i++) {
        assert_int_equal(zone_civil(NULL, from[i]), from[i]);
        assert_int_equal(zone_instant(NULL, from[i]), from[i]);
        for (size_t k = 0; k < sizeof durations / sizeof *durations; k++)
            assert_int_equal(zone_after(NULL, from[i], &durations[k]),
                             duration_after(from[i], &durations[k]));
    }
}

static void far_times_stay_far(void **state)
{
    (void)state;
    struct zone *berlin = open_zone("Europe/Berlin");
    const struct duration century = {.months = 1200}, endless = {.months = INT_MAX};
    char text[64];
    assert_true(zone_after(berlin, INT64_MAX - 5, &century) > INT64_MAX / 2);
    assert_true(zone_after(berlin, 0, &endless) > INT64_MAX / 2);
    assert_true(zone_civil(berlin, INT64_MIN) < 0);
    /* The rules go on beyond the years that the database lists. */
    zone_format(berlin, zone_after(berlin, utc_of("2026-07-01T12:00+02:00"), &century), text,
                sizeof text);
    assert_string_equal(text, "2126-07-01T12:00:00+02:00");
    zone_close(berlin);
}

static void reads_and_writes_civil_time(void **state)
{
    (void)state;
    static const struct {
        const char *text, *instant;
    } texts[] = {
        {"2026-10-25T02:30", "2026-10-25T00:30:00Z"},
        {"2026-10-25T02:30Z", "2026-10-25T02:30:00Z"},
        {"2026-10-25T02:30+01:00", "2026-10-25T01:30:00Z"},
        {"2026-03-29T02:30", "2026-03-29T01:30:00Z"},
        {"2026-07-01", "2026-06-30T22:00:00Z"},
        {"2026-07-01T00:00:00.25", "2026-06-30T22:00:00.250Z"},
    };
    struct zone *berlin = open_zone("Europe/Berlin");
    char text[64];
    utc_us at;
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        struct error error;
        assert_int_equal(zone_parse(berlin, texts[i].text, &at, &error), 0);
        assert_string_equal(utc_format(at, text, sizeof text), texts[i].instant);
    }
    assert_int_equal(zone_parse(NULL, "2026-07-01T08:00", &at, NULL), 0);
    assert_int_equal(at, utc_of("2026-07-01T08:00Z"));
    struct error refused;
    assert_int_equal(zone_parse(berlin, "2026-02-29", &at, &refused), ERROR_USAGE);
    assert_int_equal(zone_parse(berlin, "2026-03-02T08:00CET", &at, &refused), ERROR_USAGE);

    at = utc_of("2026-07-01T10:00:00.5Z");
    assert_string_equal(zone_format(berlin, at, text, sizeof text),
                        "2026-07-01T12:00:00.500+02:00");
    assert_string_equal(zone_format(NULL, at, text, sizeof text), "2026-07-01T10:00:00.500Z");
    assert_string_equal(civil_format(zone_civil(berlin, at), text, sizeof text),
                        "2026-07-01T12:00:00.500");
    struct zone *york = open_zone("America/New_York");
    assert_string_equal(zone_format(york, at, text, sizeof text), "2026-07-01T06:00:00.500-04:00");
    zone_close(york);
    zone_close(berlin);
}

static void a_day_begins_at_midnight_of_the_place(void **state)
{
    (void)state;
    struct zone *berlin = open_zone("Europe/Berlin"), *paulo = open_zone("America/Sao_Paulo");
    utc_us noon = utc_of("2026-03-29T12:00+02:00");
    assert_int_equal(zone_day(berlin, noon, 0), utc_of("2026-03-29T00:00+01:00"));
    assert_int_equal(zone_day(berlin, noon, 1), utc_of("2026-03-30T00:00+02:00"));
    assert_int_equal(zone_day(berlin, noon, -1), utc_of("2026-03-28T00:00+01:00"));
    assert_int_equal(zone_day(NULL, noon, 1), utc_of("2026-03-30"));
    /* A day without a midnight begins when it begins. */
    assert_int_equal(zone_day(paulo, utc_of("2018-11-04T12:00-02:00"), 0),
                     utc_of("2018-11-04T01:00-02:00"));
    zone_close(paulo);
    zone_close(berlin);
}

static void refuses_what_is_no_zone(void **state)
{
    (void)state;
    static const char *const bad[] = {
        "",       "Mars/Nowhere", "Europe",   "../zoneinfo/UTC", "/etc/localtime",
        "+02:00", "CET-1CEST",    "zone.tab", "Europe/Berlin ",  "leapseconds"};
    zone_close(open_zone("Europe/Berlin")); /* the database is there, or this is skipped */
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        struct zone *zone;
        struct error error;
        if (zone_open(&zone, bad[i], &error) != ERROR_USAGE)
            fail_msg("%s was opened", bad[i]);
        assert_null(zone);
        assert_non_null(strstr(error.what, bad[i]));
        assert_non_null(strstr(error.why, "no such time zone"));
    }
}

static void utc_needs_no_database(void **state)
{
    (void)state;
    static const char *const names[] = {"UTC", "Etc/UTC", "Zulu"};
    struct zone *zone;
    struct error error;
    char *before = getenv("TZDIR") ? strdup(getenv("TZDIR")) : NULL;
    setenv("TZDIR", "/nowhere", 1);
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        assert_int_equal(zone_open(&zone, names[i], &error), 0);
        assert_null(zone);
    }
    assert_int_equal(zone_open(&zone, "Europe/Paris", &error), ERROR_USAGE);
    assert_non_null(strstr(error.todo, "tzdata"));
    if (before)
        setenv("TZDIR", before, 1);
    else
        unsetenv("TZDIR");
    free(before);
    assert_string_equal(zone_name(NULL), "UTC");
}

static void put(const char *folder, const char *name, const char *text)
{
    char path[128];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    fputs(text, file);
    fclose(file);
}

static void asks_the_machine_for_its_zone(void **state)
{
    (void)state;
    char folder[] = "/tmp/zone-XXXXXX", link[64], file[64], name[ZONE_NAME];
    zone_close(open_zone("Europe/Berlin"));
    assert_non_null(mkdtemp(folder));
    snprintf(link, sizeof link, "%s/localtime", folder);
    snprintf(file, sizeof file, "%s/timezone", folder);
    assert_string_equal(zone_of_machine(folder, name), "UTC"); /* neither is there */
    put(folder, "timezone", "America/New_York\n");
    assert_string_equal(zone_of_machine(folder, name), "America/New_York");
    assert_int_equal(symlink("../usr/share/zoneinfo/Europe/Berlin", link), 0);
    assert_string_equal(zone_of_machine(folder, name), "Europe/Berlin");
    unlink(link);
    assert_int_equal(symlink("/usr/share/zoneinfo/Etc/UTC", link), 0);
    assert_string_equal(zone_of_machine(folder, name), "UTC");
    unlink(link);
    put(folder, "localtime", "a copy says no name");
    put(folder, "timezone", "Nowhere/At_All\n");
    assert_string_equal(zone_of_machine(folder, name), "UTC");
    unlink(link);
    unlink(file);
    rmdir(folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_day_is_the_same_hour_next_day),
        cmocka_unit_test(months_come_first_then_days_then_seconds),
        cmocka_unit_test(what_does_not_exist_moves_by_the_gap),
        cmocka_unit_test(what_exists_twice_is_the_first),
        cmocka_unit_test(utc_is_as_before),
        cmocka_unit_test(far_times_stay_far),
        cmocka_unit_test(reads_and_writes_civil_time),
        cmocka_unit_test(a_day_begins_at_midnight_of_the_place),
        cmocka_unit_test(refuses_what_is_no_zone),
        cmocka_unit_test(utc_needs_no_database),
        cmocka_unit_test(asks_the_machine_for_its_zone),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
