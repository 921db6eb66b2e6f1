/* perdure rehearse and perdure check: a script run ahead in virtual time on virtual cells, in
 * memory. Nothing is energised and no logbook is touched. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/calendar.h"
#include "base/quantity.h"
#include "base/random.h"
#include "bench/simulated.h"
#include "bindings/script.h"
#include "cli/calendar_warnings.h"
#include "cli/show_calendar.h"
#include "cli/source.h"
#include "cli/workplace.h"
#include "engine/acts.h"
#include "logbook/facts.h"
#include "logbook/runs.h"

/* One cell for a protocol; two models of `count` cells for a study. */
static void invent(json_t *labels, json_t *models, const char *chemistry, double charge,
                   bool is_study, int count)
{
    for (int m = 0; m < (is_study ? 2 : 1); m++) {
        json_t *cells = json_array();
        for (int i = 1; i <= (is_study ? count : 1); i++)
            json_array_append_new(cells, is_study ? json_sprintf("virtual-%c%d", 'a' + m, i)
                                                  : json_string("virtual"));
        json_array_extend(labels, cells);
        json_array_append_new(
            models, json_pack("{s:o, s:s, s:f, s:o}", "name", json_sprintf("virtual-%c", 'a' + m),
                              "chemistry", chemistry, "rated_Ah", charge / 3600, "cells", cells));
    }
}

/* The cell to rehearse on: enrolled ones keep their model and rating, else a usual cell of the
 * chemistry and rating told. */
static int enrol_cells(struct workplace *workplace, const struct arguments *arguments,
                       bool is_study, json_t **labels, struct error *error)
{
    int count;
    const char *chemistry = argument(arguments, "chemistry"), *rated = argument(arguments, "rated");
    double charge = 2 * 3600;
    json_t *reply = NULL, *label, *models = json_array();
    size_t i;
    if (argument_number(arguments, "count", 16, &count, error))
        return error->code;
    if (rated && quantity_read(rated, DIM_CHARGE, 0, &charge, error))
        return error->code;
    *labels = argument_list(argument(arguments, "cells"));
    struct logbook *logbook = NULL;
    if (json_array_size(*labels) && logbook_open(&logbook, arguments->logbook, LOGBOOK_READ, error))
        return error->code;
    json_array_foreach(*labels, i, label)
    {
        struct cell_facts facts;
        if (facts_of_cell(logbook, json_string_value(label), &facts, error))
            break;
        json_array_append_new(models, json_pack("{s:s, s:s, s:f, s:[O]}", "name", facts.model,
                                                "chemistry", facts.profile->chemistry, "rated_Ah",
                                                facts.rated_charge / 3600, "cells", label));
    }
    if (!json_array_size(*labels)) {
        invent(*labels, models, chemistry ? chemistry : "NiMH", charge, is_study, count);
    }
    json_t *request = json_pack("{s:s, s:o}", "act", "enrol", "models", models);
    if (!error->code)
        act(workplace->logbook, NULL, lua_script_ops(), clock_utc(&workplace->clock), request,
            &reply, error);
    json_decref(request);
    json_decref(reply);
    if (logbook)
        logbook_close(logbook);
    return error->code;
}

/* As many simulated channels as told, unless a bench file says what there is. */
static int set_up_bench(struct workplace *workplace, const struct arguments *arguments,
                        size_t cells, struct error *error)
{
    if (argument(arguments, "bench"))
        return workplace_read_bench(workplace, argument(arguments, "bench"), error);
    for (size_t i = 0; i < cells; i++) {
        char name[24];
        snprintf(name, sizeof name, "S%zu", i + 1);
        if (bench_add(&workplace->bench,
                      simulated_channel(name, &workplace->clock, workplace->world, NULL), error))
            return error->code;
    }
    return 0;
}

/* `ample`: a simulated channel for each cell, whatever the arguments say. */
static int rehearse(struct workplace *workplace, const struct arguments *arguments, bool *is_study,
                    bool ample, struct error *error)
{
    struct source source = {0};
    json_t *params = NULL, *labels = NULL, *request = NULL, *reply = NULL;
    struct engine_options options = {.until_idle = true, .assume_answers = true};
    int channels;
    if (argument_params(arguments, &params, error))
        return error->code;
    if (!source_read(&source, arguments->word[0], NULL, params, error) &&
        !enrol_cells(workplace, arguments, source.is_study, &labels, error) &&
        !argument_number(arguments, "channels", source.is_study ? 8 : (int)json_array_size(labels),
                         &channels, error) &&
        !set_up_bench(workplace, arguments, ample ? json_array_size(labels) : (size_t)channels,
                      error)) {
        request = source_request("start", &source);
        json_object_set(request, "params", params);
        json_object_set(request, "cells", labels);
        if (!act(workplace->logbook, NULL, lua_script_ops(), clock_utc(&workplace->clock), request,
                 &reply, error))
            workplace_work(workplace, &options, error);
    }
    *is_study = source.is_study;
    source_free(&source);
    json_decref(params);
    json_decref(labels);
    json_decref(request);
    json_decref(reply);
    return error->code;
}

