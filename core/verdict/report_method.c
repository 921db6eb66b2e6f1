/* How it was measured: cells, days, channels, readings, and the text of every script that ran. */
#include <stdlib.h>
#include <string.h>

#include "base/name.h"
#include "logbook/facts.h"
#include "logbook/runs.h"
#include "verdict/channel_words.h"
#include "verdict/report.h"

#define FACTS_MOST 48

struct facts {
    struct page_fact list[FACTS_MOST];
    size_t count;
};

static void add(struct facts *facts, const char *name, const char *value)
{
    if (value[0] && facts->count < FACTS_MOST)
        facts->list[facts->count++] = (struct page_fact){name, value};
}

/* --- facts ------------------------------------------------------------------------------------ */

/* The different values of a key over rows, in the order in which they turn up. */
static void add_different(json_t *seen, const json_t *rows, const char *key)
{
    size_t i;
    json_t *row;
    json_array_foreach(rows, i, row)
    {
        if (row_text(row, key)[0])
            json_object_set_new(seen, row_text(row, key), json_true());
    }
}

static const char *joined(struct report *report, json_t *seen)
{
    struct text out = TEXT_EMPTY;
    const char *key;
    json_t *value;
    json_object_foreach(seen, key, value)
    {
        text_addf(&out, "%s%s", out.length ? ", " : "", key);
    }
    json_decref(seen);
    return report_take(report, &out);
}

static const char *different(struct report *report, const json_t *rows, const char *key)
{
    json_t *seen = json_object();
    add_different(seen, rows, key);
    return joined(report, seen);
}

static const char *period(struct report *report)
{
    const char *from = "", *to = "";
    size_t i;
    json_t *run;
    json_array_foreach(report->runs, i, run)
    {
        const char *began = row_text(run, "started_at"), *ended = row_text(run, "ended_at");
        if (began[0] && (!from[0] || strcmp(began, from) < 0))
            from = began;
        if (ended[0] && strcmp(ended, to) > 0)
            to = ended;
    }
    if (!from[0])
        return "nothing was begun";
    return report_text(report, "%.10s to %s%.10s", from, to[0] ? "" : "today", to);
}

/* Also the names in full that are shortened elsewhere. */
static const char *models(struct report *report)
{
    struct text out = TEXT_EMPTY;
    const char *between = "; ";
    for (size_t m = 0; m < report->evidence->model_count; m++)
        if (name_letters(report->evidence->models[m].name) > NAME_IN_TABLE)
            between = "\n";
    for (size_t m = 0; m < report->evidence->model_count; m++) {
        const struct evidence_model *model = &report->evidence->models[m];
        text_addf(&out, "%s%zu of %s (%s %s, %.0f mAh)", m ? between : "",
                  json_array_size(model->cells), model->said, model->size, model->chemistry,
                  model->rated / 3.6);
        if (name_letters(model->name) > NAME_IN_TABLE)
            text_addf(&out, "; in full: %s", model->name);
    }
    return report_take(report, &out);
}

static const char *readings(struct report *report)
{
    json_int_t samples = 0, steps = 0;
    size_t i;
    json_t *row;
    json_array_foreach(report->evidence->totals, i, row)
    {
        samples += json_integer_value(json_object_get(row, "samples"));
        steps += json_integer_value(json_object_get(row, "steps"));
    }
    return report_text(report, "%" JSON_INTEGER_FORMAT " in %" JSON_INTEGER_FORMAT " steps",
                       samples, steps);
}

static const char *clock_words(struct report *report)
{
    const char *clock = logbook_clock(report->evidence->logbook);
    if (strcmp(clock, "virtual") == 0)
        return "virtual: the days were simulated, none of them passed";
    if (clock[0] == 'x')
        return report_text(report, "%s times as fast as real time", clock + 1);
    return clock[0] ? "real time" : "";
}

/* What is said of a channel -> the channels of which that is said. */
static json_t *channels_by_words(const json_t *rows, const json_t *used)
{
    json_t *by_words = json_object(), *row;
    size_t i;
    json_array_foreach(rows, i, row)
    {
        struct text words = TEXT_EMPTY;
        const char *made = row_text(row, "instruments_text"), *name = row_text(row, "channel");
        if (!json_object_get(used, name))
            continue;
        text_addf(&words, "%s%s%s; accuracy: %s", row_text(row, "how"), made[0] ? ": " : "", made,
                  row_text(row, "accuracy_text"));
        if (!json_object_get(by_words, words.bytes))
            json_object_set_new(by_words, words.bytes, json_object());
        json_object_set_new(json_object_get(by_words, words.bytes), name, json_true());
        text_free(&words);
    }
    return by_words;
}

