/* What went wrong: runs that failed, stretches nobody observed, warnings and errors, results with
 * flags, cells that were withdrawn. Told even when there was nothing. */
#include <stdlib.h>
#include <string.h>

#include "logbook/facts.h"
#include "verdict/measured.h"
#include "verdict/report.h"

static const struct page_column columns[] = {
    {"When (UTC)", false, false}, {"What", false, false},         {"Cell", false, false},
    {"Run", true, false},         {"What was said", false, true},
};
#define COLUMNS (sizeof columns / sizeof *columns)

struct trouble {
    const char *at, *what, *cell, *said;
    json_int_t run;
};

struct troubles {
    struct report *report;
    struct trouble *all;
    size_t count;
};

static void add(struct troubles *t, const char *at, const char *what, const char *cell,
                json_int_t run, const char *said)
{
    t->all = xrealloc(t->all, (t->count + 1) * sizeof *t->all);
    /* Copies: the rows that they come from do not last. */
    t->all[t->count++] =
        (struct trouble){report_text(t->report, "%s", at), what, report_text(t->report, "%s", cell),
                         report_text(t->report, "%s", said), run};
}

/* The run's cell, "" for a study; NULL when the run is none of this report's. */
static const char *cell_of_run(const struct report *report, json_int_t id)
{
    size_t low = 0, high = json_array_size(report->runs); /* listed in order of their numbers */
    while (low < high) {
        size_t middle = (low + high) / 2;
        const json_t *run = json_array_get(report->runs, middle);
        json_int_t at = json_integer_value(json_object_get(run, "run"));
        if (at == id)
            return row_text(run, "cell");
        if (at < id)
            low = middle + 1;
        else
            high = middle;
    }
    return NULL;
}

static void add_runs(struct troubles *t)
{
    size_t i;
    json_t *run;
    json_array_foreach(t->report->runs, i, run)
    {
        const char *state = row_text(run, "state");
        const char *what = strcmp(state, "failed") == 0      ? "run failed"
                           : strcmp(state, "stopped") == 0   ? "run stopped"
                           : strcmp(state, "attention") == 0 ? "run needs a person"
                                                             : NULL;
        if (what)
            add(t, row_text(run, row_text(run, "ended_at")[0] ? "ended_at" : "queued_at"), what,
                row_text(run, "cell"), json_integer_value(json_object_get(run, "run")),
                row_text(run, "why"));
    }
}

/* Events of one level, "warning" or "error", which is also what they are called. */
static int add_events(struct troubles *t, const char *level, struct error *error)
{
    json_t *events = NULL, *event;
    size_t i;
    if (logbook_list(t->report->evidence->logbook, LIST_EVENTS,
                     &(struct listing_filter){.name = level}, &events, error))
        return error->code;
    json_array_foreach(events, i, event)
    {
        json_int_t run = json_integer_value(json_object_get(event, "run"));
        const char *cell = run ? cell_of_run(t->report, run) : "";
        if (cell)
            add(t, row_text(event, "at"), level, cell, run, row_text(event, "text"));
    }
    json_decref(events);
    return 0;
}

static int add_gaps(struct troubles *t, struct error *error)
{
    json_t *gaps = NULL, *gap;
    size_t i;
    if (logbook_list(t->report->evidence->logbook, LIST_GAPS, &(struct listing_filter){0}, &gaps,
                     error))
        return error->code;
    json_array_foreach(gaps, i, gap)
    {
        char span[64];
        struct text said = TEXT_EMPTY;
        if (!evidence_has(t->report->evidence, row_text(gap, "cell")))
            continue;
        span_format(row_number(gap, "to_s") - row_number(gap, "from_s"), span, sizeof span);
        text_addf(&said, "%s of a %s not observed: %s", span, row_text(gap, "kind"),
                  row_text(gap, "why"));
        add(t, row_text(gap, "from_at"), "gap in the readings", row_text(gap, "cell"),
            json_integer_value(json_object_get(gap, "run")), said.bytes);
        text_free(&said);
    }
    json_decref(gaps);
    return 0;
}

