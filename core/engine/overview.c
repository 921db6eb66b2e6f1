/* Putting the overview together. */
#include "engine/overview.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "base/rows.h"
#include "base/text.h"
#include "engine/acts.h"
#include "engine/agenda.h"
#include "engine/answer.h"
#include "engine/pinned.h"
#include "logbook/facts.h"

static json_t *instant(utc_us at)
{
    char buffer[40];
    return at ? json_string(utc_format(at - at % US_PER_S, buffer, sizeof buffer)) : json_null();
}

/* s that the run's protocol takes on a usual cell of its model; 0 when that cannot be told. */
static double protocol_seconds(const struct overview_options *options, int64_t id)
{
    struct run_record record = {0};
    struct cell_facts cell;
    struct error unread;
    char *text = NULL;
    size_t length = 0;
    double seconds = 0;
    if (!logbook_run(options->logbook, id, &record, &unread) && record.cell &&
        !facts_of_cell(options->logbook, record.cell_label, &cell, &unread) &&
        !logbook_script(options->logbook, record.script_hash, &text, &length, &unread)) {
        struct pinned pinned = {.logbook = options->logbook, .run = id};
        struct script_context context = {.name = record.script_name,
                                         .text = text,
                                         .length = length,
                                         .params = record.params ? record.params : "{}",
                                         .seed = 1,
                                         .cell = cell,
                                         .zone = logbook_zone(options->logbook),
                                         .module = pinned_module,
                                         .owner = &pinned};
        const struct estimate *found = estimate(options->estimates, &context);
        seconds = found->failed ? 0 : found->seconds;
    }
    free(text);
    run_record_free(&record);
    return seconds;
}

/* When the last thing that the agenda knows of a study ends; 0: nothing. */
static utc_us study_end(const json_t *agenda, int64_t id)
{
    utc_us end = 0;
    size_t i;
    json_t *row;
    json_array_foreach(agenda, i, row)
    {
        utc_us until = json_integer_value(json_object_get(row, "until_us"));
        if (json_integer_value(json_object_get(row, "study")) == id && until > end)
            end = until;
    }
    return end;
}

/* What the agenda says beside its rows. */
struct sayings {
    json_t *trouble; /* where studies fail on their way, as one text; null while none does */
    json_t *beyond;  /* the numbers of those that go on after the horizon */
};

static bool goes_on(const struct sayings *said, int64_t id)
{
    size_t i;
    json_t *run;
    json_array_foreach(said->beyond, i, run)
    {
        if (json_integer_value(run) == id)
            return true;
    }
    return false;
}

static void expect_end(const struct overview_options *options, json_t *run, const json_t *agenda,
                       const struct sayings *said, utc_us horizon)
{
    bool later = false;
    int64_t id = json_integer_value(json_object_get(run, "run"));
    utc_us end = 0, started = row_instant(run, "started_at");
    double seconds = 0;
    if (strcmp(row_text(run, "kind"), "study") == 0) {
        later = goes_on(said, id);
        end = later ? 0 : study_end(agenda, id);
    } else {
        seconds = protocol_seconds(options, id);
        if (seconds > 0 && started)
            end = started + (utc_us)(seconds * 1e6);
    }
    json_object_set_new(run, "expected_s", seconds > 0 ? json_real(seconds) : json_null());
    json_object_set_new(run, "expected_end_at", instant(end));
    json_object_set_new(run, "expected_after_at", instant(later ? horizon : 0));
    json_object_set_new(run, "longer_than_expected", json_boolean(end && end < options->now));
}

/* Open ones in full; of those that are over the latest few, newest first. */
static void sort_out(const struct overview_options *options, const json_t *all, json_t *open,
                     json_t *over, const json_t *agenda, const struct sayings *said, utc_us horizon)
{
    for (size_t i = json_array_size(all); i-- > 0;) {
        json_t *run = json_array_get(all, i);
        json_object_del(run, "script_hash");
        json_object_del(run, "seed");
        if (json_is_null(json_object_get(run, "ended_at"))) {
            expect_end(options, run, agenda, said, horizon);
            json_array_insert(open, 0, run);
        } else if (json_array_size(over) < (size_t)options->over) {
            json_array_append(over, run);
        }
    }
}

static void failed(void *context, int64_t run, const struct error *error)
{
    struct sayings *said = context;
    const char *before = json_string_value(said->trouble);
    json_t *text =
        json_sprintf("%s%sstudy %" PRId64 " is going to fail: %s: %s", before ? before : "",
                     before ? "; " : "", run, error->what, error->why);
    if (!text) /* cut inside a character */
        text = json_string("a study is going to fail; perdure agenda says why");
    json_decref(said->trouble);
    said->trouble = text;
}

static void beyond(void *context, int64_t run)
{
    const struct sayings *said = context;
    json_array_append_new(said->beyond, json_integer(run));
}

int overview(const struct overview_options *options, json_t **out, struct error *error)
{
    json_t *all = NULL, *questions = NULL, *agenda = NULL, *open = json_array(),
           *over = json_array();
    struct sayings said = {json_null(), json_array()};
    const struct zone *zone = logbook_zone(options->logbook);
    struct agenda_options asked = {
        .logbook = options->logbook,
        .scripts = options->scripts,
        .estimates = options->estimates,
        .now = options->now,
        .horizon = zone_after(zone, options->now, &(struct duration){.days = 7 * options->weeks}),
        .channels = options->channels,
        .failed = failed,
        .beyond = beyond,
        .context = &said};
    error_clear(error);
    if (!logbook_list(options->logbook, LIST_RUNS, NULL, &all, error) &&
        !answer_open_questions(options->logbook, &questions, error) &&
        !agenda_rows(&asked, &agenda, error)) {
        sort_out(options, all, open, over, agenda, &said, asked.horizon);
        *out = json_pack("{s:o, s:s, s:O, s:O, s:O, s:O, s:O}", "at", instant(options->now), "zone",
                         zone_name(zone), "runs", open, "over", over, "questions", questions,
                         "agenda", agenda, "agenda_trouble", said.trouble);
    }
    json_decref(all);
    json_decref(questions);
    json_decref(agenda);
    json_decref(open);
    json_decref(over);
    json_decref(said.trouble);
    json_decref(said.beyond);
    return error->code;
}