/* "FILE:LINE: WHY; WHAT TO DO", as a run keeps it, as an error. */
static void blame(const char *why, struct error *error)
{
    char what[256];
    const char *rest = strstr(why, ": "), *todo = strrchr(why, ';');
    string_copy(what, sizeof what, why);
    if (rest && (size_t)(rest - why) < sizeof what)
        what[rest - why] = '\0';
    const char *reason = rest ? rest + 2 : why;
    int length = todo && todo > reason ? (int)(todo - reason) : (int)strlen(reason);
    error_set(error, ERROR_SCRIPT, what,
              todo && todo > reason && todo[1] ? todo + 2 : "mend the script, then check it again",
              "%.*s", length, reason);
}

/* The first run that did not end well, as an error. */
static int judge(struct workplace *workplace, struct error *error)
{
    json_t *rows = NULL, *row;
    size_t i;
    if (logbook_list(workplace->logbook, LIST_RUNS, &(struct listing_filter){0}, &rows, error))
        return error->code;
    json_array_foreach(rows, i, row)
    {
        const char *state = json_string_value(json_object_get(row, "state"));
        const char *why = json_string_value(json_object_get(row, "why"));
        if (strcmp(state, "done") == 0 || error->code)
            continue;
        if (strcmp(state, "failed") == 0)
            blame(why ? why : state, error);
        else
            error_set(error, ERROR_FAILED, json_string_value(json_object_get(row, "script")),
                      "rehearse it with cells and a bench that suit it", "its run is left %s%s%s",
                      state, why ? ": " : "", why ? why : "");
    }
    json_decref(rows);
    return error->code;
}

static const struct column steps[] = {
    {"cell", "cell", 'l'},
    {"after", "after", 'r'},
    {"kind", "step", 'l'},
    {"duration", "lasts", 'r'},
    {"charge_Ah", "Ah", 'r'},
    {"energy_Wh", "Wh", 'r'},
    {"last_voltage_V", "end V", 'r'},
    {"max_temperature_degC", "max degC", 'r'},
    {"ended_by", "ended by", 'l'},
    {NULL, NULL, 0},
};

static void add_spans(json_t *rows, utc_us from)
{
    size_t i;
    json_t *row;
    json_array_foreach(rows, i, row)
    {
        char buffer[40];
        utc_us at = from;
        struct error ignored;
        utc_parse(json_string_value(json_object_get(row, "started_at")), &at, &ignored);
        json_object_set_new(
            row, "after",
            json_string(span_format((double)(at - from) / 1e6, buffer, sizeof buffer)));
        double hours = json_number_value(json_object_get(row, "duration_h"));
        json_object_set_new(row, "duration",
                            json_string(span_format(hours * 3600, buffer, sizeof buffer)));
    }
}

static int show(struct workplace *workplace, const struct arguments *arguments, utc_us from,
                struct error *error)
{
    json_t *rows = NULL, *results = NULL;
    char span[40];
    struct listing_filter all = {0};
    if (logbook_list(workplace->logbook, LIST_STEPS, &all, &rows, error) ||
        logbook_list(workplace->logbook, LIST_RESULTS, &all, &results, error)) {
        json_decref(rows);
        return error->code;
    }
    double hours = 0;
    size_t i;
    json_t *row;
    json_array_foreach(rows, i, row)
    {
        hours += json_number_value(json_object_get(row, "duration_h"));
    }
    double lasts = (double)(clock_utc(&workplace->clock) - from) / 1e6;
    if (arguments->json) {
        json_t *whole = json_pack("{s:f, s:f, s:O, s:O}", "duration_h", lasts / 3600,
                                  "channel_hours", hours, "steps", rows, "results", results);
        print_json(whole);
        json_decref(whole);
    } else {
        static const struct column result_columns[] = {{"cell", "cell", 'l'},
                                                       {"name", "result", 'l'},
                                                       {"value", "value", 'r'},
                                                       {"unit", "unit", 'l'},
                                                       {NULL, NULL, 0}};
        add_spans(rows, from);
        printf("rehearsed on virtual cells: lasts %s, %.1f channel-hours\n\n",
               span_format(lasts, span, sizeof span), hours);
        print_rows(arguments, rows, steps);
        if (json_array_size(results)) {
            puts("");
            print_rows(arguments, results, result_columns);
        }
    }
    json_decref(rows);
    json_decref(results);
    return 0;
}

/* By the clocks of --zone, else of the logbook if there is one; a virtual one stands where its last
 * engine left it. */
static int begin_when(const struct arguments *arguments, char name[ZONE_NAME], utc_us *from,
                      struct error *error)
{
    const char *wanted = argument(arguments, "zone"), *date = argument(arguments, "from");
    struct logbook *logbook = NULL;
    struct zone *zone = NULL;
    struct error none;
    utc_us latest;
    bool there = !logbook_open(&logbook, arguments->logbook, LOGBOOK_READ, &none);
    if (there && !wanted)
        wanted = zone_name(logbook_zone(logbook));
    if (there && strcmp(logbook_clock(logbook), "virtual") == 0 &&
        !logbook_latest(logbook, &latest, &none))
        *from = latest;
    int code = zone_open(&zone, wanted ? wanted : "UTC", error);
    if (!code && date)
        code = zone_parse(zone, date, from, error);
    string_copy(name, ZONE_NAME, zone_name(zone));
    zone_close(zone);
    if (logbook)
        logbook_close(logbook);
    return code;
}