static void add_flags(struct troubles *t)
{
    size_t i;
    json_t *row;
    json_array_foreach(t->report->evidence->results, i, row)
    {
        struct text said = TEXT_EMPTY;
        if (!row_text(row, "flags")[0])
            continue;
        text_addf(
            &said, "result %s is flagged: %s%s", row_text(row, "name"), row_text(row, "flags"),
            measured_corrected(row) ? " (it was typed anew; the run's events have the old one)"
                                    : "");
        add(t, row_text(row, "at"), "flagged result", row_text(row, "cell"),
            json_integer_value(json_object_get(row, "run")), said.bytes);
        text_free(&said);
    }
}

static int add_withdrawn(struct troubles *t, struct error *error)
{
    json_t *entries = NULL, *entry, *label;
    size_t i, j;
    struct listing_filter places = {.name = "place"};
    if (logbook_list(t->report->evidence->logbook, LIST_JOURNAL, &places, &entries, error))
        return error->code;
    json_array_foreach(entries, i, entry)
    {
        const json_t *args = json_object_get(entry, "args");
        if (strcmp(row_text(args, "kind"), "withdrawn") != 0)
            continue;
        json_array_foreach(json_object_get(args, "cells"), j, label)
        {
            if (evidence_has(t->report->evidence, json_string_value(label)))
                add(t, row_text(entry, "intent_at"), "cell withdrawn", json_string_value(label),
                    json_integer_value(json_object_get(entry, "run")),
                    row_text(json_object_get(args, "detail"), "reason"));
        }
    }
    json_decref(entries);
    return 0;
}

/* --- telling ---------------------------------------------------------------------------------- */

static int by_time(const void *a, const void *b)
{
    const struct trouble *x = a, *y = b;
    int order = strcmp(x->at, y->at);
    order = order ? order : strcmp(x->what, y->what);
    return order ? order : strcmp(x->cell, y->cell);
}

/* "2 x gap in the readings" and so on, in order of first appearance. */
static void summarise(struct troubles *t)
{
    struct page_list *list = &t->report->page.troubles_summary;
    for (size_t i = 0; i < t->count; i++) {
        size_t before = 0, count = 0;
        for (size_t j = 0; j < t->count; j++) {
            bool same = strcmp(t->all[i].what, t->all[j].what) == 0;
            before += same && j < i;
            count += same;
        }
        if (!before)
            report_add_item(t->report, list,
                            report_text(t->report, "%s: %zu", t->all[i].what, count));
    }
    if (!t->count)
        report_add_item(t->report, list,
                        "Nothing on record: no run failed or was stopped, no reading is missing, "
                        "no check came late, no cell was withdrawn, there was no warning.");
}

int report_troubles(struct report *report, struct error *error)
{
    struct troubles t = {.report = report};
    add_runs(&t);
    add_flags(&t);
    if (!add_events(&t, "warning", error) && !add_events(&t, "error", error) &&
        !add_gaps(&t, error) && !add_withdrawn(&t, error)) {
        if (t.count)
            qsort(t.all, t.count, sizeof *t.all, by_time);
        summarise(&t);
        const char **fields =
            report_table(report, &report->page.troubles, columns, COLUMNS, t.count);
        for (size_t i = 0; i < t.count; i++) {
            const char **f = &fields[i * COLUMNS];
            const char *at = t.all[i].at;
            f[0] = report_text(report, "%.10s %.5s", at, strlen(at) > 11 ? at + 11 : "");
            f[1] = t.all[i].what;
            f[2] = t.all[i].cell;
            f[3] = t.all[i].run ? report_text(report, "%" JSON_INTEGER_FORMAT, t.all[i].run) : NULL;
            f[4] = t.all[i].said;
        }
    }
    free(t.all);
    return error->code;
}
