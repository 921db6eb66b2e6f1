/* Writes iCalendar; section numbers are those of RFC 5545. */
#include "report/calendar_file.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "report/lettering.h"

#define LINE_OCTETS 75 /* 3.1: without the line break */
#define UID_OCTETS  255

#define YEAR_1     (-62135596800LL * US_PER_S)
#define YEAR_10000 (253402300800LL * US_PER_S)

/* 3.1: a long line goes on in the next, after one space; a character is never torn apart. */
static void add_line(struct text *out, const struct text *line)
{
    size_t octets = 0;
    uint32_t code;
    for (size_t at = 0, bytes; at < line->length; at += bytes) {
        bytes = letter_next(line->bytes + at, line->length - at, &code);
        if (octets + bytes > LINE_OCTETS) {
            text_add(out, "\r\n ");
            octets = 1;
        }
        text_add_bytes(out, line->bytes + at, bytes);
        octets += bytes;
    }
    text_add(out, "\r\n");
}

static void add_plain(struct text *out, const char *line)
{
    text_add(out, line);
    text_add(out, "\r\n");
}

/* 3.3.11: backslash, semicolon, comma and line breaks are escaped; a colon is not. */
static void add_escaped(struct text *line, const char *string)
{
    uint32_t code;
    for (size_t left = strlen(string), bytes; left != 0; left -= bytes, string += bytes) {
        bytes = letter_next(string, left, &code);
        if (code == '\r' && left > 1 && string[1] == '\n')
            bytes = 2;
        if (code == '\\' || code == ';' || code == ',')
            text_add(line, "\\");
        if (code == '\n' || code == '\r')
            text_add(line, "\\n");
        else if ((code < 0x20 && code != '\t') || code == 0x7f)
            text_add(line, " ");
        else if (code == LETTER_BAD)
            text_add(line, "\xef\xbf\xbd");
        else
            text_add_bytes(line, string, bytes);
    }
}

static bool is_empty(const char *string)
{
    return string == NULL || string[0] == '\0';
}

static void add_text(struct text *out, const char *property, const char *value)
{
    if (is_empty(value))
        return;
    struct text line = TEXT_EMPTY;
    text_add(&line, property);
    text_add(&line, ":");
    add_escaped(&line, value);
    add_line(out, &line);
    text_free(&line);
}

static void add_categories(struct text *out, const struct calendar_entry *entry)
{
    struct text line = TEXT_EMPTY;
    for (size_t i = 0; i < entry->category_count; i++) {
        if (is_empty(entry->categories[i]))
            continue;
        text_add(&line, line.length == 0 ? "CATEGORIES:" : ",");
        add_escaped(&line, entry->categories[i]);
    }
    if (line.length != 0)
        add_line(out, &line);
    text_free(&line);
}

/* 3.3.4 and 3.3.5: a date, or an instant in UTC; both have no part of a second. */
static void add_time(struct text *out, const char *property, utc_us instant, bool date)
{
    int64_t seconds = instant / US_PER_S - (instant % US_PER_S < 0);
    time_t when = (time_t)seconds;
    struct tm civil;
    gmtime_r(&when, &civil);
    text_addf(out, "%s%s:%04d%02d%02d", property, date ? ";VALUE=DATE" : "", civil.tm_year + 1900,
              civil.tm_mon + 1, civil.tm_mday);
    if (!date)
        text_addf(out, "T%02d%02d%02dZ", civil.tm_hour, civil.tm_min, civil.tm_sec);
    text_add(out, "\r\n");
}

/* 3.6.6: a reminder on the screen has an action, a text and a trigger. */
static void add_alarm(struct text *out, const struct calendar_entry *entry)
{
    add_plain(out, "BEGIN:VALARM");
    add_plain(out, "ACTION:DISPLAY");
    add_text(out, "DESCRIPTION", is_empty(entry->summary) ? "due" : entry->summary);
    long minutes = entry->alarm_minutes;
    text_addf(out, "TRIGGER:%sPT%ldM\r\n", minutes > 0 ? "-" : "", labs(minutes));
    add_plain(out, "END:VALARM");
}

