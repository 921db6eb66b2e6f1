/* The iCalendar writer against the rules of RFC 5545, and against a reader that is not ours. */
#include "report/cmocka_setup.h"

#ifdef HAVE_LIBICAL
#include <libical/ical.h>
#endif

#include "base/random.h"
#include "report/calendar_file.h"

#define DAY (86400 * US_PER_S)

static utc_us at(const char *when)
{
    utc_us instant;
    assert_int_equal(utc_parse(when, &instant, NULL), 0);
    return instant;
}

static const char *const tags[] = {"shelf", "capacity; day 42", "a,b"};

static struct calendar_entry day_42(void)
{
    return (struct calendar_entry){.uid = "run-7-day-42@logbook-4f1c",
                                   .summary = "Measure HER-01, HER-02",
                                   .description = "Shelf arm: 42 days",
                                   .categories = tags,
                                   .category_count = 3,
                                   .all_day = true,
                                   .start = at("2026-04-13"),
                                   .alarm = true,
                                   .alarm_minutes = -480,
                                   .stamp = at("2026-03-02T08:00Z"),
                                   .modified = at("2026-03-03T09:30:15Z"),
                                   .sequence = 2};
}

/* The file with its folds undone (3.1). */
static char *unfolded(const struct text *file)
{
    char *plain = malloc(file->length + 1), *to = plain;
    for (const char *from = file->bytes; *from != '\0';)
        if (strncmp(from, "\r\n ", 3) == 0)
            from += 3;
        else
            *to++ = *from++;
    *to = '\0';
    return plain;
}

static void writes_what_the_standard_asks_for(void **state)
{
    (void)state;
    struct calendar_entry entry = day_42();
    struct text file = TEXT_EMPTY;
    assert_int_equal(calendar_file_write(&file, &entry, 1, NULL), 0);
    /* 3.4, 3.6, 3.6.1, 3.6.6; whole days 3.8.2.4 with 3.3.4 */
    const char *want = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\n"
                       "PRODID:-//Perdure//Perdure " PERDURE_VERSION "//EN\r\n"
                       "BEGIN:VEVENT\r\nUID:run-7-day-42@logbook-4f1c\r\n"
                       "DTSTAMP:20260302T080000Z\r\nLAST-MODIFIED:20260303T093015Z\r\n"
                       "SEQUENCE:2\r\nDTSTART;VALUE=DATE:20260413\r\n"
                       "SUMMARY:Measure HER-01\\, HER-02\r\nDESCRIPTION:Shelf arm: 42 days\r\n"
                       "CATEGORIES:shelf,capacity\\; day 42,a\\,b\r\n"
                       "BEGIN:VALARM\r\nACTION:DISPLAY\r\nDESCRIPTION:Measure HER-01\\, HER-02\r\n"
                       "TRIGGER:PT480M\r\nEND:VALARM\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n";
    assert_string_equal(file.bytes, want);
    text_free(&file);
}

static void writes_moments_ends_and_early_alarms(void **state)
{
    (void)state;
    struct calendar_entry entry = {.uid = "a",
                                   .start = at("2026-03-02T09:00:00+01:00"),
                                   .end = at("2026-03-02T09:10:00Z"),
                                   .alarm = true,
                                   .alarm_minutes = 30,
                                   .stamp = at("1969-12-31T23:59:59.5Z")};
    struct text file = TEXT_EMPTY;
    assert_int_equal(calendar_file_write(&file, &entry, 1, NULL), 0);
    assert_contains(file.bytes, "\r\nDTSTART:20260302T080000Z\r\nDTEND:20260302T091000Z\r\n");
    assert_contains(file.bytes, "\r\nTRIGGER:-PT30M\r\n");
    assert_contains(file.bytes, "\r\nDESCRIPTION:due\r\n"); /* 3.6.6: an alarm has one */
    assert_contains(file.bytes, "\r\nDTSTAMP:19691231T235959Z\r\n");
    assert_lacks(file.bytes, "SUMMARY");
    assert_lacks(file.bytes, "LAST-MODIFIED");
    assert_lacks(file.bytes, "METHOD");
    text_free(&file);
}

static void the_same_plan_gives_the_same_bytes(void **state)
{
    (void)state;
    struct calendar_entry entry = day_42();
    struct text first = TEXT_EMPTY, second = TEXT_EMPTY;
    assert_int_equal(calendar_file_write(&first, &entry, 1, NULL), 0);
    assert_int_equal(calendar_file_write(&second, &entry, 1, NULL), 0);
    assert_string_equal(first.bytes, second.bytes);
    text_free(&first);
    text_free(&second);
}