/* What is late even with a channel for each cell; NULL where nothing is late, or the bench is what
 * a file says. */
static int best_case(const struct arguments *arguments, struct logbook *logbook, utc_us from,
                     json_t **best, struct error *error)
{
    const char *zone = zone_name(logbook_zone(logbook));
    struct rehearsed rehearsed;
    struct workplace workplace;
    bool is_study;
    *best = NULL;
    if (rehearsed_read(&rehearsed, logbook, error))
        return error->code;
    json_t *late = late_by_entry(&rehearsed);
    rehearsed_free(&rehearsed);
    if (json_object_size(late) && !argument(arguments, "bench") &&
        !workplace_rehearsal(&workplace, from, zone, 1, error)) {
        if (!rehearse(&workplace, arguments, &is_study, true, error) &&
            !rehearsed_read(&rehearsed, workplace.logbook, error)) {
            *best = late_by_entry(&rehearsed);
            rehearsed_free(&rehearsed);
        }
        workplace_close(&workplace);
    }
    json_decref(late);
    return error->code;
}

static int show_study(struct workplace *workplace, const struct arguments *arguments, utc_us from,
                      struct error *error)
{
    json_t *best = NULL;
    if (!best_case(arguments, workplace->logbook, from, &best, error))
        show_calendar(arguments, workplace->logbook, best, workplace->bench.count, from,
                      clock_utc(&workplace->clock), error);
    json_decref(best);
    return error->code;
}

/* Channels of the bench file that cannot do what the script asks for, whichever it was given. */
static int warn_of_channels(const struct workplace *workplace, struct error *error)
{
    json_t *rows = NULL, *row;
    size_t i;
    const struct listing_filter warnings = {.name = "warning"};
    if (logbook_list(workplace->logbook, LIST_EVENTS, &warnings, &rows, error))
        return error->code;
    json_array_foreach(rows, i, row)
    {
        const char *text = json_string_value(json_object_get(row, "text"));
        if (text && strncmp(text, "channel ", 8) == 0 && strstr(text, " is set aside for "))
            fprintf(stderr, "warning: %s\n", text);
    }
    json_decref(rows);
    return 0;
}

static int run_rehearse(const struct arguments *arguments, struct error *error)
{
    struct workplace workplace;
    struct clock real;
    clock_open_real(&real);
    utc_us from = clock_utc(&real);
    char zone[ZONE_NAME];
    if (begin_when(arguments, zone, &from, error) ||
        workplace_rehearsal(&workplace, from, zone, 1, error))
        return error->code;
    bool is_study;
    if (!rehearse(&workplace, arguments, &is_study, false, error) &&
        !(is_study ? show_study(&workplace, arguments, from, error)
                   : show(&workplace, arguments, from, error)) &&
        !warn_of_channels(&workplace, error))
        judge(&workplace, error);
    workplace_close(&workplace);
    return error->code;
}

static int run_check(const struct arguments *arguments, struct error *error)
{
    struct workplace workplace;
    if (workplace_rehearsal(&workplace, 1772409600LL * US_PER_S, NULL, 1, error))
        return error->code;
    bool is_study;
    if (!rehearse(&workplace, arguments, &is_study, false, error) && !judge(&workplace, error)) {
        if (arguments->json)
            puts("{\"ok\": true}");
        else
            printf("%s: nothing wrong was found, on a virtual cell\n", arguments->word[0]);
    }
    workplace_close(&workplace);
    return error->code;
}

static const struct option_spec options[] = {
    {"cells", "A,B", "enrolled cells whose model to rehearse with", false},
    {"chemistry", "NAME", "without --cells: of the virtual cell; else NiMH", false},
    {"rated", "CHARGE", "without --cells: its rating; else 2000 mAh", false},
    {"bench", "FILE", "the bench; else simulated channels", false},
    {"channels", "N", "without --bench: how many; else one a cell, 8 for a study", false},
    {"count", "N", "a study without --cells: cells of each of two virtual models; else 16", false},
    {"set", "NAME=VALUE", "a parameter of the script", true},
    {"from", "DATE", "when it would begin; else now", false},
    {"zone", "NAME", "whose calendar days and hours count; else those of the logbook, or UTC",
     false},
    {NULL, NULL, NULL, false},
};

const struct verb verb_rehearse = {
    "rehearse", "SCRIPT",    1, 1, "runs it ahead in virtual time on virtual cells",
    options,    run_rehearse};
const struct verb verb_check = {
    "check", "SCRIPT", 1, 1, "finds what is wrong with a script; energises nothing",
    options, run_check};
