/* Warnings of a rehearsed study. */
#include "cli/calendar_warnings.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/rows.h"
#include "base/text.h"
#include "logbook/facts.h"

#define DAY (86400 * US_PER_S)
/* Between ready and begun: below this a cell has not waited, but the one before it was taken
 * out. */
#define WAITED (60 * US_PER_S)

int rehearsed_read(struct rehearsed *out, struct logbook *logbook, struct error *error)
{
    const struct listing_filter all = {0};
    *out = (struct rehearsed){.zone = logbook_zone(logbook)};
    if (logbook_list(logbook, LIST_RUNS, &all, &out->runs, error) ||
        logbook_list(logbook, LIST_JOURNAL, &all, &out->journal, error) ||
        logbook_list(logbook, LIST_QUESTIONS, &all, &out->questions, error) ||
        logbook_list(logbook, LIST_EVENTS, &all, &out->events, error))
        rehearsed_free(out);
    return error->code;
}

void rehearsed_free(struct rehearsed *rehearsed)
{
    json_decref(rehearsed->runs);
    json_decref(rehearsed->journal);
    json_decref(rehearsed->questions);
    json_decref(rehearsed->events);
    *rehearsed = (struct rehearsed){0};
}

static bool is_child(const json_t *run)
{
    return !json_is_null(json_object_get(run, "parent"));
}

/* The first instant at which a run could have begun, with a channel free. */
static utc_us ready_at(const json_t *run)
{
    utc_us queued = row_instant(run, "queued_at"), due = row_instant(run, "due_at");
    return due > queued ? due : queued;
}

static int64_t day_number(const struct rehearsed *rehearsed, utc_us at)
{
    return zone_civil(rehearsed->zone, at) / DAY;
}

/* "2026-03-02" */
static char *day_name(int64_t number, char day[40])
{
    civil_format(number * DAY, day, 40);
    day[10] = '\0';
    return day;
}

/* --- windows ---------------------------------------------------------------------------------- */

json_t *late_by_entry(const struct rehearsed *rehearsed)
{
    json_t *late = json_object(), *entry, *run;
    size_t i, j;
    json_array_foreach(rehearsed->journal, i, entry)
    {
        json_int_t count = 0;
        char n[24];
        if (strcmp(row_text(entry, "name"), "perform") != 0)
            continue;
        json_array_foreach(json_object_get(json_object_get(entry, "outcome"), "runs"), j, run)
        {
            count += strcmp(row_text(run, "timing"), "late") == 0;
        }
        snprintf(n, sizeof n, "%" PRId64, (int64_t)json_integer_value(json_object_get(entry, "n")));
        if (count)
            json_object_set_new(late, n, json_integer(count));
    }
    return late;
}

/* What one entry of the study asked of the channels. */
struct entry {
    int64_t n;
    const char *what;
    int cells;
    utc_us due;     /* the first cell's */
    utc_us longest; /* from a cell's due time to its begin */
};

static struct entry entry_of(const struct rehearsed *rehearsed, int64_t n)
{
    struct entry entry = {.n = n, .what = ""};
    size_t i;
    json_t *run;
    json_array_foreach(rehearsed->runs, i, run)
    {
        if (!is_child(run) || json_integer_value(json_object_get(run, "parent_n")) != n)
            continue;
        utc_us due = row_instant(run, "due_at"), began = row_instant(run, "started_at");
        if (!due)
            due = row_instant(run, "queued_at");
        entry.what = row_text(run, "script");
        if (!entry.cells++ || due < entry.due)
            entry.due = due;
        if (began - due > entry.longest)
            entry.longest = began - due;
    }
    return entry;
}

static void warn_of_windows(const struct rehearsed *rehearsed, const json_t *best, int channels,
                            json_t *out)
{
    json_t *late = late_by_entry(rehearsed), *count;
    const char *n;
    json_object_foreach(late, n, count)
    {
        struct entry entry = entry_of(rehearsed, strtoll(n, NULL, 10));
        json_int_t anyway = json_integer_value(json_object_get(best, n));
        struct text text = TEXT_EMPTY;
        char day[40], span[48];
        text_addf(&text,
                  "%s, due %s: %" JSON_INTEGER_FORMAT " of %d cells are late, the last begins %s "
                  "after it is due",
                  entry.what, day_name(day_number(rehearsed, entry.due), day),
                  json_integer_value(count), entry.cells,
                  span_format((double)entry.longest / 1e6, span, sizeof span));
        if (anyway)
            text_addf(&text,
                      "; %" JSON_INTEGER_FORMAT " would be with a channel for each cell too: no "
                      "channel can meet this window",
                      anyway);
        else if (best)
            text_addf(&text, "; with a channel for each cell, not %d, none would be", channels);
        json_array_append_new(out, json_string(text.bytes));
        text_free(&text);
    }
    json_decref(late);
}

