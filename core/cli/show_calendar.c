/* The calendar of a rehearsed study. */
#include "cli/show_calendar.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/rows.h"
#include "base/text.h"
#include "cli/calendar_warnings.h"

#define DAY        (86400 * US_PER_S)
#define DAYS_SHOWN 6 /* stretches of days, in a line */

/* --- the calendar: what one entry of the study started, together ------------------------------ */

struct block {
    utc_us from, until;
    utc_us waits; /* for a channel, the longest */
    char what[64];
    int cells;
    double hours;
};

static struct block *block_of(struct block *blocks, int *count, int64_t n, int64_t *known)
{
    for (int i = 0; i < *count; i++)
        if (known[i] == n)
            return &blocks[i];
    known[*count] = n;
    return &blocks[(*count)++];
}

static json_t *calendar_rows(const json_t *runs)
{
    size_t total = json_array_size(runs), i;
    struct block *blocks = xcalloc(total + 1, sizeof *blocks);
    int64_t *known = xcalloc(total + 1, sizeof *known);
    int count = 0;
    json_t *run, *rows = json_array();
    json_array_foreach(runs, i, run)
    {
        if (json_is_null(json_object_get(run, "parent")))
            continue;
        utc_us from = row_instant(run, "started_at"), until = row_instant(run, "ended_at");
        struct block *block =
            block_of(blocks, &count, json_integer_value(json_object_get(run, "parent_n")), known);
        if (!block->cells++ || from < block->from)
            block->from = from;
        block->until = until > block->until ? until : block->until;
        utc_us queued = row_instant(run, "queued_at"), due = row_instant(run, "due_at");
        utc_us waits = from - (due > queued ? due : queued);
        block->waits = waits > block->waits ? waits : block->waits;
        block->hours += (double)(until - from) / 3.6e9;
        string_copy(block->what, sizeof block->what, row_text(run, "script"));
    }
    for (int b = 0; b < count; b++) {
        char from[40], until[40], waits[48];
        bool waited = blocks[b].waits >= 60 * US_PER_S;
        json_array_append_new(
            rows,
            json_pack("{s:s, s:s, s:s, s:i, s:f, s:s}", "from",
                      utc_format(blocks[b].from, from, sizeof from), "until",
                      utc_format(blocks[b].until, until, sizeof until), "what", blocks[b].what,
                      "cells", blocks[b].cells, "channel_hours", blocks[b].hours, "waits",
                      waited ? span_format((double)blocks[b].waits / 1e6, waits, sizeof waits)
                             : ""));
    }
    free(blocks);
    free(known);
    return rows;
}

/* --- the busiest day -------------------------------------------------------------------------- */

static int64_t day_number(const struct zone *zone, utc_us at)
{
    return zone_civil(zone, at) / DAY;
}

/* Channel-hours of each day of the zone from the one that `from` is in; owned by the caller. */
static double *hours_by_day(const json_t *runs, const struct zone *zone, utc_us from, size_t days)
{
    double *hours = xcalloc(days, sizeof *hours);
    size_t i;
    json_t *run;
    json_array_foreach(runs, i, run)
    {
        if (json_is_null(json_object_get(run, "parent")))
            continue;
        utc_us at = row_instant(run, "started_at"), end = row_instant(run, "ended_at");
        while (at < end) {
            size_t day = (size_t)(day_number(zone, at) - day_number(zone, from));
            utc_us next = zone_day(zone, at, 1);
            if (next <= at) /* clocks put back over midnight: the next day has begun twice */
                next = at + DAY / 24;
            utc_us part = end < next ? end : next;
            if (day < days)
                hours[day] += (double)(part - at) / 3.6e9;
            at = part;
        }
    }
    return hours;
}

