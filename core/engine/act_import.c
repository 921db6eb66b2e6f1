/* The act that takes in a curve that was logged elsewhere. Its steps pass through the same code as
 * those of a channel (core/step): one reading after the other, the same trapezoids, the same
 * outcome. Nothing is driven, so no end and no guard is looked for, and every reading is kept. */
#include <ctype.h>
#include <inttypes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "engine/act_import.h"
#include "engine/engine_internal.h"

#define BATCH       4096
#define TOLD_BEYOND 0.005 /* of the charge: from here on a difference is a warning */

/* --- the journal ------------------------------------------------------------------------------ */

static int entry(struct import *import, const char *name, json_t *args, const char *outcome,
                 utc_us from, utc_us to, struct error *error)
{
    char *text = json_dumps(args, JSON_COMPACT | JSON_SORT_KEYS | JSON_REAL_PRECISION(17));
    struct journal_entry one = {.n = ++import->n,
                                .name = name,
                                .args = text,
                                .intent_at = from,
                                .outcome = outcome,
                                .outcome_at = to};
    logbook_journal_intent(import->act->logbook, import->run.id, 0, &one, error);
    free(text);
    json_decref(args);
    return error->code;
}

/* --- rows ------------------------------------------------------------------------------------- */

/* One row of the request: "[g]T V I D\n" in microseconds from the step's start, microvolt,
 * microampere, millidegree or "-"; g: what lies before it was not observed. */
struct row {
    bool gap;
    int64_t t, v, i, d;
    bool cold;
};

static const char *whole(const char *at, int64_t *out)
{
    char *end;
    while (*at == ' ')
        at++;
    *out = strtoll(at, &end, 10);
    return end == at ? NULL : end;
}

static const char *row_of(const char *at, struct row *row)
{
    *row = (struct row){.gap = *at == 'g'};
    at += row->gap;
    if (!(at = whole(at, &row->t)) || !(at = whole(at, &row->v)) || !(at = whole(at, &row->i)))
        return NULL;
    while (*at == ' ')
        at++;
    row->cold = *at == '-' && !isdigit((unsigned char)at[1]);
    if (row->cold)
        at++;
    else
        at = whole(at, &row->d);
    return at && *at == '\n' ? at + 1 : NULL;
}

struct feed {
    struct import *import;
    struct step step;
    struct step_record record;
    json_t *gaps;
    size_t gap_count;
    struct sample *batch;
    int count;
    int64_t k;
};

static int flush(struct feed *feed, struct error *error)
{
    if (feed->count && logbook_add_samples(feed->import->act->logbook, feed->record.id, feed->k,
                                           feed->batch, feed->count, error))
        return error->code;
    feed->k += feed->count;
    feed->count = 0;
    return 0;
}

static int feed_row(struct feed *feed, const struct row *row, struct error *error)
{
    struct step *step = &feed->step;
    if (row->gap) {
        const char *why = json_string_value(json_array_get(feed->gaps, feed->gap_count++));
        int64_t from = step->last.t_us;
        step_interrupt(step, (double)(row->t - from) / 1e6);
        if (logbook_add_gap(feed->import->act->logbook, feed->record.id,
                            feed->record.started_at + from, feed->record.started_at + row->t,
                            why ? why : "not in the file", error))
            return error->code;
    }
    struct reading reading = {.at = row->t,
                              .voltage = (double)row->v / 1e6,
                              .current = (double)row->i / 1e6,
                              .temperature = row->cold ? NAN : (double)row->d / 1e3,
                              .resistance = NAN};
    if (step_feed(step, &reading, false) == STEP_TRIPPED)
        return error_set(error, ERROR_FAILED, feed->import->file,
                         "look at the units of its columns",
                         "a reading is not possible: %g V, %g A, %g degC", reading.voltage,
                         reading.current, reading.temperature);
    for (int i = 0; i < step->rows; i++) {
        if (feed->count == BATCH && flush(feed, error))
            return error->code;
        feed->batch[feed->count++] =
            (struct sample){step->row[i].t_us, step->row[i].voltage, step->row[i].current,
                            step->row[i].temperature};
    }
    return 0;
}

