/* What a study asks for: a protocol performed on many cells, and cells put somewhere.
 *
 * The runs that a study starts are runs like any other, with the study's journal entry as their
 * parent: they queue for channels, are taken up after a crash, and are found again by that entry.
 * All of them are put on record together, once every cell is free, so there are never some without
 * the others. */
#include "logbook/studies.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "base/random.h"
#include "engine/acts.h"
#include "engine/engine_internal.h"
#include "engine/notify.h"
#include "engine/study.h"
#include "logbook/cells.h"

#define PROTOCOL_PREFIX "protocol/" /* of the modules that are protocols to perform */

/* --- performing ------------------------------------------------------------------------------- */

struct perform {
    char name[128], hash[SHA256_HEX];
    char *text;
    size_t length;
    json_t *cells;
};

static int find_protocol(struct live_run *run, struct perform *p, struct error *error)
{
    struct logbook *logbook = run->engine->options.logbook;
    char module[160];
    snprintf(p->name, sizeof p->name, "%s", run->request.text);
    snprintf(module, sizeof module, PROTOCOL_PREFIX "%s", p->name);
    if (logbook_run_module(logbook, run->record.id, module, p->hash, error))
        return error_set(error, ERROR_SCRIPT, p->name,
                         "put NAME.lua beside the study, then start the study anew",
                         "no protocol of this name was pinned to the study");
    return logbook_script(logbook, p->hash, &p->text, &p->length, error);
}

/* The protocol takes its parameters: looked at before any run is queued. */
static int look_at_cell(struct live_run *run, const struct perform *p, const char *label,
                        struct error *error)
{
    struct logbook *logbook = run->engine->options.logbook;
    const struct script_ops *ops = run->engine->options.scripts;
    struct cell_facts facts;
    if (facts_of_cell(logbook, label, &facts, error))
        return error->code;
    struct script *script = NULL;
    struct script_context context = {
        .name = p->name,
        .text = p->text,
        .length = p->length,
        .params = run->request.params,
        .seed = 1,
        .cell = facts,
        .module = pinned_module, /* a child sees what is pinned to the study */
        .owner = &run->pinned,
    };
    if (ops->open(&script, &context, error))
        return error->code;
    ops->close(script);
    return 0;
}

/* An age in hours holds on the absolute time line, whatever a wall clock will show. */
static void set_due(struct run_record *record, const struct zone *zone, utc_us charged,
                    const struct duration *age)
{
    record->due_at = zone_after(zone, charged, age);
    if (age->months == 0 && age->days == 0)
        string_copy(record->due_zone, sizeof record->due_zone, zone_name(NULL));
}

/* The one that the study names for this cell, or for all; "" leaves it to the engine. */
static void choose_channel(const struct script_request *request, const char *label, char *channel,
                           size_t size)
{
    json_t *channels = request->channels ? json_loads(request->channels, 0, NULL) : NULL;
    const char *own = json_string_value(json_object_get(channels, label));
    string_copy(channel, size, own ? own : request->label ? request->label : "");
    json_decref(channels);
}

/* A label may stand there once: the second run would find the cell taken by the first. */
static int refuse_cell_twice(const json_t *cells, struct error *error)
{
    json_t *seen = json_object(), *label;
    size_t i;
    int code = 0;
    json_array_foreach(cells, i, label)
    {
        const char *name = json_string_value(label);
        if (!code && json_object_get(seen, name))
            code = error_set(error, ERROR_SCRIPT, name, "name each cell once",
                             "the cell stands there twice");
        json_object_set_new(seen, name, json_true());
    }
    json_decref(seen);
    return code;
}

/* The window of a wait is for the first look at each cell after it: what is done with the cell next
 * neither waits for that age again nor is judged by it. */
static bool window_holds(const struct live_run *study, int64_t cell)
{
    bool looked_at = false;
    return study->has_window &&
           !logbook_has_child(study->engine->options.logbook, study->record.id,
                              study->record.segment, study->window_n, study->journal.n, cell,
                              &looked_at, engine_error(study->engine)) &&
           !looked_at;
}

