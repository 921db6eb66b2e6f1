/* Collecting the agenda. */
#include "engine/agenda.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/rows.h"
#include "base/text.h"
#include "engine/project.h"
#include "logbook/runs.h"

struct agenda {
    json_t *rows;
    utc_us now;
    uint64_t seed;
    const struct zone *zone;
    const struct agenda_options *options;
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
    char uid[128], note[64] = "";
    text_add(&cells, "");
    name_cells(due->cells, &cells);
    if (due->late)
        snprintf(note, sizeof note, "%d too late: %s", due->late,
                 due->latest && due->latest < agenda->options->now ? "the window is over"
                                                                   : "no channel is free");
    /* Lasting: the same entry of the same study has this name whenever it is planned. */
    snprintf(uid, sizeof uid, "perdure-%016" PRIx64 "-%" PRId64 "-%d-%" PRId64, agenda->seed,
             due->run, due->segment, due->n);
    json_array_append_new(
        agenda->rows,
        json_pack("{s:s, s:s, s:o, s:o, s:o, s:I, s:s, s:s, s:i, s:s, s:O?, s:f, s:i, s:s, s:b, "
                  "s:s, s:I, "
                  "s:I}",
                  "when", when_of(agenda, due), "zone", zone_name(agenda->zone), "from",
                  instant(due->from), "until", instant(due->until), "latest", instant(due->latest),
                  "study", (json_int_t)due->run, "script", due->script, "what", due->what, "cells",
                  (int)json_array_size(due->cells), "labels", cells.bytes, "all_labels", due->cells,
                  "channel_hours", due->channel_hours, "late", due->late, "note", note, "person",
                  due->person, "uid", uid, "from_us", (json_int_t)due->from, "until_us",
                  (json_int_t)due->until));
    text_free(&cells);
}

static void failed(void *context, int64_t run, const struct error *error)
{
    const struct agenda *agenda = context;
    agenda->options->failed(agenda->options->context, run, error);
}

static void beyond(void *context, int64_t run)
{
    const struct agenda *agenda = context;
    if (agenda->options->beyond)
        agenda->options->beyond(agenda->options->context, run);
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

int agenda_rows(const struct agenda_options *options, json_t **rows, struct error *error)
{
    struct logbook *logbook = options->logbook;
    int64_t *ids = NULL;
    int count = 0;
    struct agenda agenda = {json_array(), options->now, logbook_seed(logbook),
                            logbook_zone(logbook), options};
    struct projection projection = {.logbook = logbook,
                                    .scripts = options->scripts,
                                    .estimates = options->estimates,
                                    .now = options->now,
                                    .horizon = options->horizon,
                                    .channels = options->channels,
                                    .visit = add,
                                    .failed = failed,
                                    .beyond = beyond,
                                    .context = &agenda};
    int studies = 0;
    error_clear(error);
    logbook_open_runs(logbook, &ids, &count, error);
    for (int i = 0; i < count && !error->code; i++) {
        bool going_on = false;
        if (!is_going_on(logbook, ids[i], &going_on, error) && going_on)
            ids[studies++] = ids[i];
    }
    if (!error->code)
        project(&projection, ids, studies, error);
    free(ids);
    rows_sort(&agenda.rows, "from_us");
    *rows = agenda.rows;
    return error->code;
}