static void folds_long_lines_between_characters(void **state)
{
    (void)state;
    static const char *const letters[] = {"a", "\xc3\xa9", "\xe2\x82\xac", "\xf0\x9f\x94\x8b", ","};
    struct random random;
    random_seed(&random, 5545);
    for (int round = 0; round < 300; round++) {
        struct text words = TEXT_EMPTY;
        int64_t count = random_range(&random, 1, 400);
        for (int64_t i = 0; i < count; i++)
            text_add(&words, letters[random_range(&random, 0, 4)]);
        struct calendar_entry entry = {.uid = "u", .description = words.bytes, .start = DAY};
        struct text file = TEXT_EMPTY;
        assert_int_equal(calendar_file_write(&file, &entry, 1, NULL), 0);
        for (const char *line = file.bytes; *line != '\0';) {
            const char *end = strstr(line, "\r\n");
            assert_non_null(end);
            assert_true(end - line <= 75);
            /* a line that begins inside a character begins with a continuation byte */
            const char *first = *line == ' ' ? line + 1 : line;
            assert_true((*first & 0xc0) != 0x80);
            assert_null(memchr(line, '\n', (size_t)(end - line)));
            line = end + 2;
        }
        struct text want = TEXT_EMPTY;
        text_add(&want, "\r\nDESCRIPTION:");
        for (const char *c = words.bytes; *c != '\0'; c++)
            text_addf(&want, *c == ',' ? "\\%c" : "%c", *c);
        text_add(&want, "\r\n");
        char *plain = unfolded(&file);
        assert_contains(plain, want.bytes);
        free(plain);
        text_free(&want);
        text_free(&file);
        text_free(&words);
    }
}

static void a_line_of_75_octets_is_not_folded(void **state)
{
    (void)state;
    char summary[75 - 8 + 2];
    memset(summary, 'x', sizeof summary);
    summary[75 - 8] = '\0'; /* after "SUMMARY:" */
    struct calendar_entry entry = {.uid = "u", .summary = summary, .start = DAY};
    struct text file = TEXT_EMPTY;
    assert_int_equal(calendar_file_write(&file, &entry, 1, NULL), 0);
    assert_lacks(file.bytes, "\r\n ");
    text_clear(&file);
    summary[75 - 8] = 'y';
    summary[75 - 7] = '\0';
    assert_int_equal(calendar_file_write(&file, &entry, 1, NULL), 0);
    assert_contains(file.bytes, "x\r\n y\r\n");
    text_free(&file);
}

static void texts_cannot_break_the_file(void **state)
{
    (void)state;
    struct calendar_entry entry = {.uid = "u",
                                   .summary = "a\r\nEND:VEVENT\rb\nc\x01\x7f\t\\n;",
                                   .description = "bad \xff\xc3 end",
                                   .start = DAY};
    struct text file = TEXT_EMPTY;
    assert_int_equal(calendar_file_write(&file, &entry, 1, NULL), 0);
    assert_contains(file.bytes, "\r\nSUMMARY:a\\nEND:VEVENT\\nb\\nc  \t\\\\n\\;\r\n");
    assert_contains(file.bytes, "\r\nDESCRIPTION:bad \xef\xbf\xbd\xef\xbf\xbd end\r\n");
    assert_int_equal(occurrences(file.bytes, "\nEND:VEVENT"), 1);
    text_free(&file);
}

static void a_calendar_may_be_empty(void **state)
{
    (void)state;
    struct text file = TEXT_EMPTY;
    assert_int_equal(calendar_file_write(&file, NULL, 0, NULL), 0);
    assert_lacks(file.bytes, "VEVENT");
    /* 3.6: at least one component; a time zone (3.6.5) is one. */
    assert_contains(file.bytes, "\r\nBEGIN:VTIMEZONE\r\nTZID:UTC\r\nBEGIN:STANDARD\r\n");
#ifdef HAVE_LIBICAL
    icalcomponent *calendar = icalparser_parse_string(file.bytes);
    assert_non_null(calendar);
    icalrestriction_check(calendar);
    assert_int_equal(icalcomponent_count_errors(calendar), 0);
    assert_int_equal(icalcomponent_count_components(calendar, ICAL_ANY_COMPONENT), 1);
    assert_int_equal(icalcomponent_count_components(calendar, ICAL_VEVENT_COMPONENT), 0);
    icalcomponent_free(calendar);
#endif
    text_free(&file);
}

static void refuses(struct calendar_entry *entries, size_t count, const char *reason)
{
    struct text file = TEXT_EMPTY;
    struct error error;
    error_clear(&error);
    assert_int_equal(calendar_file_write(&file, entries, count, &error), ERROR_USAGE);
    assert_contains(error.why, reason);
    assert_int_equal(file.length, 0);
    text_free(&file);
}

static void refuses_what_is_no_plan(void **state)
{
    (void)state;
    struct calendar_entry entry = {.summary = "shelf", .start = DAY};
    refuses(&entry, 1, "\"shelf\" has no UID");
    entry.uid = "";
    refuses(&entry, 1, "no UID");
    char uid[257];
    memset(uid, 'u', 256);
    uid[256] = '\0';
    entry.uid = uid;
    refuses(&entry, 1, "longer than 255");
    entry.uid = "u";
    entry.end = DAY;
    refuses(&entry, 1, "does not end after its start");
    entry.all_day = true;
    entry.end = DAY + DAY / 2; /* the same date */
    refuses(&entry, 1, "does not end after its start");
    entry.end = 0;
    entry.start = INT64_MAX;
    refuses(&entry, 1, "years 1 to 9999");
    entry.start = at("9999-12-31");
    entry.sequence = -1;
    refuses(&entry, 1, "sequence -1");
    struct calendar_entry twins[] = {
        {.uid = "x", .start = DAY}, {.uid = "y", .start = DAY}, {.uid = "x", .start = 2 * DAY}};
    refuses(twins, 3, "two entries have the UID \"x\"");
}