static void queue_child(struct live_run *run, const struct perform *p, const char *label)
{
    struct engine *engine = run->engine;
    struct logbook *logbook = engine->options.logbook;
    struct cell_record cell;
    struct run_record record = {
        .parent = run->record.id,
        .parent_segment = run->record.segment,
        .parent_n = run->journal.n,
        .state = RUN_QUEUED,
        .queued_at = clock_utc(engine->options.clock),
        .params = xstrdup(run->request.params),
    };
    char part[128];
    utc_us charged = 0;
    snprintf(part, sizeof part, "entry %" PRId64 " on %s", run->journal.n, label);
    record.seed = seed_for(run->record.seed, part);
    string_copy(record.kind, sizeof record.kind, "protocol");
    string_copy(record.script_name, sizeof record.script_name, p->name);
    string_copy(record.script_hash, sizeof record.script_hash, p->hash);
    string_copy(record.cell_label, sizeof record.cell_label, label);
    choose_channel(&run->request, label, record.channel, sizeof record.channel);
    string_copy(record.engine_version, sizeof record.engine_version, PERDURE_VERSION);
    string_copy(record.lua_version, sizeof record.lua_version, engine->options.scripts->version);
    if (!logbook_cell(logbook, label, &cell, engine_error(engine))) {
        record.cell = cell.id;
        if (window_holds(run, cell.id) &&
            !logbook_last_charge(logbook, cell.id, record.queued_at, &charged,
                                 engine_error(engine)) &&
            charged)
            set_due(&record, logbook_zone(logbook), charged, &run->age);
        if (!logbook_add_run(logbook, &record, engine_error(engine)) &&
            !logbook_copy_modules(logbook, run->record.id, record.id, engine_error(engine)))
            engine_take(engine, record.id, engine_error(engine));
    }
    run_record_free(&record);
}

/* What is wrong with it for good, found before any run is queued. */
static int look_at_all(struct live_run *run, struct perform *p, struct error *refusal)
{
    json_t *label;
    size_t i;
    if (!json_array_size(p->cells))
        return error_set(refusal, ERROR_SCRIPT, run->request.text, "give it at least one",
                         "there are no cells to perform it on");
    if (refuse_cell_twice(p->cells, refusal) || find_protocol(run, p, refusal))
        return refusal->code;
    json_array_foreach(p->cells, i, label)
    {
        if (look_at_cell(run, p, json_string_value(label), refusal))
            break;
    }
    return refusal->code;
}

/* True when one of the cells is in another run: the study waits for that one to be over. */
static bool waits_for_cell(struct live_run *run, const json_t *cells)
{
    struct engine *engine = run->engine;
    json_t *label;
    size_t i;
    json_array_foreach(cells, i, label)
    {
        struct cell_record cell;
        if (logbook_cell(engine->options.logbook, json_string_value(label), &cell,
                         engine_error(engine)))
            return true; /* the pass meets the trouble */
        if (!cell.busy_run)
            continue;
        if (cell.busy_run != run->waits_for)
            run_event(run, "info", "%s waits for %s, which is in run %" PRId64, run->request.text,
                      cell.label, cell.busy_run);
        run->waits_for = cell.busy_run;
        return true;
    }
    run->waits_for = 0;
    return false;
}

static void queue_all(struct live_run *run, const struct perform *p)
{
    json_t *label;
    size_t i;
    json_array_foreach(p->cells, i, label)
    {
        queue_child(run, p, json_string_value(label));
    }
    run->engine->some_over = true; /* the children may all be over already: looked at this pass */
    notify_due(run);
}

/* An entry that was taken up without any runs was still waiting for a cell. */
static bool has_children(struct live_run *run)
{
    json_t *rows = NULL;
    logbook_children(run->engine->options.logbook, run->record.id, run->record.segment,
                     run->journal.n, &rows, engine_error(run->engine));
    bool has = json_array_size(rows) > 0;
    json_decref(rows);
    return has;
}