static int feed_rows(struct feed *feed, const char *rows, struct error *error)
{
    struct row row;
    int64_t last = -1;
    while (*rows) {
        rows = row_of(rows, &row);
        if (!rows || row.t <= last || (last < 0 && (row.t != 0 || row.gap)))
            return bad_request(error, "a row is malformed or out of order");
        last = row.t;
        if (feed_row(feed, &row, error))
            return error->code;
    }
    if (last < 0)
        return bad_request(error, "a step has no rows");
    return flush(feed, error);
}

/* --- steps ------------------------------------------------------------------------------------ */

static int kind_of(const char *name, enum step_kind *kind)
{
    static const enum step_kind kinds[] = {STEP_CHARGE, STEP_DISCHARGE, STEP_REST};
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
        *kind = kinds[i];
        if (strcmp(step_kind_name(*kind), name) == 0)
            return 0;
    }
    return 1;
}

static void tell(struct import *import, int64_t step, const char *level, const char *text,
                 struct error *error)
{
    if (!error->code)
        logbook_add_event(import->act->logbook, import->act->now, import->run.id, step, level, text,
                          error);
}

/* The file's own charge is compared and not used. */
static void compare_charge(struct import *import, size_t place, const struct outcome *outcome,
                           double file_charge, json_t *shown, struct error *error)
{
    if (!isfinite(file_charge) || !isfinite(outcome->charge))
        return;
    double difference = fabs(file_charge) - outcome->charge;
    double part = outcome->charge > 0 ? difference / outcome->charge : 0;
    char text[240];
    json_object_set_new(shown, "file_Ah", json_real(fabs(file_charge) / 3600));
    json_object_set_new(shown, "difference_percent", json_real(100 * part));
    snprintf(
        text, sizeof text,
        "step %zu: the file's own charge is %.6g Ah, the trapezoids over its rows come to %.6g "
        "Ah (%+.2f %%)",
        place + 1, fabs(file_charge) / 3600, outcome->charge / 3600, 100 * part);
    tell(import, import->step_ids[place], fabs(part) > TOLD_BEYOND ? "warning" : "info", text,
         error);
}

static void show_step(struct import *import, size_t place, const char *kind,
                      const struct outcome *o, json_int_t rows, json_t *shown)
{
    json_object_set_new(shown, "n", json_integer((json_int_t)place + 1));
    json_object_set_new(shown, "kind", json_string(kind));
    json_object_set_new(shown, "rows", json_integer(rows));
    json_object_set_new(shown, "hours", json_real(o->duration / 3600));
    if (isfinite(o->charge))
        json_object_set_new(shown, "charge_Ah", json_real(o->charge / 3600));
    if (isfinite(o->energy))
        json_object_set_new(shown, "energy_Wh", json_real(o->energy / 3600));
    json_object_set_new(shown, "last_voltage_V", json_real(o->last_voltage));
    json_object_set_new(shown, "gaps", json_integer(o->gaps));
    json_array_append(json_object_get(import->act->reply, "steps"), shown);
}

static int import_step(struct import *import, size_t place, const json_t *spec,
                       struct sample *batch, struct error *error)
{
    static const struct cell_facts nothing_known;
    const char *kind_name, *rows;
    json_int_t at, first_line, last_line;
    json_t *gaps, *file_charge;
    json_error_t problem;
    enum step_kind kind;
    if (json_unpack_ex((json_t *)spec, &problem, 0, "{s:s, s:I, s:I, s:I, s:s, s:o, s:o}", "kind",
                       &kind_name, "at_us", &at, "first_line", &first_line, "last_line", &last_line,
                       "rows", &rows, "gaps", &gaps, "file_charge", &file_charge))
        return bad_request(error, problem.text);
    if (kind_of(kind_name, &kind))
        return bad_request(error, "a step is neither charge, discharge nor rest");

    struct feed feed = {.import = import, .gaps = gaps, .batch = batch};
    struct step_plan plan;
    step_plan_init(&plan, kind);
    plan.logged = true;
    plan.every = 0; /* each reading */
    step_begin(&feed.step, &plan, &nothing_known, &LIMITS_NONE, 1, 1, 1);
    feed.record = (struct step_record){.run = import->run.id,
                                       .n = import->n + 1,
                                       .cell = import->cell.id,
                                       .plan = "{\"logged\":true}",
                                       .started_at = import->began + at};
    string_copy(feed.record.kind, sizeof feed.record.kind, kind_name);
    string_copy(feed.record.how, sizeof feed.record.how, "imported");
    struct logbook *logbook = import->act->logbook;
    if (logbook_add_step(logbook, &feed.record, error) || feed_rows(&feed, rows, error))
        return error->code;
    step_stop(&feed.step, END_RECORD, GUARD_NONE);

