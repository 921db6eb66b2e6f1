/* One run: what it is, its steps and outcomes, results, questions and events. */
#include "cli/show_run.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "logbook/facts.h"
#include "logbook/runs.h"
#include "verdict/channel_words.h"
#include "verdict/measured.h"

static const struct column steps[] = {
    {"n", "n", 'r'},
    {"started_at", "started", 't'},
    {"kind", "step", 'l'},
    {"duration_h", "hours", 'r'},
    {"charge_Ah", "Ah", 'r'},
    {"energy_Wh", "Wh", 'r'},
    {"first_voltage_V", "first V", 'r'},
    {"last_voltage_V", "end V", 'r'},
    {"mean_voltage_V", "mean V", 'r'},
    {"max_temperature_degC", "max degC", 'r'},
    {"resistance_ohm", "ohm", 'r'},
    {"ended_by", "ended by", 'l'},
    {"quality", "quality", 'l'},
    {NULL, NULL, 0},
};

static const struct column results[] = {
    {"name", "result", 'l'},
    {"value_text", "value", 'r'},
    {"expanded_text", "\xc2\xb1 U", 'r'},
    {"unit", "unit", 'l'},
    {"coverage_text", "k", 'r'},
    {"percent_text", "% of rating", 'r'},
    {"flags", "flags", 'l'},
    {NULL, NULL, 0},
};

static const struct column questions[] = {
    {"question", "question", 'r'}, {"asked_at", "asked", 't'}, {"text", "text", 'l'},
    {"answer", "answer", 'l'},     {"who", "who", 'l'},        {NULL, NULL, 0},
};

static const struct column events[] = {
    {"at", "at", 't'}, {"level", "", 'l'}, {"text", "what happened", 'l'}, {NULL, NULL, 0}};

static const struct column channels[] = {
    {"channel", "channel", 'l'},
    {"began_at", "session", 't'},
    {"how", "how", 'l'},
    {"accuracy_text", "stated accuracy", 'l'},
    {"instruments_text", "instruments", 'l'},
    {NULL, NULL, 0},
};

static const struct part {
    enum listing listing;
    const char *key;
    const struct column *columns;
    void (*say)(json_t *rows); /* adds what only people read; may be NULL */
    void (*add)(json_t *rows); /* what programs read too; may be NULL */
} parts[] = {
    {LIST_STEPS, "steps", steps, NULL, NULL},
    {LIST_RESULTS, "results", results, measured_say, measured_expand},
    {LIST_CHANNELS, "channels", channels, channels_say, NULL},
    {LIST_QUESTIONS, "questions", questions, NULL, NULL},
    {LIST_EVENTS, "events", events, NULL, NULL},
};

static json_t *find_row(json_t *rows, int64_t id)
{
    size_t i;
    json_t *row;
    json_array_foreach(rows, i, row)
    {
        if (json_integer_value(json_object_get(row, "run")) == id)
            return row;
    }
    return NULL;
}

static const char *word(const json_t *row, const char *key)
{
    const char *text = json_string_value(json_object_get(row, key));
    return text ? text : "-";
}

int show_run(const struct arguments *arguments, struct logbook *logbook, int64_t id,
             struct error *error)
{
    struct run_record record = {0};
    json_t *runs = NULL;
    struct listing_filter filter = {.run = id};
    if (logbook_run(logbook, id, &record, error))
        return error->code;
    run_record_free(&record);
    if (logbook_list(logbook, LIST_RUNS, &filter, &runs, error))
        return error->code;
    json_t *whole = json_copy(find_row(runs, id));
    json_decref(runs);

    const bool imported = strcmp(word(whole, "kind"), "import") == 0;
    if (!arguments->json)
        printf("run %" PRId64 "  %s on %s, %s%s: %s%s%s\n", id, word(whole, "script"),
               word(whole, "cell"), imported ? "imported" : "channel ",
               imported ? "" : word(whole, "channel"), word(whole, "state"),
               json_is_string(json_object_get(whole, "why")) ? ": " : "",
               json_is_string(json_object_get(whole, "why")) ? word(whole, "why") : "");
    for (size_t i = 0; i < sizeof parts / sizeof *parts && !error->code; i++) {
        json_t *rows = NULL;
        if (logbook_list(logbook, parts[i].listing, &filter, &rows, error))
            break;
        void (*prepare)(json_t *) = arguments->json ? parts[i].add : parts[i].say;
        if (prepare)
            prepare(rows);
        if (arguments->json) {
            json_object_set(whole, parts[i].key, rows);
        } else if (json_array_size(rows)) {
            printf("\n");
            print_rows_in(arguments, rows, parts[i].columns, logbook_zone(logbook));
        }
        json_decref(rows);
    }
    if (arguments->json && !error->code)
        print_json(whole);
    json_decref(whole);
    return error->code;
}
