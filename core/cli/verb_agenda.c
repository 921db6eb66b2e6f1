/* perdure agenda: what is due today, what is overdue, and what the coming weeks will bring, over
 * all studies; and the same as a file for calendar programs. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/quantity.h"
#include "base/rows.h"
#include "bindings/script.h"
#include "cli/foresee.h"
#include "cli/output_file.h"
#include "cli/workplace.h"
#include "engine/project.h"
#include "logbook/runs.h"
#include "report/calendar_file.h"

struct agenda {
    json_t *rows;
    utc_us now;
    uint64_t seed;
    const struct zone *zone;
};

static const char *when_of(const struct agenda *agenda, const struct due *due)
{
    if (due->going_on)
        return "going on";
    if (due->latest && due->latest < agenda->now)
        return "overdue";
    return due->from < zone_day(agenda->zone, agenda->now, 1) ? "today" : "planned";
}

static json_t *instant(utc_us at)
{
    char buffer[40];
    return at ? json_string(utc_format(at, buffer, sizeof buffer)) : json_null();
}

/* "A-1, A-2, A-3 and 9 more": what fits on a line. */
static void name_cells(const json_t *cells, struct text *out)
{
    size_t i, count = json_array_size(cells);
    json_t *label;
    json_array_foreach(cells, i, label)
    {
        if (i == 4 && count > 5) {
            text_addf(out, " and %zu more", count - i);
            break;
        }
        text_addf(out, "%s%s", i ? ", " : "", json_string_value(label));
    }
}

static void add(void *context, const struct due *due)
{
    struct agenda *agenda = context;
    struct text cells = TEXT_EMPTY;
    char uid[128];
    text_add(&cells, "");
    name_cells(due->cells, &cells);
    /* Lasting: the same entry of the same study has this name whenever it is planned. */
    snprintf(uid, sizeof uid, "perdure-%016" PRIx64 "-%" PRId64 "-%d-%" PRId64, agenda->seed,
             due->run, due->segment, due->n);
    json_array_append_new(
        agenda->rows,
        json_pack("{s:s, s:s, s:o, s:o, s:o, s:I, s:s, s:s, s:i, s:s, s:O?, s:f, s:b, s:s, s:I, "
                  "s:I}",
                  "when", when_of(agenda, due), "zone", zone_name(agenda->zone), "from",
                  instant(due->from), "until", instant(due->until), "latest", instant(due->latest),
                  "study", (json_int_t)due->run, "script", due->script, "what", due->what, "cells",
                  (int)json_array_size(due->cells), "labels", cells.bytes, "all_labels", due->cells,
                  "channel_hours", due->channel_hours, "person", due->person, "uid", uid, "from_us",
                  (json_int_t)due->from, "until_us", (json_int_t)due->until));
    text_free(&cells);
}

static int is_going_on(struct logbook *logbook, int64_t id, bool *going_on, struct error *error)
{
    struct run_record run = {0};
    if (logbook_run(logbook, id, &run, error))
        return error->code;
    *going_on = strcmp(run.kind, "study") == 0 && run.state != RUN_ATTENTION;
    run_record_free(&run);
    return 0;
}

/* All open studies, each led onward. */
static int collect(struct logbook *logbook, struct agenda *agenda, int channels, utc_us horizon,
                   struct error *error)
{
    int64_t *ids = NULL;
    int count = 0;
    struct estimates *estimates = estimates_new(lua_script_ops());
    struct projection projection = {.logbook = logbook,
                                    .scripts = lua_script_ops(),
                                    .estimates = estimates,
                                    .now = agenda->now,
                                    .horizon = horizon,
                                    .channels = channels,
                                    .visit = add,
                                    .context = agenda};
    logbook_open_runs(logbook, &ids, &count, error);
    for (int i = 0; i < count && !error->code; i++) {
        bool going_on = false;
        if (is_going_on(logbook, ids[i], &going_on, error) || !going_on)
            continue;
        project(&projection, ids[i], error);
        foresee_failure(ids[i], error); /* the other studies are to be seen all the same */
    }
    free(ids);
    estimates_free(estimates);
    rows_sort(&agenda->rows, "from_us");
    return error->code;
}

static int write_calendar(const struct agenda *agenda, const char *path, struct error *error)
{
    size_t count = json_array_size(agenda->rows), i;
    struct calendar_entry *entries = xcalloc(count + 1, sizeof *entries);
    struct text *texts = xcalloc(2 * count + 1, sizeof *texts), out = TEXT_EMPTY;
    json_t *row;
    json_array_foreach(agenda->rows, i, row)
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
            .stamp = agenda->now,
            /* A later plan moves an appointment: it counts up with time, a minute at a time. */
            .sequence = (int)(agenda->now / US_PER_S / 60 - 27000000),
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
    {NULL, NULL, 0},
};

static int run(const struct arguments *arguments, struct error *error)
{
    struct logbook *logbook = NULL;
    struct clock clock;
    int weeks, channels;
    if (argument_number(arguments, "weeks", 8, &weeks, error) ||
        argument_number(arguments, "channels", 8, &channels, error) ||
        logbook_open(&logbook, arguments->logbook, LOGBOOK_READ, error))
        return error->code;
    if (!clock_of_logbook(&clock, logbook, NULL, false, error)) {
        struct agenda agenda = {json_array(), clock_utc(&clock), logbook_seed(logbook),
                                logbook_zone(logbook)};
        const char *path = argument(arguments, "ics");
        utc_us horizon = zone_after(agenda.zone, agenda.now, &(struct duration){.days = 7 * weeks});
        if (!collect(logbook, &agenda, channels, horizon, error)) {
            if (path && json_array_size(agenda.rows))
                write_calendar(&agenda, path, error);
            if (!error->code && (arguments->json || json_array_size(agenda.rows)))
                print_rows_in(arguments, agenda.rows, columns, agenda.zone);
            else if (!error->code)
                puts("nothing is due: no study is going on");
        }
        json_decref(agenda.rows);
    }
    logbook_close(logbook);
    return error->code;
}

static const struct option_spec options[] = {
    {"ics", "FILE", "write it for calendar programs as well (RFC 5545)", false},
    {"weeks", "N", "how far to look; else 8", false},
    {"channels", "N", "how many channels there are to plan with; else 8", false},
    {NULL, NULL, NULL, false},
};

const struct verb verb_agenda = {
    "agenda", "", 0, 0, "what is due, and what will be, over all studies", options, run};
