/* perdure overview: how everything stands at a glance: open runs and when they are expected to end,
 * open questions, what is due.
 *
 * With --on-request it writes one line of JSON for every line that comes in, until there are no
 * more: the engine's page keeps such a process beside it, so that leading studies onward never
 * holds up a channel. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/rows.h"
#include "bindings/script.h"
#include "cli/workplace.h"
#include "engine/overview.h"

#define OVER_SHOWN 20
/* Latest runs among which those that went wrong are told on the command line. */
#define OVER_LOOKED_AT 1000
/* Whoever measures goes first. */
#define NICER 10

static const struct column runs[] = {
    {"run", "run", 'r'},
    {"script", "script", 'l'},
    {"cell", "cell", 'l'},
    {"channel", "channel", 'l'},
    {"state", "state", 'l'},
    {"started_at", "started", 't'},
    {"expected_end_at", "expected end", 't'},
    {"remark", "", 'l'}, /* that it is past */
    {"why", "why", 'l'}, /* it waits */
    {NULL, NULL, 0},
};

static const struct column questions[] = {
    {"question", "question", 'r'},  {"cell", "cell", 'l'},         {"asked_at", "asked", 't'},
    {"text", "what is asked", 'l'}, {"hint", "an answer is", 'l'}, {NULL, NULL, 0},
};

static const struct column agenda[] = {
    {"when", "", 'l'},         {"from", "from", 't'}, {"latest", "at latest", 't'},
    {"script", "script", 'l'}, {"what", "what", 'l'}, {"cells", "cells", 'r'},
    {"labels", "which", 'l'},  {"note", "", 'l'},     {NULL, NULL, 0},
};

static const struct column failed[] = {
    {"run", "run", 'r'},     {"script", "script", 'l'},  {"cell", "cell", 'l'},
    {"state", "state", 'l'}, {"ended_at", "ended", 't'}, {"why", "why", 'l'},
    {NULL, NULL, 0},
};

static int look(struct overview_options *options, json_t **out, struct error *error)
{
    struct clock clock;
    if (clock_of_logbook(&clock, options->logbook, NULL, false, error))
        return error->code;
    options->now = clock_utc(&clock);
    return overview(options, out, error);
}

static void print_part(const struct arguments *arguments, const json_t *whole, const char *key,
                       const char *title, const struct column *columns, const struct zone *zone)
{
    const json_t *rows = json_object_get(whole, key);
    if (!json_array_size(rows))
        return;
    printf("%s\n", title);
    print_rows_in(arguments, rows, columns, zone);
    putchar('\n');
}

/* Of the latest runs that are over, those that did not end well. */
static void print_failed(const struct arguments *arguments, const json_t *over,
                         const struct zone *zone)
{
    json_t *bad = json_pack("{s:[]}", "over"), *row;
    size_t i;
    json_array_foreach(over, i, row)
    {
        if (strcmp(row_text(row, "state"), "done") != 0)
            json_array_append(json_object_get(bad, "over"), row);
    }
    print_part(arguments, bad, "over", "did not end well", failed, zone);
    json_decref(bad);
}

/* For people: what a program reads as a truth. */
static void remark(const json_t *whole, const struct zone *zone)
{
    char later[64], buffer[48];
    size_t i;
    json_t *row;
    json_array_foreach(json_object_get(whole, "runs"), i, row)
    {
        if (json_is_true(json_object_get(row, "longer_than_expected")))
            json_object_set_new(row, "remark", json_string("longer than expected"));
        if (row_text(row, "expected_after_at")[0]) {
            const char *at =
                shown_time(row_text(row, "expected_after_at"), zone, buffer, sizeof buffer);
            snprintf(later, sizeof later, "after %.10s", at);
            json_object_set_new(row, "expected_end_at", json_string(later));
        }
    }
}

/* What is open goes on only while an engine is at work, which the record alone does not tell. */
static int see_engine(const struct logbook *logbook, json_t *whole, struct error *error)
{
    int pid = 0;
    utc_us since;
    if (!logbook_holder(logbook_path(logbook), &pid, &since, error))
        json_object_set_new(whole, "engine_at_work", json_boolean(pid != 0));
    return error->code;
}

static void print(const struct arguments *arguments, const json_t *whole, const struct zone *zone)
{
    const json_t *trouble = json_object_get(whole, "agenda_trouble");
    if (arguments->json) {
        print_json(whole);
        return;
    }
    remark(whole, zone);
    print_part(arguments, whole, "questions", "asked", questions, zone);
    print_part(arguments, whole, "runs", "going on", runs, zone);
    print_part(arguments, whole, "agenda", "due", agenda, zone);
    print_failed(arguments, json_object_get(whole, "over"), zone);
    if (json_is_string(trouble))
        printf("the agenda is not whole: %s\n", json_string_value(trouble));
    if (!json_array_size(json_object_get(whole, "runs")))
        puts("no run is going on");
    else if (!json_is_true(json_object_get(whole, "engine_at_work")))
        puts("no engine is at work: nothing goes on until perdure engine --bench FILE does");
}

static int serve(const struct arguments *arguments, struct overview_options *options)
{
    char line[16];
    if (nice(NICER) < 0)
        clearerr(stderr); /* it may not be nicer than it is: no harm */
    while (fgets(line, sizeof line, stdin)) {
        struct error error;
        json_t *whole = NULL;
        error_clear(&error);
        if (logbook_open(&options->logbook, arguments->logbook, LOGBOOK_READ, &error) ||
            look(options, &whole, &error))
            whole = json_pack("{s:{s:s, s:s, s:s}}", "error", "what", error.what, "why", error.why,
                              "todo", error.todo);
        char *text = json_dumps(whole, JSON_COMPACT | JSON_REAL_PRECISION(12));
        if (puts(text ? text : "{}") < 0 || fflush(stdout))
            exit(0); /* whoever asked is gone */
        free(text);
        json_decref(whole);
        if (options->logbook)
            logbook_close(options->logbook);
        options->logbook = NULL;
    }
    return 0;
}

static int run(const struct arguments *arguments, struct error *error)
{
    struct overview_options options = {.scripts = lua_script_ops(), .over = OVER_SHOWN};
    const bool page = argument(arguments, "on-request") != NULL;
    json_t *whole = NULL;
    if (argument_number(arguments, "weeks", 8, &options.weeks, error) ||
        argument_number(arguments, "channels", 0, &options.channels, error))
        return error->code;
    if (!page && !arguments->json)
        options.over = OVER_LOOKED_AT;
    options.estimates = estimates_new(options.scripts);
    if (page)
        serve(arguments, &options);
    else if (!logbook_open(&options.logbook, arguments->logbook, LOGBOOK_READ, error) &&
             !look(&options, &whole, error) && !see_engine(options.logbook, whole, error))
        print(arguments, whole, logbook_zone(options.logbook));
    json_decref(whole);
    if (options.logbook)
        logbook_close(options.logbook);
    estimates_free(options.estimates);
    return error->code;
}

static const struct option_spec options_known[] = {
    {"weeks", "N", "how far the agenda looks; else 8", false},
    {"channels", "N",
     "how many channels there are to plan with; else as many as the last engine had", false},
    {"on-request", NULL, "one line of JSON for every line that comes in", false},
    {NULL, NULL, NULL, false},
};

const struct verb verb_overview = {
    "overview",    "", 0, 0, "open runs and their expected end, questions, what is due",
    options_known, run};