bool study_perform(struct live_run *run, bool taken_up)
{
    struct perform p = {.cells = json_loads(run->request.cells, 0, NULL)};
    struct error refusal;
    error_clear(&refusal);
    run->waits_for = 0;
    if (taken_up && has_children(run)) {
        run->phase = LIVE_PERFORMING;
        run->engine->some_over = true;
        notify_due(run);
    } else if (!look_at_all(run, &p, &refusal)) {
        run->phase = LIVE_PERFORMING;
        if (!waits_for_cell(run, p.cells))
            queue_all(run, &p);
    }
    free(p.text);
    json_decref(p.cells);
    if (!refusal.code)
        return false;
    run_refuse(run, &refusal);
    return true;
}

/* Some run is over: it may have been the one that had the cell. */
static void look_for_cells(struct live_run *run)
{
    struct perform p = {.cells = json_loads(run->request.cells, 0, NULL)};
    struct error refusal;
    error_clear(&refusal);
    if (!waits_for_cell(run, p.cells) && !find_protocol(run, &p, &refusal))
        queue_all(run, &p);
    free(p.text);
    json_decref(p.cells);
    if (refusal.code) {
        run_refuse(run, &refusal);
        run_complete(run, run->outcome.bytes);
    }
}

/* --- outcomes --------------------------------------------------------------------------------- */

/* By the cell's own last charge, not by when the study began or the others were ready. */
static const char *timing_of(const struct live_run *run, int64_t cell, utc_us started,
                             utc_us charged)
{
    if (!charged || !window_holds(run, cell))
        return "in time";
    const struct zone *zone = logbook_zone(run->engine->options.logbook);
    utc_us due = zone_after(zone, charged, &run->age);
    utc_us early = zone_after(zone, due, &run->early) - due;
    return started < due - early                         ? "early"
           : started > zone_after(zone, due, &run->late) ? "late"
                                                         : "in time";
}

/* {"cell", "run", "state", "why", "age", "timing", "results"} of one child. */
static json_t *child_outcome(struct live_run *run, const json_t *row)
{
    struct logbook *logbook = run->engine->options.logbook;
    int64_t id = json_integer_value(json_object_get(row, "run"));
    utc_us started = json_integer_value(json_object_get(row, "started_at_us")), charged = 0;
    utc_us ended = json_integer_value(json_object_get(row, "ended_at_us")), full = 0;
    const char *label = json_string_value(json_object_get(row, "cell"));
    json_t *results = NULL;
    struct cell_record cell;
    struct error *error = engine_error(run->engine);
    if (logbook_run_results(logbook, id, &results, error) ||
        logbook_cell(logbook, label, &cell, error) ||
        logbook_last_charge(logbook, cell.id, started, &charged, error) ||
        logbook_last_charge(logbook, cell.id, ended, &full, error))
        return json_object();
    const char *timing = timing_of(run, cell.id, started, charged);
    if (strcmp(timing, "in time") != 0)
        run_event(run, "warning", "%s was looked at %s (run %" PRId64 ")", label, timing, id);
    const char *state = json_string_value(json_object_get(row, "state"));
    if (strcmp(state, "done") != 0)
        run_event(run, "warning", "%s on %s ended as %s (run %" PRId64 "); the study goes on",
                  run->request.text, label, state, id);
    return json_pack(
        "{s:s, s:I, s:O, s:O, s:o, s:o, s:s, s:o}", "cell", label, "run", (json_int_t)id, "state",
        json_object_get(row, "state"), "why", json_object_get(row, "why"), "age",
        charged ? json_real((double)(started - charged) / 1e6) : json_null(), "charged",
        full ? json_real((double)full / 1e6) : json_null(), "timing", timing, "results", results);
}

bool study_has_open_children(const struct live_run *study)
{
    for (const struct live_run *run = study->engine->runs; run; run = run->next)
        if (run->record.parent == study->record.id && run->phase != LIVE_OVER)
            return true;
    return false;
}