/* --- days ------------------------------------------------------------------------------------- */

/* The checks that became ready on one day. */
struct crowd {
    int64_t day, first_n;
    struct text what;
    int entries, cells, waited;
    utc_us longest;
};

static void join_crowd(struct crowd *crowd, const json_t *run, int64_t n)
{
    utc_us waited = row_instant(run, "started_at") - ready_at(run);
    if (!crowd->entries || n != crowd->first_n) {
        crowd->first_n = n;
        text_addf(&crowd->what, "%s%s", crowd->entries++ ? " and " : "", row_text(run, "script"));
    }
    crowd->cells++;
    crowd->waited += waited > WAITED;
    crowd->longest = waited > crowd->longest ? waited : crowd->longest;
}

static void warn_of_crowd(struct crowd *crowd, int channels, json_t *out)
{
    char day[40], span[48];
    if (crowd->entries > 1 && crowd->waited)
        json_array_append_new(
            out, json_sprintf("%s: %s fall on one day and exceed the %d channels: %d of %d cells "
                              "wait, up to %s",
                              day_name(crowd->day, day), crowd->what.bytes, channels, crowd->waited,
                              crowd->cells,
                              span_format((double)crowd->longest / 1e6, span, sizeof span)));
    text_free(&crowd->what);
    *crowd = (struct crowd){0};
}

/* A day's entries one after another: 1e7 is more than a journal has. */
static double crowd_key(const struct rehearsed *rehearsed, const json_t *run)
{
    double n = (double)json_integer_value(json_object_get(run, "parent_n"));
    return (double)day_number(rehearsed, ready_at(run)) * 1e7 + n;
}

static void warn_of_crowds(const struct rehearsed *rehearsed, int channels, json_t *out)
{
    struct crowd crowd = {0};
    size_t i;
    json_t *run, *rows = json_array();
    json_array_foreach(rehearsed->runs, i, run)
    {
        if (is_child(run))
            json_array_append_new(
                rows, json_pack("{s:O, s:f}", "run", run, "key", crowd_key(rehearsed, run)));
    }
    rows_sort(&rows, "key");
    json_array_foreach(rows, i, run)
    {
        const json_t *child = json_object_get(run, "run");
        int64_t day = day_number(rehearsed, ready_at(child));
        if (crowd.day != day)
            warn_of_crowd(&crowd, channels, out);
        crowd.day = day;
        join_crowd(&crowd, child, json_integer_value(json_object_get(child, "parent_n")));
    }
    warn_of_crowd(&crowd, channels, out);
    json_decref(rows);
}

json_t *calendar_warnings(const struct rehearsed *rehearsed, const json_t *best, int channels)
{
    json_t *out = json_array(), *event;
    size_t i;
    warn_of_windows(rehearsed, best, channels, out);
    warn_of_crowds(rehearsed, channels, out);
    json_array_foreach(rehearsed->events, i, event)
    {
        /* One a cell: said for all of them together above. */
        if (strcmp(row_text(event, "level"), "warning") == 0 &&
            !strstr(row_text(event, "text"), " was looked at "))
            json_array_append(out, json_object_get(event, "text"));
    }
    return out;
}

/* --- people ----------------------------------------------------------------------------------- */

static void need_person(const struct rehearsed *rehearsed, json_t *days, utc_us at)
{
    char name[40];
    int64_t day = day_number(rehearsed, at);
    if (at)
        json_array_append_new(
            days, json_pack("{s:s, s:f}", "day", day_name(day, name), "at", (double)day));
}

json_t *person_days(const struct rehearsed *rehearsed)
{
    json_t *days = json_array(), *row, *out = json_array();
    const char *last = "";
    size_t i;
    json_array_foreach(rehearsed->runs, i, row)
    {
        if (is_child(row))
            need_person(rehearsed, days, row_instant(row, "started_at"));
    }
    json_array_foreach(rehearsed->journal, i, row)
    {
        if (strcmp(row_text(row, "name"), "ask") == 0)
            need_person(rehearsed, days, row_instant(row, "intent_at"));
    }
    json_array_foreach(rehearsed->questions, i, row) /* open: of steps by hand */
    {
        need_person(rehearsed, days, row_instant(row, "asked_at"));
    }
    rows_sort(&days, "at");
    json_array_foreach(days, i, row)
    {
        if (strcmp(row_text(row, "day"), last) != 0)
            json_array_append(out, json_object_get(row, "day"));
        last = row_text(row, "day");
    }
    json_decref(days);
    return out;
}