#ifdef HAVE_LIBICAL
static const char *const tricky[] = {
    "plain",
    "comma, semicolon; colon: backslash \\ and \\n, \\; \\, \\\\",
    "two\nlines\n\nand a blank one",
    "\"quoted\" 'too' <b>&amp;</b>",
    "Zelle \xc3\xbc\xc3\x9f \xe7\x94\xb5\xe6\xb1\xa0 \xd7\xa9\xd7\x9c\xd7\x95\xd7\x9d "
    "\xf0\x9f\x94\x8b",
    "BEGIN:VEVENT\nEND:VCALENDAR",
    "inner  spaces  stay", /* this reader drops those around a value */
    "\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3"
    "\xa9"
    "\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3"
    "\xa9"
    "\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3"
    "\xa9"
    "\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3"
    "\xa9",
};
#define TRICKY (sizeof tricky / sizeof *tricky)

static void another_reader_reads_it_back(void **state)
{
    (void)state;
    struct calendar_entry entries[TRICKY];
    char uids[TRICKY][32];
    for (size_t i = 0; i < TRICKY; i++) {
        snprintf(uids[i], sizeof uids[i], "entry-%zu@logbook", i);
        entries[i] = day_42();
        entries[i].uid = uids[i];
        entries[i].summary = tricky[i];
        entries[i].description = tricky[TRICKY - 1 - i];
        entries[i].categories = &tricky[i];
        entries[i].category_count = 1;
        entries[i].all_day = i % 2 == 0;
        entries[i].end = i % 3 == 0 ? 0 : entries[i].start + 3 * DAY;
        entries[i].sequence = (int)i;
    }
    struct text file = TEXT_EMPTY;
    assert_int_equal(calendar_file_write(&file, entries, TRICKY, NULL), 0);
    icalcomponent *calendar = icalparser_parse_string(file.bytes);
    assert_non_null(calendar);
    assert_int_equal(icalcomponent_count_errors(calendar), 0);
    icalrestriction_check(calendar); /* marks what the standard forbids or misses */
    assert_int_equal(icalcomponent_count_errors(calendar), 0);
    assert_int_equal(icalcomponent_count_components(calendar, ICAL_VEVENT_COMPONENT), TRICKY);
    icalcomponent *event = icalcomponent_get_first_component(calendar, ICAL_VEVENT_COMPONENT);
    for (size_t i = 0; i < TRICKY; i++) {
        assert_string_equal(icalcomponent_get_uid(event), uids[i]);
        assert_string_equal(icalcomponent_get_summary(event), entries[i].summary);
        assert_string_equal(icalcomponent_get_description(event), entries[i].description);
        assert_int_equal(icalcomponent_get_sequence(event), i);
        struct icaltimetype start = icalcomponent_get_dtstart(event);
        assert_int_equal(start.is_date, entries[i].all_day);
        assert_int_equal(icaltime_as_timet(start), entries[i].start / US_PER_S);
        if (entries[i].end != 0)
            assert_int_equal(icaltime_as_timet(icalcomponent_get_dtend(event)),
                             entries[i].end / US_PER_S);
        icalproperty *modified =
            icalcomponent_get_first_property(event, ICAL_LASTMODIFIED_PROPERTY);
        assert_int_equal(icaltime_as_timet(icalproperty_get_lastmodified(modified)),
                         entries[i].modified / US_PER_S);
        icalcomponent *alarm = icalcomponent_get_first_component(event, ICAL_VALARM_COMPONENT);
        icalproperty *trigger = icalcomponent_get_first_property(alarm, ICAL_TRIGGER_PROPERTY);
        struct icaltriggertype when = icalproperty_get_trigger(trigger);
        assert_int_equal(icaldurationtype_as_int(when.duration), 480 * 60);
        event = icalcomponent_get_next_component(calendar, ICAL_VEVENT_COMPONENT);
    }
    icalcomponent_free(calendar);
    icalmemory_free_ring();
    text_free(&file);
}
#else
static void another_reader_reads_it_back(void **state)
{
    (void)state;
    print_message("skipped: libical-dev was not installed when the tests were built\n");
    skip();
}
#endif

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(writes_what_the_standard_asks_for),
        cmocka_unit_test(writes_moments_ends_and_early_alarms),
        cmocka_unit_test(the_same_plan_gives_the_same_bytes),
        cmocka_unit_test(folds_long_lines_between_characters),
        cmocka_unit_test(a_line_of_75_octets_is_not_folded),
        cmocka_unit_test(texts_cannot_break_the_file),
        cmocka_unit_test(a_calendar_may_be_empty),
        cmocka_unit_test(refuses_what_is_no_plan),
        cmocka_unit_test(another_reader_reads_it_back),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
