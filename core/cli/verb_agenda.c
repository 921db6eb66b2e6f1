/* perdure agenda: what is due today, what is overdue, and what the coming weeks will bring, over
 * all studies; and the same as a file for calendar programs. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/quantity.h"
#include "bindings/script.h"
#include "cli/foresee.h"
#include "cli/output_file.h"
#include "cli/workplace.h"
#include "engine/agenda.h"
#include "report/calendar_file.h"

static int write_calendar(const json_t *rows, utc_us now, const char *path, struct error *error)
{
    size_t count = json_array_size(rows), i;
    struct calendar_entry *entries = xcalloc(count + 1, sizeof *entries);
    struct text *texts = xcalloc(2 * count + 1, sizeof *texts), out = TEXT_EMPTY;
    json_t *row;
    json_array_foreach(rows, i, row)
    {
        int cells = (int)json_integer_value(json_object_get(row, "cells"));
        const char *what = json_string_value(json_object_get(row, "what"));
        text_addf(&texts[2 * i], cells ? "%s: %d cells" : "%s", what, cells);
        text_addf(&texts[2 * i + 1], "%s\nstudy %" JSON_INTEGER_FORMAT " (%s), %.1f channel-hours",
                  json_string_value(json_object_get(row, "labels")),
                  json_integer_value(json_object_get(row, "study")),
                  json_string_value(json_object_get(row, "script")),
                  json_real_value(json_object_get(row, "channel_hours")));
        entries[i] = (struct calendar_entry){
            .uid = json_string_value(json_object_get(row, "uid")),
            .summary = texts[2 * i].bytes,
            .description = texts[2 * i + 1].bytes,
            .start = json_integer_value(json_object_get(row, "from_us")),
            .end = json_integer_value(json_object_get(row, "until_us")),
            .alarm = true,
            .alarm_minutes = 60,
            .stamp = now,
            /* A later plan moves an appointment: it counts up with time, a minute at a time. */
            .sequence = (int)(now / US_PER_S / 60 - 27000000),
        };
        if (entries[i].end <= entries[i].start)
            entries[i].end = 0;
    }
    if (!calendar_file_write(&out, entries, count, error))
        output_write(path, &out, error);
    for (i = 0; i < 2 * count; i++)
        text_free(&texts[i]);
    free(texts);
    free(entries);
    text_free(&out);
    return error->code;
}

static const struct column columns[] = {
    {"when", "", 'l'},        {"from", "from", 't'},
    {"until", "until", 't'},  {"latest", "at latest", 't'},
    {"study", "study", 'r'},  {"script", "script", 'l'},
    {"what", "what", 'l'},    {"cells", "cells", 'r'},
    {"labels", "which", 'l'}, {"channel_hours", "channel-hours", 'r'},
    {"note", "", 'l'},        {NULL, NULL, 0},
};

/* The other studies are to be seen all the same. */
static void failed(void *context, int64_t run, const struct error *error)
{
    struct error told = *error;
    (void)context;
    foresee_failure(run, &told);
}

/* Studies that go on after what was looked at: an agenda that says nothing of them looks whole. */
static void beyond(void *context, int64_t run)
{
    json_array_append_new(context, json_integer(run));
}

static void say_beyond(const json_t *later, int weeks)
{
    size_t count = json_array_size(later);
    if (count == 1)
        fprintf(stderr, "study %" JSON_INTEGER_FORMAT " goes on",
                json_integer_value(json_array_get(later, 0)));
    else if (count)
        fprintf(stderr, "%zu studies go on", count);
    if (count)
        fprintf(stderr, " after the %d week%s looked at: --weeks N looks further\n", weeks,
                weeks == 1 ? "" : "s");
}

static int run(const struct arguments *arguments, struct error *error)
{
    struct logbook *logbook = NULL;
    struct clock clock;
    int weeks, channels;
    if (argument_number(arguments, "weeks", 8, &weeks, error) ||
        argument_number(arguments, "channels", 0, &channels, error) ||
        logbook_open(&logbook, arguments->logbook, LOGBOOK_READ, error))
        return error->code;
    if (!clock_of_logbook(&clock, logbook, NULL, false, error)) {
        struct estimates *estimates = estimates_new(lua_script_ops());
        const char *path = argument(arguments, "ics");
        json_t *rows = NULL, *later = json_array();
        const struct zone *zone = logbook_zone(logbook);
        struct agenda_options asked = {.logbook = logbook,
                                       .scripts = lua_script_ops(),
                                       .estimates = estimates,
                                       .now = clock_utc(&clock),
                                       .channels = channels,
                                       .failed = failed,
                                       .beyond = beyond,
                                       .context = later};
        asked.horizon = zone_after(zone, asked.now, &(struct duration){.days = 7 * weeks});
        if (!agenda_rows(&asked, &rows, error)) {
            if (path) /* also an empty one: an old file would keep appointments that are gone */
                write_calendar(rows, asked.now, path, error);
            if (!error->code && (arguments->json || json_array_size(rows)))
                print_rows_in(arguments, rows, columns, zone);
            else if (!error->code)
                printf("nothing is due: no study is going on%s%s%s\n", path ? "; " : "",
                       path ? path : "", path ? " is a calendar without appointments" : "");
        }
        if (!error->code)
            say_beyond(later, weeks);
        json_decref(later);
        json_decref(rows);
        estimates_free(estimates);
    }
    logbook_close(logbook);
    return error->code;
}

static const struct option_spec options[] = {
    {"ics", "FILE", "write it for calendar programs as well (RFC 5545)", false},
    {"weeks", "N", "how far to look; else 8", false},
    {"channels", "N",
     "how many channels there are to plan with; else as many as the last engine had", false},
    {NULL, NULL, NULL, false},
};

const struct verb verb_agenda = {
    "agenda", "", 0, 0, "what is due, and what will be, over all studies", options, run};