    struct outcome *outcome = &import->outcomes[place];
    struct step_sums sums;
    struct text text = TEXT_EMPTY;
    utc_us ended = feed.record.started_at + feed.step.elapsed_us;
    import->step_ids[place] = feed.record.id;
    step_outcome(&feed.step, outcome);
    outcome_sums(outcome, &sums);
    standard_of_step(&import->accuracy, outcome, &import->standards[place]);
    outcome_json(outcome, &import->standards[place], &text);
    json_t *args = json_pack("{s:I, s:I, s:I, s:O}", "first_line", first_line, "last_line",
                             last_line, "rows", (json_int_t)feed.k, "file_charge", file_charge);
    if (!logbook_end_step(logbook, feed.record.id, &sums, ended, error))
        entry(import, kind_name, args, text.bytes, feed.record.started_at, ended, error);
    else
        json_decref(args);
    text_free(&text);
    json_t *shown = json_object();
    compare_charge(import, place, outcome,
                   json_is_number(file_charge) ? json_number_value(file_charge) : NAN, shown,
                   error);
    show_step(import, place, kind_name, outcome, (json_int_t)feed.k, shown);
    json_decref(shown);
    import->run.ended_at = import->ended[place] = ended;
    return error->code;
}

/* --- the other logger's accuracy -------------------------------------------------------------- */

static int stated_of(const json_t *accuracy, const char *name, struct stated_accuracy *out,
                     struct error *error)
{
    json_t *stated = json_object_get(accuracy, name);
    json_error_t problem;
    if (stated && json_unpack_ex(stated, &problem, 0, "[F, F]", &out->relative, &out->absolute))
        return bad_request(error, problem.text);
    return 0;
}

static int accuracy_of(const json_t *request, struct channel_accuracy *out, struct error *error)
{
    const json_t *accuracy = json_object_get(request, "accuracy");
    const json_t *shared = json_object_get(accuracy, "shared");
    *out = STATES_NOTHING;
    if (json_is_number(shared))
        out->shared = json_number_value(shared);
    return stated_of(accuracy, "voltage", &out->voltage, error) ||
                   stated_of(accuracy, "current", &out->current, error) ||
                   stated_of(accuracy, "temperature", &out->temperature, error) ||
                   stated_of(accuracy, "time", &out->time, error)
               ? error->code
               : 0;
}

/* --- the whole -------------------------------------------------------------------------------- */

static int refuse_twice(struct import *import, struct error *error)
{
    int64_t before = 0;
    if (import->again ||
        logbook_find_import(import->act->logbook, import->cell.id, import->sha256, &before, error))
        return error->code;
    if (before)
        error_set(error, ERROR_FAILED, import->file, "say --again if it shall count twice",
                  "this very file is on record for %s: run %" PRId64, import->cell.label, before);
    return error->code;
}

static int begin_run(struct import *import, utc_us ends, struct error *error)
{
    struct run_record *run = &import->run;
    struct logbook *logbook = import->act->logbook;
    run->cell = import->cell.id;
    run->state = RUN_DONE;
    run->queued_at = import->act->now;
    run->started_at = run->segment_at = import->began;
    run->ended_at = ends;
    run->params =
        json_dumps(json_object_get(import->act->request, "params"), JSON_COMPACT | JSON_SORT_KEYS);
    string_copy(run->kind, sizeof run->kind, "import");
    string_copy(run->script_name, sizeof run->script_name, import->map_name);
    string_copy(run->engine_version, sizeof run->engine_version, PERDURE_VERSION);
    string_copy(run->lua_version, sizeof run->lua_version, import->act->scripts->version);
    if (logbook_add_script(logbook, import->map_name, import->map_text, import->map_length,
                           run->script_hash, error) ||
        logbook_add_run(logbook, run, error))
        return error->code;
    json_t *args =
        json_pack("{s:s, s:s, s:I, s:I, s:I, s:O, s:s}", "file", import->file, "sha256",
                  import->sha256, "bytes", import->bytes, "rows", import->rows, "bad_rows",
                  import->bad_rows, "bad", import->bad, "map", run->script_hash);
    return entry(import, "import", args, "true", import->act->now, import->act->now, error);
}