static json_t *summary(const struct rehearsed *rehearsed, const json_t *best, int channels,
                       utc_us from, utc_us until)
{
    const struct zone *zone = rehearsed->zone;
    size_t days = (size_t)(day_number(zone, until) - day_number(zone, from)) + 1, busiest = 0, i;
    double *hours = hours_by_day(rehearsed->runs, zone, from, days), total = 0;
    json_t *row;
    int questions = (int)json_array_size(rehearsed->questions);
    char day[40];
    for (i = 0; i < days; i++) {
        total += hours[i];
        busiest = hours[i] > hours[busiest] ? i : busiest;
    }
    json_array_foreach(rehearsed->journal, i, row)
    {
        questions += strcmp(row_text(row, "name"), "ask") == 0;
    }
    civil_format((day_number(zone, from) + (int64_t)busiest) * DAY, day, sizeof day);
    day[10] = '\0';
    json_t *out = json_pack("{s:f, s:f, s:s, s:f, s:i, s:i, s:o, s:o}", "duration_h",
                            (double)(until - from) / 3.6e9, "channel_hours", total, "busiest_day",
                            day, "busiest_channel_hours", hours[busiest], "channels", channels,
                            "questions", questions, "person_days", person_days(rehearsed),
                            "warnings", calendar_warnings(rehearsed, best, channels));
    free(hours);
    return out;
}

/* A date without a zone, for counting days. */
static utc_us midnight_of(const json_t *day)
{
    struct error ignored;
    utc_us at = 0;
    utc_parse(json_string_value(day), &at, &ignored);
    return at;
}

/* "2026-03-02, 2026-03-04 to 2026-03-08": what follows day by day is one stretch. */
static void print_days(const json_t *days)
{
    size_t count = json_array_size(days), i = 0;
    for (int shown = 0; i < count; shown++) {
        size_t last = i;
        utc_us at = midnight_of(json_array_get(days, i));
        while (last + 1 < count &&
               midnight_of(json_array_get(days, last + 1)) == at + (utc_us)(last + 1 - i) * DAY)
            last++;
        if (shown == DAYS_SHOWN) {
            printf(", and %zu more", count - i);
            break;
        }
        printf("%s%s", shown ? ", " : ": ", json_string_value(json_array_get(days, i)));
        if (last > i)
            printf(" to %s", json_string_value(json_array_get(days, last)));
        i = last + 1;
    }
}

static void print_summary(const json_t *s)
{
    char span[48];
    size_t i;
    json_t *warning;
    const json_t *days = json_object_get(s, "person_days");
    printf(
        "\nlasts %s, %.0f channel-hours; busiest day %s with %.0f of %.0f channel-hours; the study "
        "itself asks a person %" JSON_INTEGER_FORMAT " time%s\n",
        span_format(json_real_value(json_object_get(s, "duration_h")) * 3600, span, sizeof span),
        json_real_value(json_object_get(s, "channel_hours")),
        json_string_value(json_object_get(s, "busiest_day")),
        json_real_value(json_object_get(s, "busiest_channel_hours")),
        24.0 * (double)json_integer_value(json_object_get(s, "channels")),
        json_integer_value(json_object_get(s, "questions")),
        json_integer_value(json_object_get(s, "questions")) == 1 ? "" : "s");
    printf("a person is needed on %zu day%s", json_array_size(days),
           json_array_size(days) == 1 ? "" : "s");
    print_days(days);
    puts("");
    json_array_foreach(json_object_get(s, "warnings"), i, warning)
    {
        if (i == 8) {
            printf("warning: and %zu more\n", json_array_size(json_object_get(s, "warnings")) - i);
            break;
        }
        printf("warning: %s\n", json_string_value(warning));
    }
}

static const struct column columns[] = {
    {"from", "from", 't'},
    {"until", "until", 't'},
    {"what", "what", 'l'},
    {"cells", "cells", 'r'},
    {"channel_hours", "channel-hours", 'r'},
    {"waits", "waits", 'r'},
    {NULL, NULL, 0},
};

int show_calendar(const struct arguments *arguments, struct logbook *logbook, const json_t *best,
                  int channels, utc_us from, utc_us until, struct error *error)
{
    struct rehearsed rehearsed;
    if (rehearsed_read(&rehearsed, logbook, error))
        return error->code;
    json_t *rows = calendar_rows(rehearsed.runs);
    json_t *whole = summary(&rehearsed, best, channels, from, until);
    if (arguments->json) {
        json_object_set(whole, "calendar", rows);
        print_json(whole);
    } else {
        printf("rehearsed on virtual cells and %d channels\n\n", channels);
        print_rows_in(arguments, rows, columns, rehearsed.zone);
        print_summary(whole);
    }
    json_decref(rows);
    json_decref(whole);
    rehearsed_free(&rehearsed);
    return 0;
}