void study_look(struct live_run *run)
{
    json_t *rows = NULL, *row, *runs;
    size_t i;
    if (run->waits_for) {
        look_for_cells(run);
        return;
    }
    if (study_has_open_children(run) ||
        logbook_children(run->engine->options.logbook, run->record.id, run->record.segment,
                         run->journal.n, &rows, engine_error(run->engine)))
        return;
    runs = json_array();
    json_array_foreach(rows, i, row)
    {
        json_array_append_new(runs, child_outcome(run, row));
    }
    json_decref(rows);
    json_t *outcome = json_pack("{s:o}", "runs", runs);
    char *text = json_dumps(outcome, JSON_COMPACT | JSON_REAL_PRECISION(17));
    json_decref(outcome);
    run_complete(run, text);
    free(text);
}

/* --- places and windows ----------------------------------------------------------------------- */

void study_place(struct live_run *run)
{
    struct engine *engine = run->engine;
    json_t *cells = json_loads(run->request.cells, 0, NULL), *label;
    size_t i;
    json_array_foreach(cells, i, label)
    {
        struct cell_record cell;
        if (logbook_cell(engine->options.logbook, json_string_value(label), &cell,
                         engine_error(engine)))
            continue;
        struct placement placement = {
            .run = run->record.id,
            .segment = run->record.segment,
            .n = run->journal.n,
            .cell = cell.id,
            .kind = run->request.text,
            .label = run->request.label ? run->request.label : "",
            .detail = run->request.detail ? run->request.detail : "{}",
            .at = clock_utc(engine->options.clock),
        };
        logbook_add_placement(engine->options.logbook, &placement, engine_error(engine));
    }
    json_decref(cells);
}

int window_check(const struct script_request *request, struct error *error)
{
    char early[48], age[48];
    utc_us before = duration_after(0, &request->early), after = duration_after(0, &request->wait);
    if (request->kind != REQUEST_WAIT || !request->has_window || before <= after)
        return 0;
    return error_set(error, ERROR_SCRIPT, "wait", "give an early side shorter than the age",
                     "the window opens %s before an age of only %s",
                     span_format((double)before / 1e6, early, sizeof early),
                     span_format((double)after / 1e6, age, sizeof age));
}

utc_us wait_end(const struct zone *zone, const struct script_request *request, utc_us cursor)
{
    return request->until ? request->until : zone_after(zone, cursor, &request->wait);
}

/* Also while replaying: what follows a wait for an age is judged by its window. */
void study_window(struct live_run *run)
{
    const struct script_request *request = &run->request;
    if (request->kind != REQUEST_WAIT)
        return;
    run->has_window = request->has_window;
    run->window_n = run->journal.n;
    run->age = request->wait;
    run->early = request->early;
    run->late = request->late;
}

void study_review_due(struct live_run *run)
{
    struct engine *engine = run->engine;
    struct run_record *record = &run->record;
    const struct zone *own = logbook_zone(engine->options.logbook);
    char shown[40], now_at[40];
    civil_us civil;
    bool is_civil;
    struct error unread;
    if (!record->due_at || !own || strcmp(record->due_zone, zone_name(own)) != 0)
        return; /* UTC has no rules */
    civil_format(zone_civil(own, record->due_at), shown, sizeof shown);
    if (strcmp(shown, record->due_civil) == 0 ||
        civil_parse(record->due_civil, &civil, &is_civil, &unread) || !is_civil ||
        zone_instant(own, civil) == record->due_at)
        return;
    record->due_at = zone_instant(own, civil);
    engine_write(engine);
    logbook_set_run_due(engine->options.logbook, record->id, record->due_at, engine_error(engine));
    run_event(run, "warning",
              "the clocks of %s go by other rules now: what was due at %s would be due at %s; it "
              "stays at that civil time, which is %s",
              record->due_zone, record->due_civil, shown,
              utc_format(record->due_at, now_at, sizeof now_at));
}