static void add_entry(struct text *out, const struct calendar_entry *entry)
{
    add_plain(out, "BEGIN:VEVENT");
    add_text(out, "UID", entry->uid);
    add_time(out, "DTSTAMP", entry->stamp, false);
    if (entry->modified != 0)
        add_time(out, "LAST-MODIFIED", entry->modified, false);
    text_addf(out, "SEQUENCE:%d\r\n", entry->sequence);
    add_time(out, "DTSTART", entry->start, entry->all_day);
    if (entry->end != 0)
        add_time(out, "DTEND", entry->end, entry->all_day);
    add_text(out, "SUMMARY", entry->summary);
    add_text(out, "DESCRIPTION", entry->description);
    add_categories(out, entry);
    if (entry->alarm)
        add_alarm(out, entry);
    add_plain(out, "END:VEVENT");
}

/* 3.6 wants one component, and takes a time zone (3.6.5) for it: so a calendar can be empty. */
static void add_nothing(struct text *out)
{
    static const char *const lines[] = {
        "BEGIN:VTIMEZONE",    "TZID:UTC",         "BEGIN:STANDARD", "DTSTART:19700101T000000",
        "TZOFFSETFROM:+0000", "TZOFFSETTO:+0000", "END:STANDARD",   "END:VTIMEZONE"};
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++)
        add_plain(out, lines[i]);
}

static bool in_calendar(utc_us instant)
{
    return instant >= YEAR_1 && instant < YEAR_10000;
}

/* The unit in which two times of the entry can be told apart in the file. */
static int64_t grain(const struct calendar_entry *entry, utc_us instant)
{
    int64_t unit = entry->all_day ? 86400 * US_PER_S : US_PER_S;
    return instant / unit - (instant % unit < 0);
}

static int check_entry(const struct calendar_entry *entry, struct error *error)
{
    char quoted[80];
    if (is_empty(entry->uid))
        return error_set(
            error, ERROR_USAGE, "calendar", "give every entry its own UID",
            "the entry %s has no UID",
            string_quote(entry->summary == NULL ? "" : entry->summary, quoted, sizeof quoted));
    string_quote(entry->uid, quoted, sizeof quoted);
    if (strlen(entry->uid) > UID_OCTETS)
        return error_set(error, ERROR_USAGE, "calendar", "shorten it",
                         "the UID %s is longer than %d octets", quoted, UID_OCTETS);
    if (entry->sequence < 0)
        return error_set(error, ERROR_USAGE, "calendar", "count from 0",
                         "the entry %s has the sequence %d", quoted, entry->sequence);
    if (!in_calendar(entry->start) || !in_calendar(entry->end) || !in_calendar(entry->stamp) ||
        !in_calendar(entry->modified))
        return error_set(error, ERROR_USAGE, "calendar", "check the dates of the plan",
                         "the entry %s has a date outside the years 1 to 9999", quoted);
    if (entry->end != 0 && grain(entry, entry->end) <= grain(entry, entry->start))
        return error_set(error, ERROR_USAGE, "calendar", "let it end later, or give no end",
                         "the entry %s does not end after its start", quoted);
    return 0;
}

static int by_uid(const void *a, const void *b)
{
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

static int check_unique(const struct calendar_entry *entries, size_t count, struct error *error)
{
    const char **uids = xcalloc(count + 1, sizeof *uids);
    for (size_t i = 0; i < count; i++)
        uids[i] = entries[i].uid;
    qsort(uids, count, sizeof *uids, by_uid);
    int status = 0;
    char quoted[80];
    for (size_t i = 1; i < count && status == 0; i++)
        if (strcmp(uids[i - 1], uids[i]) == 0)
            status = error_set(error, ERROR_USAGE, "calendar", "give every entry its own UID",
                               "two entries have the UID %s",
                               string_quote(uids[i], quoted, sizeof quoted));
    free(uids);
    return status;
}

int calendar_file_write(struct text *out, const struct calendar_entry *entries, size_t count,
                        struct error *error)
{
    for (size_t i = 0; i < count; i++) {
        int status = check_entry(&entries[i], error);
        if (status != 0)
            return status;
    }
    int status = check_unique(entries, count, error);
    if (status != 0)
        return status;
    /* 3.6: no METHOD, so this is a calendar and not an invitation. */
    add_plain(out, "BEGIN:VCALENDAR");
    add_plain(out, "VERSION:2.0");
    add_plain(out, "PRODID:-//Perdure//Perdure " PERDURE_VERSION "//EN");
    for (size_t i = 0; i < count; i++)
        add_entry(out, &entries[i]);
    if (count == 0)
        add_nothing(out);
    add_plain(out, "END:VCALENDAR");
    return 0;
}