static void tell_origin(struct import *import, struct error *error)
{
    struct text text = TEXT_EMPTY;
    text_addf(&text, "imported from %s: %" PRId64 " rows, SHA-256 %.16s...", import->file,
              (int64_t)import->rows, import->sha256);
    tell(import, 0, "info", text.bytes, error);
    text_clear(&text);
    if (import->bad_rows) {
        json_t *first = json_array_get(import->bad, 0);
        text_addf(&text,
                  "%" PRId64 " bad row%s of the file left out, each a gap: first line %" PRId64
                  ": %s",
                  (int64_t)import->bad_rows, import->bad_rows == 1 ? "" : "s",
                  (int64_t)json_integer_value(json_object_get(first, "line")),
                  json_string_value(json_object_get(first, "why")));
        tell(import, 0, "warning", text.bytes, error);
    }
    text_free(&text);
}

static int take_result(struct import *import, const json_t *spec, struct error *error)
{
    struct result_record result;
    if (import_result(import, spec, &result, error))
        return error->code;
    json_t *args = json_pack("{s:s, s:s, s:f}", "name", result.name, "unit", result.unit, "value",
                             result.value);
    json_array_append_new(json_object_get(import->act->reply, "results"), json_copy(args));
    return entry(import, "record", args, "true", result.at, result.at, error) ||
                   logbook_add_result(import->act->logbook, &result, error)
               ? error->code
               : 0;
}

static int take(struct import *import, struct error *error)
{
    struct sample *batch = xmalloc(BATCH * sizeof *batch);
    json_t *row;
    size_t i;
    json_array_foreach(import->steps, i, row)
    {
        if (import_step(import, i, row, batch, error))
            break;
    }
    free(batch);
    json_array_foreach(import->results, i, row)
    {
        if (error->code || take_result(import, row, error))
            break;
    }
    tell_origin(import, error);
    return error->code;
}

int import_act(struct act *a, struct error *error)
{
    struct import import = {.act = a};
    const char *label;
    json_int_t ends;
    json_error_t problem;
    if (json_unpack_ex((json_t *)a->request, &problem, 0,
                       "{s:s, s:s, s:s, s:I, s:s, s:s%, s:I, s:I, s:I, s:I, s:o, s:b, s:o, s:o}",
                       "cell", &label, "file", &import.file, "sha256", &import.sha256, "bytes",
                       &import.bytes, "map_name", &import.map_name, "map_text", &import.map_text,
                       &import.map_length, "began_us", &import.began, "ends_us", &ends, "rows",
                       &import.rows, "bad_rows", &import.bad_rows, "bad", &import.bad, "again",
                       &import.again, "steps", &import.steps, "results", &import.results))
        return bad_request(error, problem.text);
    if (!json_array_size(import.steps))
        return bad_request(error, "nothing to import");
    if (logbook_cell(a->logbook, label, &import.cell, error) || refuse_twice(&import, error) ||
        accuracy_of(a->request, &import.accuracy, error))
        return error->code;
    if (ends > a->now)
        return error_set(error, ERROR_FAILED, import.file,
                         "look at --began and at the zone of its times",
                         "the curve would end after now, by the logbook's clock");
    size_t count = json_array_size(import.steps);
    import.outcomes = xcalloc(count, sizeof *import.outcomes);
    import.standards = xcalloc(count, sizeof *import.standards);
    import.step_ids = xcalloc(count, sizeof *import.step_ids);
    import.ended = xcalloc(count, sizeof *import.ended);
    a->reply = json_pack("{s:[], s:[]}", "steps", "results");
    if (!begin_run(&import, ends, error) && !take(&import, error))
        json_object_set_new(a->reply, "run", json_integer(import.run.id));
    free(import.outcomes);
    free(import.standards);
    free(import.step_ids);
    free(import.ended);
    run_record_free(&import.run);
    return error->code;
}
