/* One run: what it is, its steps and outcomes, results, questions and events. */
#include "cli/show_run.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "base/quantity.h"
#include "base/text.h"
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

static const struct column child_columns[] = {
    {"run", "run", 'r'},
    {"script", "protocol", 'l'},
    {"cell", "cell", 'l'},
    {"channel", "channel", 'l'},
    {"state", "state", 'l'},
    {"due_at", "due", 't'},
    {"started_at", "started", 't'},
    {"ended_at", "ended", 't'},
    {"why", "why", 'l'},
    {NULL, NULL, 0},
};

static void say_answers(json_t *rows);

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
    {LIST_QUESTIONS, "questions", questions, say_answers, NULL},
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

static void print_head(int64_t id, const json_t *whole)
{
    const char *kind = word(whole, "kind"), *channel = word(whole, "channel");
    printf("run %" PRId64 "  %s", id, word(whole, "script"));
    if (strcmp(kind, "study") == 0)
        printf(", a study");
    else
        printf(" on %s", word(whole, "cell"));
    if (strcmp(kind, "import") == 0)
        printf(", imported");
    else if (channel[0] && strcmp(channel, "-") != 0)
        printf(", channel %s", channel);
    printf(": %s", word(whole, "state"));
    if (json_is_string(json_object_get(whole, "why")))
        printf(": %s", word(whole, "why"));
    putchar('\n');
}

/* The runs that a study has started. */
static void print_children(const struct arguments *arguments, struct logbook *logbook, int64_t id,
                           struct error *error)
{
    json_t *runs = NULL, *children = json_array(), *row;
    size_t i;
    logbook_list(logbook, LIST_RUNS, &(struct listing_filter){0}, &runs, error);
    json_array_foreach(runs, i, row)
    {
        if (json_integer_value(json_object_get(row, "parent")) == id)
            json_array_append(children, row);
    }
    if (json_array_size(children)) {
        printf("\n");
        print_rows_in(arguments, children, child_columns, logbook_zone(logbook));
    }
    json_decref(children);
    json_decref(runs);
}

/* Of the values of a display (core/engine/answer.c). */
static enum dimension dimension_of(const char *name)
{
    static const struct {
        const char *name;
        enum dimension dimension;
    } known[] = {
        {"charge", DIM_CHARGE},   {"energy", DIM_ENERGY},         {"time", DIM_TIME},
        {"voltage", DIM_VOLTAGE}, {"resistance", DIM_RESISTANCE}, {"temperature", DIM_TEMPERATURE}};
    for (size_t i = 0; i < sizeof known / sizeof *known; i++)
        if (strcmp(known[i].name, name) == 0)
            return known[i].dimension;
    return DIM_NUMBER;
}

/* What was typed of a display, in words: its values are kept in SI. */
static void say_answers(json_t *rows)
{
    size_t i;
    json_t *row, *value;
    const char *name;
    json_array_foreach(rows, i, row)
    {
        json_t *answer = json_object_get(row, "answer");
        struct text out = TEXT_EMPTY;
        if (!json_is_object(answer))
            continue;
        json_object_foreach(answer, name, value)
        {
            char shown[32];
            if (json_is_number(value))
                text_addf(&out, "%s%s", out.length ? ", " : "",
                          quantity_format(json_number_value(value), dimension_of(name), shown,
                                          sizeof shown));
        }
        json_object_set_new(row, "answer", json_string(out.length ? out.bytes : ""));
        text_free(&out);
    }
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

    if (!arguments->json)
        print_head(id, whole);
    if (!arguments->json && strcmp(word(whole, "kind"), "study") == 0)
        print_children(arguments, logbook, id, error);
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