/* Channels as they were: how, who, how accurate. One of which another was said later is named
 * twice; those that no step of these cells went through are left out. */
static int add_channels(struct report *report, struct facts *facts, struct error *error)
{
    json_t *rows = NULL, *names, *used = json_object(), *by_words;
    const char *words;
    if (logbook_list(report->evidence->logbook, LIST_CHANNELS, NULL, &rows, error)) {
        json_decref(used);
        return error->code;
    }
    channels_say(rows);
    add_different(used, report->evidence->totals, "channel");
    by_words = channels_by_words(rows, used);
    json_object_foreach(by_words, words, names)
    {
        const char *of = joined(report, json_incref(names));
        add(facts, json_object_size(names) > 1 ? "Channels" : "Channel",
            report_text(report, "%s: %s", of, words));
    }
    if (!json_object_size(by_words)) /* of a logbook that did not keep them yet */
        add(facts, "Channels", joined(report, json_incref(used)));
    json_decref(by_words);
    json_decref(rows);
    json_decref(used);
    return 0;
}

/* --- scripts ---------------------------------------------------------------------------------- */

/* "protocol, 24 runs; set: again=1" */
static const char *about_script(struct report *report, const char *hash)
{
    json_t *sets = json_object();
    size_t runs = 0, i;
    json_t *run;
    const char *kind = "";
    json_array_foreach(report->runs, i, run)
    {
        if (strcmp(row_text(run, "script_hash"), hash) != 0)
            continue;
        struct text set = TEXT_EMPTY;
        const char *key;
        json_t *value;
        json_object_foreach(json_object_get(run, "params"), key, value)
        {
            char number[40];
            text_addf(&set, "%s%s=%s", set.length ? " " : "", key,
                      json_is_string(value)
                          ? json_string_value(value)
                          : number_format(json_number_value(value), number, sizeof number));
        }
        json_object_set_new(sets, set.length ? set.bytes : "nothing", json_true());
        text_free(&set);
        kind = row_text(run, "kind");
        runs++;
    }
    return report_text(report, "%s, %zu run%s; set by hand or by a study: %s", kind, runs,
                       runs == 1 ? "" : "s", joined(report, sets));
}

static int add_scripts(struct report *report, struct error *error)
{
    json_t *seen = json_object(), *run;
    size_t i, count = 0, length;
    struct page_listing *list =
        report_keep(report, xcalloc(json_array_size(report->runs) + 1, sizeof *list));
    json_array_foreach(report->runs, i, run)
    {
        const char *hash = row_text(run, "script_hash");
        char *text = NULL;
        if (error->code || json_object_get(seen, hash))
            continue;
        json_object_set_new(seen, hash, json_true());
        if (logbook_script(report->evidence->logbook, hash, &text, &length, error))
            continue;
        list[count++] = (struct page_listing){row_text(run, "script"), about_script(report, hash),
                                              report_keep(report, text)};
    }
    json_decref(seen);
    report->page.listings = list;
    report->page.listing_count = count;
    return error->code;
}

int report_method(struct report *report, struct error *error)
{
    struct facts *facts = report_keep(report, xcalloc(1, sizeof *facts));
    add(facts, "Cells", models(report));
    add(facts, "Period", period(report));
    add(facts, "Clock", clock_words(report));
    add(facts, "Origin of readings", different(report, report->evidence->totals, "how"));
    if (add_channels(report, facts, error))
        return error->code;
    add(facts, "Uncertainty",
        "standard, from the stated accuracy of the channel (limits, any error within them as "
        "likely) and of the clock; expanded by k for about 95 %. Where no accuracy is stated, none "
        "is given");
    add(facts, "Readings", readings(report));
    add(facts, "Engine", different(report, report->runs, "engine_version"));
    add(facts, "Script language", different(report, report->runs, "lua_version"));
    add(facts, "Ages",
        "a cell's time on the shelf counts from the end of its own last charge to the start of the "
        "discharge that found out what was left");
    add(facts, "Cycles", "the charge drawn so far, in rated charges");
    report->page.method = facts->list;
    report->page.method_count = facts->count;
    return add_scripts(report, error);
}
